// A form with data-once is sent once: the second tap of a slow button does nothing (the server keeps a key as well,
// for the tap that slips through). The button stays in reach of the keyboard, so it is aria-disabled, not disabled.
const words = new WeakMap();

function hold(form, button) {
  form.dataset.sending = "";
  for (const each of form.querySelectorAll('button:not([type="button"])')) {
    each.setAttribute("aria-disabled", "true");
  }
  if (button && !words.has(button)) {
    words.set(button, [...button.childNodes]);
    button.replaceChildren("Working…");
  }
}

function release(form) {
  delete form.dataset.sending;
  for (const button of form.querySelectorAll('button[aria-disabled="true"]')) {
    button.removeAttribute("aria-disabled");
    if (words.has(button)) {
      button.replaceChildren(...words.get(button));
      words.delete(button);
    }
  }
}

document.addEventListener(
  "submit",
  (event) => {
    const form = event.target.closest("form[data-once]");
    if (form && "sending" in form.dataset) {
      event.preventDefault();
      event.stopImmediatePropagation();
    }
  },
  true,
);

document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-once]");
  const byHtmx = form?.matches("[hx-post], [hx-put], [hx-patch], [hx-delete], [hx-get]");
  if (!form || form.method === "dialog" || (event.defaultPrevented && !byHtmx)) {
    return;
  }
  // After this turn, so that the button's own name and value are still sent.
  const button = event.submitter ?? form.querySelector("button.main");
  setTimeout(() => hold(form, button));
});

// A form whose paper opens in a tab of its own stays where it is: after a while a tap means a second print, which needs
// a key of its own, or the server would take it for the second tap of the first.
const ANOTHER = 2000; // ms

document.addEventListener("submit", (event) => {
  const key = event.target.closest('form[target="_blank"]')?.querySelector('input[name="once"]');
  if (key) {
    setTimeout(() => {
      const random = crypto.getRandomValues(new Uint8Array(16)); // randomUUID isn't there without TLS
      key.value = [...random].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    }, ANOTHER);
  }
});

document.addEventListener("htmx:afterRequest", (event) => {
  const form = event.target.closest?.("form[data-once]");
  // Where the answer sends the browser to another page, the button rests until it is there.
  if (form && !event.detail.xhr?.getResponseHeader("HX-Redirect")) {
    setTimeout(() => release(form));
  }
});

window.addEventListener("pageshow", (event) => {
  if (event.persisted) {
    document.querySelectorAll("form[data-sending]").forEach(release);
  }
});
