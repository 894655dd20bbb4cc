// The sign-in pad forgets: after a while of silence the form of the pad's "Start again" is sent by itself. It asks
// first, because somebody may be reading the terms.
import { hook } from "./hook.js";

const WARNING = 15; // seconds before the end

hook("form[data-idle-seconds]", (form) => {
  const limit = Number(form.dataset.idleSeconds);
  const dialog = document.querySelector("[data-still]");
  const left = dialog?.querySelector("[data-still-seconds]");
  let since = Date.now();
  let ended = false;

  const awake = () => {
    since = Date.now();
    if (dialog?.open) {
      dialog.close();
    }
  };
  for (const kind of ["pointerdown", "keydown", "input", "scroll", "touchmove"]) {
    document.addEventListener(kind, awake, { capture: true, passive: true });
  }
  dialog?.querySelector("[data-still-here]").addEventListener("click", awake);

  // Against the clock and not by one long timeout: a tablet that slept must forget as soon as it wakes.
  const beat = () => {
    const rest = Math.ceil(limit - (Date.now() - since) / 1000);
    if (rest <= 0 && !ended) {
      ended = true;
      form.submit();
    } else if (rest <= WARNING && dialog && !dialog.open) {
      dialog.showModal();
    }
    if (left) {
      left.textContent = Math.max(rest, 0);
    }
  };
  setInterval(beat, 1000);
  document.addEventListener("visibilitychange", beat);
});
