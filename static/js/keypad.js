// Keys for a PIN. The box stays a plain password box; the keys type into it.
import { hook } from "./hook.js";

hook("[data-keypad]", (keypad) => {
  const box = keypad.querySelector("input");
  const keys = keypad.querySelector("[data-keypad-keys]");
  keys.hidden = false;
  if (matchMedia("(pointer: coarse)").matches) {
    box.inputMode = "none"; // our keys, not the tablet's keyboard over them
  }
  keys.addEventListener("click", (event) => {
    const key = event.target.closest("[data-key]")?.dataset.key;
    if (key === "clear") {
      box.value = "";
    } else if (key === "back") {
      box.value = box.value.slice(0, -1);
    } else if (key && box.value.length < box.maxLength) {
      box.value += key;
    }
    box.dispatchEvent(new Event("input", { bubbles: true }));
  });
});
