// What somebody typed into a form with data-draft outlives a reload, a dead battery of the router, a wrong tap.
// It is kept in this tab only, until the form has been sent, and never on the sign-in pad: strangers share that one.
import { hook } from "./hook.js";

const DRAFT = "draft:";
const SENT = "draft-sent:";
const TYPED = 'input:not([type="hidden"], [type="password"], [type="file"], [type="submit"]), textarea, select';

const boxes = (form) => [...form.querySelectorAll(TYPED)].filter((box) => box.name && !box.closest("[data-no-draft]"));
const isChoice = (box) => box.type === "radio" || box.type === "checkbox";

function keep(form) {
  const typed = boxes(form).map((box) => [box.name, isChoice(box) ? box.checked && box.value : box.value]);
  try {
    sessionStorage.setItem(DRAFT + form.dataset.draft, JSON.stringify(typed));
  } catch {
    // The tablet's storage is full or shut off: the form works as before, only without a draft.
  }
}

function forget(form) {
  sessionStorage.removeItem(DRAFT + form.dataset.draft);
  sessionStorage.removeItem(SENT + form.dataset.draft);
}

function untouched(box) {
  if (isChoice(box)) {
    return box.checked === box.defaultChecked;
  }
  return box.tagName === "SELECT"
    ? [...box.options].every((option) => option.selected === option.defaultSelected || !box.querySelector("[selected]"))
    : box.value === box.defaultValue;
}

function bringBack(form) {
  let kept;
  try {
    kept = JSON.parse(sessionStorage.getItem(DRAFT + form.dataset.draft) ?? "[]");
  } catch {
    return;
  }
  const rest = [...kept];
  let changed = false;
  for (const box of boxes(form)) {
    const at = rest.findIndex(([name]) => name === box.name);
    if (at < 0) {
      continue;
    }
    const [[, value]] = rest.splice(at, 1);
    if (!untouched(box)) {
      continue;
    }
    if (isChoice(box)) {
      changed ||= box.checked !== Boolean(value);
      box.checked = Boolean(value);
    } else if (box.value !== value) {
      box.value = value;
      changed = true;
    }
  }
  form.toggleAttribute("data-typed-before", changed);
  if (changed) {
    tell(form);
  }
}

function tell(form) {
  const words = document.createElement("div");
  words.className = "word plain";
  words.setAttribute("role", "status");
  const said = document.createElement("p");
  said.textContent = "What you typed before is back. It has not been sent yet. ";
  const away = document.createElement("button");
  away.type = "button";
  away.className = "button quiet";
  away.textContent = "Throw it away";
  away.addEventListener("click", () => {
    forget(form);
    form.reset();
    words.remove();
  });
  words.append(said, away);
  form.prepend(words);
}

// A plain form leaves the page, and only the next page knows how it went: it went well if that page was reached from
// the form's page by going forward, isn't the door (the sign-in ran out) and doesn't show the form's errors again.
function settle() {
  const [how] = performance.getEntriesByType("navigation");
  for (const key of Object.keys(sessionStorage).filter((each) => each.startsWith(SENT))) {
    const from = sessionStorage.getItem(key);
    const name = key.slice(SENT.length);
    const again = document.querySelector(`form[data-draft="${CSS.escape(name)}"]`);
    const refused = again?.querySelector("[data-wrong], [aria-invalid]") || document.querySelector(".refused, .door");
    sessionStorage.removeItem(key);
    if (how?.type === "navigate" && document.referrer === from && !refused) {
      sessionStorage.removeItem(DRAFT + name);
    }
  }
}

settle();

hook("form[data-draft]", (form) => {
  if (form.closest(".pad")) {
    return;
  }
  bringBack(form);
  form.addEventListener("input", () => keep(form));
  form.addEventListener("change", () => keep(form));
  form.addEventListener("submit", () => sessionStorage.setItem(SENT + form.dataset.draft, location.href));
  form.addEventListener("htmx:afterRequest", (event) => {
    // Where the answer sends the browser to another page, that page knows how it went.
    if (event.detail.elt === form && !event.detail.xhr?.getResponseHeader("HX-Redirect")) {
      sessionStorage.removeItem(SENT + form.dataset.draft);
      if (event.detail.successful) {
        forget(form);
      }
    }
  });
});

hook("form[data-forget]", (form) => form.addEventListener("submit", () => sessionStorage.clear()));
