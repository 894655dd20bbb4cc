// What is wrong with a form comes into view and into the reader's ear; its links lead into the fields.
import { hook } from "./hook.js";

hook("body:not(.pattern) [data-wrong]", (summary) => summary.focus());

document.addEventListener("click", (event) => {
  const link = event.target.closest?.('[data-wrong] a[href^="#"]');
  const field = link && document.getElementById(decodeURIComponent(link.hash.slice(1)));
  if (field) {
    event.preventDefault();
    const box = field.matches("fieldset") ? field.querySelector("input") : field;
    field.scrollIntoView({ block: "center" });
    (box ?? field).focus({ preventScroll: true });
  }
});
