// Scanning. A hand scanner is a keyboard that types fast and ends with Enter: where no box has the focus, such a burst
// is looked up, or sent by the form of the page that asks for scans (data-scan). Where the browser can read codes itself
// (and the page came over TLS), a button offers the camera.
import { hook } from "./hook.js";

const SHORTEST = 6; // characters; nothing we print is shorter
const BETWEEN = 80; // ms between two characters; a scanner needs 5 to 30, and nobody types a number that fast

// One scan after the other: each answer brings a form of its own, and a hand is quicker than the network.
const waiting = [];
let sent = null; // the form whose answer is on its way
const taken = new WeakSet(); // forms that htmx knows: another one would send itself and leave the page

function sendNext() {
  const form = document.querySelector("form[data-scan]");
  if (form && taken.has(form) && form !== sent && waiting.length) {
    sent = form;
    form.elements.q.value = waiting.shift();
    form.requestSubmit();
  }
}
document.addEventListener("htmx:load", (event) => {
  const root = event.detail.elt;
  const forms = [...root.querySelectorAll("form[data-scan]"), root.closest("form[data-scan]")];
  forms.filter(Boolean).forEach((form) => taken.add(form));
  sendNext();
});
document.addEventListener("htmx:afterRequest", (event) => {
  if (event.target === sent && event.target.isConnected) {
    sent = null; // no answer took its place: the page says why, and whoever reads it scans again
    waiting.length = 0;
  }
});
window.addEventListener("pageshow", () => {
  sent = null; // back on a page whose scan led away
});

const look = (text) => {
  if (document.querySelector("form[data-scan]")) {
    waiting.push(text.slice(0, 300));
    sendNext();
    return;
  }
  const url = document.body.dataset.scanUrl;
  if (url) {
    location.assign(`${url}?q=${encodeURIComponent(text.slice(0, 300))}`);
  }
};

let burst = "";
let last = 0;
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest?.("input, textarea, select, dialog")) {
    burst = "";
    return;
  }
  if (event.timeStamp - last > BETWEEN) {
    burst = "";
  }
  last = event.timeStamp;
  if (event.key === "Enter") {
    if (burst.length >= SHORTEST) {
      event.preventDefault(); // or it would press the button that has the focus
      look(burst);
    }
    burst = "";
  } else if (event.key.length === 1) {
    burst += event.key;
  }
});

async function byCamera() {
  const reader = new BarcodeDetector({ formats: ["qr_code", "code_128"] });
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  const dialog = document.createElement("dialog");
  const head = document.createElement("h2");
  const video = document.createElement("video");
  const shut = document.createElement("button");
  head.textContent = "Hold the tag’s code in front of the camera";
  video.muted = video.playsInline = true;
  video.srcObject = stream;
  shut.className = "button wide";
  shut.textContent = "Close";
  shut.addEventListener("click", () => dialog.close());
  dialog.setAttribute("aria-label", head.textContent);
  dialog.append(head, video, shut);
  dialog.addEventListener("close", () => {
    stream.getTracks().forEach((track) => track.stop());
    dialog.remove();
  });
  document.body.append(dialog);
  dialog.showModal();
  await video.play();
  while (dialog.open) {
    const [code] = await reader.detect(video).catch(() => []);
    if (code?.rawValue) {
      dialog.close();
      look(code.rawValue);
      return;
    }
    await new Promise((again) => setTimeout(again, 150));
  }
}

hook("[data-camera-scan]", async (button) => {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) {
    return;
  }
  const formats = await BarcodeDetector.getSupportedFormats().catch(() => []);
  if (!formats.includes("qr_code")) {
    return;
  }
  button.hidden = false;
  const { say } = await import("./wires.js");
  button.addEventListener("click", () =>
    byCamera().catch(() => say("The camera can’t be used. Allow it for this page in the browser’s settings, or type the number.")),
  );
});
