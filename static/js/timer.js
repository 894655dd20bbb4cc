// A running time, counted from the moment the server says: it is right after the tablet slept or was shut.
import { hook } from "./hook.js";

const two = (number) => String(number).padStart(2, "0");

function show(timer) {
  const seconds = Math.max(0, Math.floor((Date.now() - Date.parse(timer.dataset.since)) / 1000));
  const figure = timer.querySelector(".timer-figure, .timer-figure-small") ?? timer;
  figure.textContent = `${Math.floor(seconds / 3600)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
}

hook("[data-since]", (timer) => {
  show(timer);
  const beat = setInterval(() => (timer.isConnected ? show(timer) : clearInterval(beat)), 1000);
});
