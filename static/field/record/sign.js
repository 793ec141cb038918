/** The signature that makes a report complete: drawn, or a typed name with a time-based code. */
import { html, nothing } from "../html.js";
import { signature } from "../signature.js";
import { form } from "./forms.js";
import { head, notice } from "./pieces.js";
import { missing } from "./fold.js";
import { contradictions } from "./contradictions.js";
import { lacks, lookAgain, warnings } from "./report.js";

const DRAWN = [{ name: "name", label: "Your name", control: "line", must: true, want: "your name" }];
const TYPED = [...DRAWN, { name: "code", label: "Code of your second factor", control: "line", must: true, want: "the six figures that are shown now",
  hint: "It is good for a minute, so send the report at once" }];
const CONFIRMED = { name: "confirmed", label: "I looked again, and all of it passed as this report says", control: "tick", must: true,
  want: "your tick once you have looked again, or another outcome" };

/** @param {import("./desk.js").Desk} desk @param {string[]} _rest @param {any} ui */
export function sign(desk, _rest, ui) {
  const left = missing(desk.fold, desk.car, (item) => desk.words(item));
  const told = contradictions(desk);
  return html`${head("Sign the report", [desk.at(), "The report"], `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    ${lacks(desk)} ${lookAgain(told)} ${warnings(desk)}
    ${desk.fold.signed ? html`<p class="notice">It is signed by ${desk.fold.signed.says.name}.</p>`
      : left.length ? html`<p class="notice notice-care">It can be signed once nothing lacks. All that was recorded is kept.</p>` : ways(ui, desk, told.length ? [CONFIRMED] : [])}`;
}

function ways(ui, desk, also) {
  ui.way ??= "drawn";
  return html`<p>By signing you say that what this report tells was done and found as it tells. Nothing can be added afterwards; what was wrong is corrected on the car's page.</p>
    <fieldset class="choice"><legend>How you sign</legend><div class="presses">${[["drawn", "Draw it"], ["typed", "Type it, with a code"]].map(([way, words]) => html`<label class="press">
      <input type="radio" name="way" .checked=${ui.way === way} @change=${() => {
        ui.way = way;
        ui.redraw();
      }}><span>${words}</span></label>`)}</div></fieldset>
    ${ui.way === "drawn" ? drawn(ui, desk, also) : typed(ui, desk, also)}`;
}

function drawn(ui, desk, also) {
  ui.strokes ??= [];
  return form(ui, `${desk.key}-sign-drawn`, {
    fields: [...DRAWN, ...also],
    values: { name: ui.name },
    button: "Sign",
    also: html`<p class="label" id="draw">Draw your signature here, or choose to type it</p>${signature(ui.strokes, (strokes) => {
      ui.strokes = strokes;
      ui.redraw();
    })}`,
    submit: async ({ name, confirmed = false }) => {
      if (!ui.strokes.length) throw Object.assign(new Error("Nothing is drawn; want your signature in the field."), { name: "Trouble" });
      await signed(desk, { name, method: "drawn", strokes: ui.strokes, code: null, confirmed });
    },
  });
}

const typed = (ui, desk, also) => navigator.onLine
  ? form(ui, `${desk.key}-sign-typed`, { fields: [...TYPED, ...also], values: { name: ui.name }, button: "Sign",
      submit: ({ name, code, confirmed = false }) => signed(desk, { name, method: "typed", strokes: null, code, confirmed }) })
  : html`<p class="notice notice-care">A code counts only for a minute, so signing by it needs the connection. Draw your signature, or come back when there is one.</p>${nothing}`;

async function signed(desk, says) {
  await desk.add("signed", says);
  location.hash = desk.at();
}
