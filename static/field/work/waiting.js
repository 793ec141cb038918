// What waits on this tablet: what is still to be sent, what the register refused and why, and what a person has to decide.

import { add, cars, drop, entries, reports, whose } from "../database.js";
import { html, nothing } from "../html.js";
import { notePhotograph, refusedPhotographs } from "../outbox.js";
import { act, badge, carName, head, moment, notice } from "../record/pieces.js";
import { capital, counted, size } from "../quantities.js";
import { now } from "../sending.js";
import { keeping, tryNow } from "../shell.js";

const KEY = /^[0-9a-f]{32}$/;
const KINDS = { begun: "beginning", signed: "signature", withdrawn: "taking back", resolved: "decision" };

export async function waiting(ui) {
  const byId = new Map((await cars()).map((car) => [car.id, car]));
  const held = [];
  for (const report of await reports()) {
    if (report.waiting + report.refused + report.conflict) held.push({ report, car: byId.get(report.car_id), all: await entries(report.key) });
  }
  const pictures = await refusedPhotographs(await whose());
  return () => drawn(ui, held, pictures);
}

function drawn(ui, held, pictures) {
  const refused = held.flatMap((each) => each.all.filter((entry) => entry.state === "refused").map((entry) => ({ ...each, entry })));
  const decide = held.flatMap((each) => each.all.filter((entry) => entry.state === "conflict").map((entry) => ({ ...each, entry })));
  return html`${head("What waits", null)}
    ${notice(ui)}
    <p>${now.words || "All that is recorded is written on this tablet first and sent by itself."}
      ${now.until ? html` It is tried again at ${moment(now.until).slice(11)}.` : nothing}</p>
    <p class="actions">${tryNow()}</p>
    ${decide.length ? html`<h2>To decide</h2><ul class="cards">${decide.map(decideRow)}</ul>` : nothing}
    ${refused.length + pictures.length ? html`<h2>Refused by the register</h2><ul class="cards">
      ${refused.map((each) => refusedRow(ui, each))}${pictures.map((each) => pictureRow(ui, each))}</ul>` : nothing}
    <h2>To be sent</h2>${toSend(held)}
    ${room()}`;
}

function toSend(held) {
  const rows = held.filter((each) => each.report.waiting);
  if (!rows.length) return html`<p>Nothing waits.</p>`;
  return html`<ul class="cards">${rows.map(({ report, car }) => html`<li class="card"><a class="card-go" href=${`#/report/${report.key}`}>
    <span class="card-head"><strong>${named(car)}</strong>${badge("waiting", `${counted(report.waiting, "entry", "entries")} ${report.waiting === 1 ? "waits" : "wait"}`)}</span>
    <span class="below">begun ${moment(report.begun_at)}</span></a></li>`)}</ul>`;
}

const named = (car) => (car ? carName(car) : html`<span>A car not on this tablet</span>`);

const decideRow = ({ report, car, entry }) => html`<li class="card">
  <p class="card-head">${named(car)}${badge("conflict", "recorded by somebody else since")}</p>
  <ul>${entry.others.map((other) => html`<li>${capital(other.item.replaceAll("_", " "))}: ${other.inspector} at ${other.facility}, ${other.happened_on}</li>`)}</ul>
  <p class="actions"><a class="button" href=${`#/report/${report.key}/conflict/${entry.key}`}>Look at both and decide</a></p></li>`;

const refusedRow = (ui, { report, car, entry }) => html`<li class="card">
  <p class="card-head">${named(car)}${badge("refused", `${KINDS[entry.kind] ?? entry.kind.replaceAll("_", " ")} refused`)}</p>
  <ul>${entry.faults.map((fault) => html`<li>${faultWords(fault)}</li>`)}</ul>
  <p class="actions">${ways(ui, report, entry)}</p></li>`;

/** With the field that it is about, where it is about one; an entry of its own is no field. */
function faultWords({ path, problem }) {
  const field = path.split(".").at(-1).replaceAll("_", " ");
  return field && field !== "says" && !KEY.test(field) ? `${capital(field)}: ${problem}` : capital(problem);
}

// A signature is not mended: what it lacks is recorded, and the report is signed again.
const ways = (ui, report, entry) => entry.kind === "signed"
  ? html`<a class="button" href=${`#/report/${report.key}`}>Open the report</a>`
  : html`<a class="button" href=${`#/report/${report.key}/mend/${entry.key}`}>Mend</a>
      ${entry.kind === "begun" ? nothing : confirmed(ui, entry.key, "Do without", "Yes, do without it", () => drop(entry))}`;

const pictureRow = (ui, photograph) => html`<li class="card">
  <p class="card-head"><span>Photograph, ${size(photograph.bytes)}</span>${badge("refused", "photograph refused")}</p>
  <p>${photograph.reason}</p>
  <p class="actions"><button class="button" type="button" @click=${act(ui, () => notePhotograph(photograph, "waiting"))}>Send again</button>
  ${confirmed(ui, photograph.digest, "Take it back", "Yes, take it back", () => takeBack(photograph))}</p></li>`;

async function takeBack(photograph) {
  const told = (await entries(photograph.report)).find((each) => each.says.digest === photograph.digest);
  await add(photograph.report, "withdrawn", { entry: told.key, why: photograph.reason });
  await notePhotograph(photograph, "sent");
}

const confirmed = (ui, key, words, sure, deed) => ui.asked === key
  ? html`<button class="button button-stop" type="button" @click=${act(ui, async () => {
      await deed();
      ui.asked = null;
    })}>${sure}</button>`
  : html`<button class="button button-quiet" type="button" @click=${() => {
      ui.asked = key;
      ui.redraw();
    }}>${words}</button>`;

function room() {
  const { used } = keeping();
  return used ? html`<p class="hint">All that is on this tablet takes ${size(used)}.</p>` : nothing;
}
