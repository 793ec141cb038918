/** Someone else recorded the same item meanwhile: both are shown, and a person decides. */
import * as database from "../database.js";
import { html } from "../html.js";
import { capital } from "./car.js";
import { badge, head, moment, notice, once } from "./pieces.js";

const keyOf = (other) => `${other.item}-${other.event_id}`;
const KEEP = [["both", "Keep both"], ["theirs", "Theirs stands, mine does not count"]];

/** @param {import("./desk.js").Desk} desk @param {string[]} rest the key of the signature @param {any} ui */
export function conflict(desk, [key], ui) {
  const others = desk.entry(key)?.others ?? [];
  ui.decided ??= {};
  return html`${head("Somebody recorded this too", [desk.at(), "The report"], `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    ${others.length ? html`<p>Your report is whole and on this tablet. Say for each item what stands; then it is sent again.</p>
      ${others.map((other) => one(ui, desk, other))}
      <div class="actions"><button class="button" type="button" @click=${() => once(ui, () => decide(ui, desk, others))}>Send it so</button></div>`
      : html`<p>There is nothing to decide here any more.</p>`}`;
}

function one(ui, desk, other) {
  const mine = desk.fold.states().get(other.item) ?? "open";
  return html`<section class="pair" aria-label=${desk.words(other.item)}><h2>${capital(desk.words(other.item))}</h2>
    <div class="sides"><div class="card"><h3>Yours</h3><p>${badge(mine)}</p><p>${desk.fold.begun?.says.happened_on}, ${desk.fold.begun?.says.facility}</p></div>
      <div class="card"><h3>Theirs</h3><p>${badge(other.outcome)}</p><p>${other.happened_on}, ${other.facility}, ${other.inspector}</p>
        <p class="below">recorded by ${other.recorded_by}, ${moment(other.recorded_at)}</p></div></div>
    <fieldset class="choice"><legend>What stands</legend><div class="presses">${KEEP.map(([keep, words]) => html`<label class="press">
      <input type="radio" name="keep-${keyOf(other)}" .checked=${ui.decided[keyOf(other)] === keep} @change=${() => {
        ui.decided[keyOf(other)] = keep;
        ui.redraw();
      }}><span>${words}</span></label>`)}</div></fieldset></section>`;
}

async function decide(ui, desk, others) {
  const open = others.filter((each) => !ui.decided[keyOf(each)]);
  if (open.length) throw new database.Trouble(`Nothing is chosen for ${open.map((each) => desk.words(each.item)).join(", ")}; want what stands.`);
  await database.resolve(desk.key, others.map((each) => ({ item: each.item, other: each.event_id, keep: ui.decided[keyOf(each)] })));
  location.hash = desk.at();
}
