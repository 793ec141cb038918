/** Photographs of a finding or of the car: from the camera or a file, smaller at once, kept before they are sent. */
import * as database from "../database.js";
import { html, nothing } from "../html.js";
import { smaller, thumbnail } from "../pictures.js";
import { asSentence } from "./forms.js";
import { head, moment, notice, takeBack } from "./pieces.js";

/** Beside what they are of. @param {any} ui @param {import("./desk.js").Desk} desk @param {any} entry or null for the car */
export function photographsOf(ui, desk, entry) {
  const about = entry?.key ?? null;
  const name = `photograph-${about ?? "car"}`;
  return html`<div class="photographs">
    ${desk.fold.photographs(about).map((each) => shown(ui, desk, each))}
    ${desk.open ? html`<div class="photograph-add"><label class="button button-quiet" for=${name}>Add photographs</label>
      <input class="hidden" id=${name} type="file" accept="image/*" multiple @change=${(event) => added(ui, desk, about, event.target)}></div>` : nothing}
    ${ui.adding === name ? html`<p role="status">Making them smaller…</p>` : nothing}</div>`;
}

async function added(ui, desk, about, input) {
  ui.adding = input.id;
  ui.problem = "";
  ui.redraw();
  const problems = [];
  for (const file of input.files) {
    try {
      const { blob, taken_at } = await smaller(file, desk.car.keeps_photo_place ?? false);
      await desk.addPicture(blob, { taken_at, about, words: "" });
    } catch (wrong) {
      problems.push(asSentence(wrong));
    }
  }
  input.value = "";
  ui.adding = null;
  ui.problem = problems.join(" ");
  ui.redraw();
}

const shown = (ui, desk, entry) => html`<figure class="photograph">
  <canvas width="240" height="180" role="img" aria-label="Photograph${entry.says.words ? `: ${entry.says.words}` : ""}" data-digest=${entry.says.digest}></canvas>
  ${draw(ui, entry.says.digest)}
  <figcaption>${entry.says.taken_at ? moment(entry.says.taken_at) : "time not known"}, ${Math.ceil(entry.says.bytes / 1024)} KB</figcaption>
  ${takeBack(ui, desk, entry)}</figure>`;

/** Fill the canvases of a photograph once each. */
function draw(ui, digest) {
  queueMicrotask(async () => {
    const wanted = [...ui.mount.querySelectorAll(`canvas[data-digest="${digest}"]`)].filter((each) => each.dataset.drawn !== digest);
    if (!wanted.length) return;
    for (const canvas of wanted) canvas.dataset.drawn = digest;
    const blob = await database.picture(digest);
    if (blob) for (const canvas of wanted) await thumbnail(canvas, blob);
  });
  return nothing;
}

/** All of the report, and those of nothing in particular. */
export function photographs(desk, _rest, ui) {
  const others = desk.fold.of("photograph").filter((each) => each.says.about);
  return html`${head("Photographs", [desk.at(), "The report"], `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    <h2>Of the car</h2>${photographsOf(ui, desk, null)}
    ${others.length ? html`<h2>Of findings</h2><div class="photographs">${others.map((each) => shown(ui, desk, each))}</div>` : nothing}`;
}
