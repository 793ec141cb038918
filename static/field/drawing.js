/**
 * Drawings of a car on which a place is tapped, and the same place in the trade's words and as three lists, so
 * that keys and readers do as well. Left and right are as seen from the B end; the B end lies at the left of the
 * side and top views, so the right side faces us, and the left side is drawn as seen through the car.
 *
 * @typedef {{face: "right"|"left"|"top"|"end_b"|"end_a", x: number, y: number}} Place  shares of the drawing
 */
import { html, svg } from "./html.js";

// Words from one end to the other, each with the share of the drawing at which it ends.
const ALONG = [["B end", 0.2], ["between B end and middle", 0.4], ["middle", 0.6], ["between middle and A end", 0.8], ["A end", 1]];
const HEIGHTS = [["upper half", 0.43], ["lower half", 0.7], ["below the tank", 1]];
const HEIGHTS_OF_HEAD = [["upper half", 0.47], ["lower half", 0.83], ["below the tank", 1]];
const ACROSS = [["left", 0.4], ["middle line", 0.6], ["right", 1]];
// Someone before the A end has the car's right side at their left.
const ACROSS_FROM_A = [["right", 0.4], ["middle line", 0.6], ["left", 1]];

/** What each drawing is called, its view in an entry, and its two lists: from its left to its right, from its top down. */
export const FACES = {
  right: { words: "Right side", view: "side", named: "right side", x: ALONG, y: HEIGHTS },
  left: { words: "Left side", view: "side", named: "left side", x: ALONG, y: HEIGHTS },
  top: { words: "From above", view: "top", named: "top", x: ALONG, y: ACROSS },
  end_b: { words: "B end", view: "end_b", named: "B-end head", x: ACROSS, y: HEIGHTS_OF_HEAD },
  end_a: { words: "A end", view: "end_a", named: "A-end head", x: ACROSS_FROM_A, y: HEIGHTS_OF_HEAD },
};

const band = (list, share) => list.findIndex(([, end]) => share <= end);
const middleOf = (list, at) => ((list[at - 1]?.[1] ?? 0) + list[at][1]) / 2;

/** Such as "right side, B end, lower". @param {Place} place */
export function inWords({ face, x, y }) {
  const found = FACES[face];
  return [found.named, found.x[band(found.x, x)][0], found.y[band(found.y, y)][0]].join(", ");
}

/** The face of an entry's view; the words tell the sides apart. @param {string|null} view @param {string} words */
export function faceOf(view, words) {
  if (view === "side") return words.includes("left") ? "left" : "right";
  return view ?? "right";
}

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
  const face = FACES[place.face];
  const end = face.view.startsWith("end");
  const [width, height] = end ? [180, 180] : [640, 180];
  const tapped = (event) => {
    const box = event.currentTarget.getBoundingClientRect();
    const share = (at, from, size) => Math.round(1e4 * Math.min(1, Math.max(0, (at - from) / size))) / 1e4;
    choose({ ...place, x: share(event.clientX, box.left, box.width), y: share(event.clientY, box.top, box.height) });
  };
  return html`<fieldset class="choice"><legend>Seen from</legend><div class="presses">${Object.entries(FACES).map(([name, each]) => html`<label class="press">
      <input type="radio" name="face" value=${name} .checked=${name === place.face} @change=${() => choose({ face: name, x: 0.5, y: 0.5 })}><span>${each.words}</span></label>`)}</div></fieldset>
    <p class=${`ends ${end ? "car-end" : ""}`} aria-hidden="true"><span>${end ? capital(face.x[0][0]) : "B end"}</span><span>${end ? capital(face.x[2][0]) : "A end"}</span></p>
    <svg class=${`car-face ${end ? "car-end" : ""}`} viewBox="0 0 ${width} ${height}" role="img" aria-label="${face.words} of the car, marked: ${inWords(place)}" @click=${tapped}>
      <g class="body">${BODIES[end ? "end" : face.view]}</g>
      <g class="mark"><circle cx=${place.x * width} cy=${place.y * height} r="11"/><path d="M${place.x * width - 20} ${place.y * height}h40M${place.x * width} ${place.y * height - 20}v40"/></g>
    </svg>
    <div class="fields">${lists(place, face, choose)}</div>`;
}

const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

/** The same choice without pointing. */
function lists(place, face, choose) {
  const one = (axis, label) => html`<div class="field"><label for="place-${axis}">${label}</label>
    <select id="place-${axis}" @change=${(event) => choose({ ...place, [axis]: middleOf(face[axis], event.target.selectedIndex) })}>
    ${face[axis].map(([words], at) => html`<option .selected=${at === band(face[axis], place[axis])}>${words}</option>`)}</select></div>`;
  return [one("x", face.x.length === 5 ? "Along the car" : "Across"), one("y", face.y === ACROSS ? "Across" : "How high")];
}
