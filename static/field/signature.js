/** A signature drawn by finger, pen or mouse: strokes of points in shares of the field, so that any screen shows it alike. */
import { html, nothing } from "./html.js";

const MOST_POINTS = 6000;

/**
 * @param {number[][][]} strokes kept by the caller @param {(strokes: number[][][]) => void} drawn after each stroke
 */
export function signature(strokes, drawn) {
  return html`<canvas class="signature" width="900" height="300" role="img" aria-label=${strokes.length ? "Your signature as drawn" : "Field to draw your signature in"}
    @pointerdown=${(event) => begin(event, strokes, drawn)}></canvas>
    <div class="actions">${strokes.length ? html`<button class="button button-quiet" type="button" @click=${(event) => {
      paint(event.target.closest("form, section").querySelector("canvas"), []);
      drawn([]);
    }}>Draw it again</button>` : nothing}</div>`;
}

function begin(event, strokes, drawn) {
  const canvas = event.currentTarget;
  const stroke = [share(event, canvas)];
  const move = (moved) => {
    if (stroke.length < MOST_POINTS) stroke.push(share(moved, canvas));
    paint(canvas, [...strokes, stroke]);
  };
  const end = () => {
    canvas.removeEventListener("pointermove", move);
    drawn([...strokes, stroke]);
  };
  event.preventDefault();
  canvas.setPointerCapture(event.pointerId);
  canvas.addEventListener("pointermove", move);
  canvas.addEventListener("pointerup", end, { once: true });
  canvas.addEventListener("pointercancel", end, { once: true });
  paint(canvas, [...strokes, stroke]);
}

/** A point in shares of the field, to a thousandth. */
function share(event, canvas) {
  const box = canvas.getBoundingClientRect();
  const within = (value) => Math.round(1000 * Math.min(1, Math.max(0, value))) / 1000;
  return [within((event.clientX - box.left) / box.width), within((event.clientY - box.top) / box.height)];
}

/** Draw strokes into a canvas. @param {HTMLCanvasElement} canvas @param {number[][][]} strokes */
export function paint(canvas, strokes) {
  const { width, height } = canvas;
  const pen = canvas.getContext("2d");
  pen.clearRect(0, 0, width, height);
  pen.lineWidth = 5;
  pen.lineCap = pen.lineJoin = "round";
  pen.strokeStyle = getComputedStyle(canvas).color;
  for (const stroke of strokes) {
    pen.beginPath();
    for (const [x, y] of stroke) pen.lineTo(x * width, y * height);
    if (stroke.length === 1) pen.lineTo(stroke[0][0] * width + 1, stroke[0][1] * height); // a dot
    pen.stroke();
  }
}
