// A bar of the letters that values are written with, for tablets whose number pad has none: 4k7, 22µ, 462 ± 3.
// It comes up while a box with data-value has the focus and types into it.
import { hook } from "./hook.js";

const KEYS = ["p", "n", "µ", "m", "k", "M", "±", "−"];
let bar, box;

function make() {
  bar = document.createElement("div");
  bar.className = "value-keys";
  bar.setAttribute("role", "group");
  bar.setAttribute("aria-label", "Letters of values");
  for (const key of KEYS) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button";
    button.textContent = key;
    button.tabIndex = -1;
    // On the way down, so that the box never loses the focus and the number pad stays up.
    button.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      box?.setRangeText(key === "−" ? "-" : key, box.selectionStart, box.selectionEnd, "end");
      box?.dispatchEvent(new Event("input", { bubbles: true }));
    });
    bar.append(button);
  }
  document.body.append(bar);
}

hook("input[data-value]", (input) => {
  input.addEventListener("focus", () => {
    if (!bar) {
      make();
    }
    box = input;
    bar.hidden = false;
  });
  input.addEventListener("blur", () => {
    bar.hidden = true;
  });
});
