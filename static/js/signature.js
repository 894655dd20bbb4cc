// A signature on glass. Two hidden boxes get it: the drawing as SVG, and the strokes with their times as JSON, from
// which it comes back after an error or when the tablet is turned.
import { hook } from "./hook.js";

hook("[data-signature]", async (root) => {
  const { default: SignaturePad } = await import("../vendor/signature_pad/signature_pad.min.js");
  const canvas = root.querySelector("canvas");
  const svg = root.querySelector("[data-signature-svg]");
  const strokes = root.querySelector("[data-signature-strokes]");
  const said = root.querySelector("[data-signature-said]");
  const pad = new SignaturePad(canvas, { penColor: "#14213d", minWidth: 0.9, maxWidth: 2.8, throttle: 8 });
  let width = 0;

  const scaled = (groups, by) =>
    groups.map((group) => ({ ...group, points: group.points.map((p) => ({ ...p, x: p.x * by, y: p.y * by })) }));

  const write = () => {
    const empty = pad.isEmpty();
    svg.value = empty ? "" : pad.toSVG();
    strokes.value = empty
      ? ""
      : JSON.stringify({ width: canvas.offsetWidth, height: canvas.offsetHeight, strokes: pad.toData() });
    said.textContent = empty ? "" : "Signed.";
  };

  const fit = () => {
    if (!canvas.offsetWidth || canvas.offsetWidth === width) {
      return;
    }
    const groups = width ? scaled(pad.toData(), canvas.offsetWidth / width) : [];
    const ratio = Math.max(window.devicePixelRatio || 1, 1);
    width = canvas.offsetWidth;
    canvas.width = width * ratio;
    canvas.height = canvas.offsetHeight * ratio;
    canvas.getContext("2d").scale(ratio, ratio);
    pad.clear();
    if (groups.length) {
      pad.fromData(groups);
      write();
    }
  };

  fit();
  if (strokes.value) {
    try {
      const kept = JSON.parse(strokes.value);
      pad.fromData(scaled(kept.strokes, width / kept.width));
      write();
    } catch {
      strokes.value = svg.value = "";
    }
  }
  new ResizeObserver(fit).observe(canvas);
  pad.addEventListener("endStroke", write);
  root.querySelector("[data-signature-clear]").addEventListener("click", () => {
    pad.clear();
    write();
  });
  root.dataset.signature = "on";
});
