// What goes on between the tablet and the shop's computer: the busy bar, the words when it can't be reached.
import { hook } from "./hook.js";

const toast = document.getElementById("toast");
let going = 0;

function busy(change) {
  going = Math.max(0, going + change);
  document.documentElement.toggleAttribute("data-busy", going > 0);
}

export function say(words) {
  if (toast) {
    toast.querySelector("p").textContent = words;
    toast.hidden = false;
  }
}

const AWAY = "The shop’s computer can’t be reached. Nothing you typed is lost. Try again.";
const BROKE = "Something broke on the shop’s computer. Nothing was half kept. Try again; if it stays, tell the owner.";

document.addEventListener("htmx:beforeRequest", () => busy(1));
document.addEventListener("htmx:afterRequest", (event) => {
  busy(-1);
  if (event.detail.successful && toast) {
    toast.hidden = true;
  }
});
document.addEventListener("htmx:sendError", () => say(AWAY));
document.addEventListener("htmx:timeout", () => say(AWAY));
document.addEventListener("htmx:responseError", (event) =>
  say(event.detail.xhr.status >= 500 ? BROKE : "That is no longer there. Load the page again."),
);
toast?.querySelector("[data-toast-shut]").addEventListener("click", () => {
  toast.hidden = true;
});

// A whole page where a part was asked for: the sign-in ran out, or a refusal that is a page of its own. Never swap it
// into a corner of this one.
document.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr } = event.detail;
  if (!/^\s*<!doctype/i.test(xhr.responseText ?? "")) {
    return;
  }
  if (xhr.status < 400) {
    event.detail.shouldSwap = false;
    location.assign(xhr.responseURL || location.href);
  } else if (event.detail.shouldSwap) {
    event.detail.target = document.body;
    event.detail.swapOverride = "innerHTML";
  }
});

// A plain form or link to another page takes a moment too.
document.addEventListener("submit", (event) => {
  if (!event.defaultPrevented && event.target.method !== "dialog") {
    busy(1);
  }
});
window.addEventListener("pageshow", () => busy(-going));

hook("[data-without-js]", (element) => {
  element.hidden = true;
});

hook("details[data-shut-outside]", (details) => {
  document.addEventListener("click", (event) => {
    if (details.open && !details.contains(event.target)) {
      details.open = false;
    }
  });
  details.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && details.open) {
      details.open = false;
      details.querySelector("summary").focus();
    }
  });
});

// A box has the focus before the scripts are there. What a quick hand or a scanner typed until then is asked for now;
// so is what a draft brought back.
document.addEventListener("htmx:load", (event) => {
  for (const one of event.detail.elt.querySelectorAll("[hx-trigger*=typed-early]")) {
    const boxes = one.matches("form") ? [...one.querySelectorAll("input[type=text]")] : [one];
    if (one.hasAttribute("data-typed-before") || boxes.some((box) => box.value !== box.defaultValue)) {
      one.dispatchEvent(new Event("typed-early"));
    }
  }
});
