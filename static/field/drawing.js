/**
 * Drawings of a car on which a place is tapped, and the same place in the trade's words and as lists, so that keys
 * and readers do as well. Left and right are as seen from the B end. Each side is drawn as someone beside it sees it:
 * the B end lies at the left of the right side and of the top, and at the right of the left side.
 *
 * @typedef {{face: "right"|"left"|"top"|"end_b"|"end_a"|null, x: number|null, y: number|null}} Place  shares of the
 *   drawing; null where nobody chose
 */
import { html, nothing, svg } from "./html.js";

// Words from one end to the other, each with the share of the drawing at which it ends.
const ALONG = [["B end", 0.2], ["between B end and middle", 0.4], ["middle", 0.6], ["between middle and A end", 0.8], ["A end", 1]];
const FROM_A = [["A end", 0.2], ["between middle and A end", 0.4], ["middle", 0.6], ["between B end and middle", 0.8], ["B end", 1]];
const HEIGHTS = [["upper half", 0.43], ["lower half", 0.7], ["below the tank", 1]];
const HEIGHTS_OF_HEAD = [["upper half", 0.47], ["lower half", 0.83], ["below the tank", 1]];
const ACROSS = [["left", 0.4], ["middle line", 0.6], ["right", 1]];
// Someone before the A end has the car's right side at their left.
const ACROSS_FROM_A = [["right", 0.4], ["middle line", 0.6], ["left", 1]];

/** What each drawing is called, what is drawn, and its two lists: from its left to its right, from its top down. */
const FACES = {
  right: { words: "Right side", body: "side", named: "right side", x: ALONG, y: HEIGHTS },
  left: { words: "Left side", body: "side", named: "left side", x: FROM_A, y: HEIGHTS },
  top: { words: "From above", body: "top", named: "top", x: ALONG, y: ACROSS },
  end_b: { words: "B end", body: "end", named: "B-end head", x: ACROSS, y: HEIGHTS_OF_HEAD },
  end_a: { words: "A end", body: "end", named: "A-end head", x: ACROSS_FROM_A, y: HEIGHTS_OF_HEAD },
};
// What is drawn while nothing is chosen.
const FIRST = "right";

const band = (list, share) => list.findIndex(([, end]) => share <= end);
const middleOf = (list, at) => ((list[at - 1]?.[1] ?? 0) + list[at][1]) / 2;

/** Such as "right side, B end, lower half"; as much of it as was chosen. @param {Place} place */
export function inWords({ face, x, y }) {
  if (face === null) return "";
  const found = FACES[face];
  const bands = [[found.x, x], [found.y, y]].filter(([, share]) => share !== null);
  return [found.named, ...bands.map(([list, share]) => list[band(list, share)][0])].join(", ");
}

/** The place of an entry. @param {{view: string|null, x: number|null, y: number|null, place: string}} says @returns {Place} */
export function placeOf({ view, x = null, y = null, place }) {
  if (view !== "side") return { face: view ?? null, x, y };
  // Tablets of before told the sides apart by the words alone, and drew the left one as seen through the car.
  const left = place.includes("left");
  return { face: left ? "left" : "right", x: left && x !== null ? 1 - x : x, y };
}

/** As an entry states it: a point is told whole or not at all. @param {Place} place */
export const asEntry = ({ face, x, y }) => (x === null || y === null ? { view: face, x: null, y: null } : { view: face, x, y });

const BODIES = {
  side: svg`<path d="M10 168H630"/><path d="M40 132H600V142H40Z"/><rect x="40" y="30" width="560" height="96" rx="40"/>
    <path d="M84 30C66 48 66 108 84 126M556 30C574 48 574 108 556 126M290 30V18H350V30"/>
    <circle cx="96" cy="154" r="14"/><circle cx="146" cy="154" r="14"/><circle cx="494" cy="154" r="14"/><circle cx="544" cy="154" r="14"/>`,
  top: svg`<rect x="40" y="40" width="560" height="100" rx="44"/><path d="M40 90H8M600 90H632M84 40C66 60 66 120 84 140M556 40C574 60 574 120 556 140"/>
    <circle cx="320" cy="90" r="26"/>`,
  end: svg`<circle cx="90" cy="84" r="66"/><path d="M20 168H160M44 154V168M136 154V168M52 150H128M70 18V8H110V18"/>`,
};

/**
 * @param {Place} place  @param {(place: Place) => void} choose called with the place that was tapped or listed
 */
export function drawing(place, choose) {
  const name = place.face ?? FIRST;
  const face = FACES[name];
  const end = face.body === "end";
  const [width, height] = end ? [180, 180] : [640, 180];
  const tapped = (event) => {
    const box = event.currentTarget.getBoundingClientRect();
    const share = (at, from, size) => Math.round(1e4 * Math.min(1, Math.max(0, (at - from) / size))) / 1e4;
    choose({ face: name, x: share(event.clientX, box.left, box.width), y: share(event.clientY, box.top, box.height) });
  };
  return html`<fieldset class="choice"><legend>Seen from</legend><div class="presses">${Object.entries(FACES).map(([each_name, each]) => html`<label class="press">
      <input type="radio" name="face" value=${each_name} .checked=${each_name === place.face} @change=${() => choose({ face: each_name, x: null, y: null })}><span>${each.words}</span></label>`)}</div></fieldset>
    <p class=${`ends ${end ? "car-end" : ""}`} aria-hidden="true"><span>${capital(face.x[0][0])}</span><span>${capital(face.x.at(-1)[0])}</span></p>
    <svg class=${`car-face ${end ? "car-end" : ""}`} viewBox="0 0 ${width} ${height}" role="img" aria-label="${face.words} of the car, ${marked(place) ? `marked: ${inWords(place)}` : "nothing is marked"}" @click=${tapped}>
      <g class="body">${BODIES[face.body]}</g>${marked(place) ? mark(place.x * width, place.y * height) : nothing}
    </svg>
    ${marked(place) ? nothing : html`<p class="hint">Tap the place, or choose it below.</p>`}
    <div class="fields">${lists({ ...place, face: name }, face, choose)}</div>`;
}

const marked = ({ x, y }) => x !== null && y !== null;
const mark = (x, y) => svg`<g class="mark"><circle cx=${x} cy=${y} r="11"/><path d="M${x - 20} ${y}h40M${x} ${y - 20}v40"/></g>`;

const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

/** The same choice without pointing. */
function lists(place, face, choose) {
  const one = (axis, label) => html`<div class="field"><label for="place-${axis}">${label}</label>
    <select id="place-${axis}" @change=${(event) => choose({ ...place, [axis]: event.target.selectedIndex ? middleOf(face[axis], event.target.selectedIndex - 1) : null })}>
    <option .selected=${place[axis] === null}>Not chosen</option>
    ${face[axis].map(([words], at) => html`<option .selected=${place[axis] !== null && at === band(face[axis], place[axis])}>${words}</option>`)}</select></div>`;
  return [one("x", face.x.length === 5 ? "Along the car" : "Across"), one("y", face.y === ACROSS ? "Across" : "How high")];
}
