// How long something still has to wait, from the moment that the server says: right after the tablet slept.
import { hook } from "./hook.js";

const two = (number) => String(number).padStart(2, "0");

function show(place) {
  const seconds = Math.ceil((Date.parse(place.dataset.until) - Date.now()) / 1000);
  const left = place.querySelector("[data-left]");
  left.textContent =
    seconds > 0
      ? `${Math.floor(seconds / 3600)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)} left`
      : "The time is up.";
  return seconds > 0;
}

hook("[data-until]", (place) => {
  const beat = setInterval(() => (place.isConnected && show(place)) || clearInterval(beat), 1000);
  show(place);
});
