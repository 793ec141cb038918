// What waits on this tablet: what is still to be sent, what the register refused and why, and what a person has to decide.

import { add, cars, drop, entries, reports, whose } from "../database.js";
import { html, nothing } from "../html.js";
import { notePhotograph, refusedPhotographs } from "../outbox.js";
import { act, badge, carName, head, moment, notice } from "../record/pieces.js";
import { counted, size } from "../quantities.js";
import { now } from "../sending.js";
import { keeping, tryNow } from "../shell.js";
import { conflicts } from "./conflicts.js";

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
  const decide = held.filter((each) => each.report.conflict);
  return html`${head("What waits", null)}
    ${notice(ui)}
    <p>${now.words || "All that is recorded is written on this tablet first and sent by itself."}
      ${now.until ? html` It is tried again at ${moment(now.until).slice(11)}.` : nothing}</p>
    <p class="actions">${tryNow()}</p>
    ${decide.length ? html`<h2>To decide</h2>${decide.map((each) => conflicts(ui, each))}` : nothing}
    ${refused.length + pictures.length ? html`<h2>Refused by the register</h2><ul class="field-list">
      ${refused.map((each) => refusedRow(ui, each))}${pictures.map((each) => pictureRow(ui, each))}</ul>` : nothing}
    <h2>To be sent</h2>${toSend(held)}
    ${room()}`;
}

function toSend(held) {
  const rows = held.filter((each) => each.report.waiting);
  if (!rows.length) return html`<p>Nothing waits.</p>`;
  return html`<ul class="field-list">${rows.map(({ report, car }) => html`<li><a class="field-row" href=${`#/report/${report.key}`}>
    ${named(car)}${badge("waiting", `${counted(report.waiting, "entry", "entries")} ${report.waiting === 1 ? "waits" : "wait"}`)}
    <span class="field-due">begun ${moment(report.begun_at)}</span></a></li>`)}</ul>`;
}

const named = (car) => (car ? carName(car) : html`<span>A car not on this tablet</span>`);

const refusedRow = (ui, { report, car, entry }) => html`<li class="field-row field-refused">
  ${named(car)}${badge("refused", `${entry.kind.replaceAll("_", " ")} refused`)}
  <ul>${entry.faults.map(({ problem }) => html`<li>${problem}</li>`)}</ul>
  <a class="button" href=${`#/report/${report.key}/mend/${entry.key}`}>Mend</a>
  ${confirmed(ui, entry.key, "Do without", "Yes, do without it", () => drop(entry))}</li>`;

const pictureRow = (ui, photograph) => html`<li class="field-row field-refused">
  <span>Photograph, ${size(photograph.bytes)}</span>${badge("refused", "photograph refused")}
  <ul><li>${photograph.reason}</li></ul>
  <button class="button" type="button" @click=${act(ui, () => notePhotograph(photograph, "waiting"))}>Send again</button>
  ${confirmed(ui, photograph.digest, "Take it back", "Yes, take it back", () => takeBack(photograph))}</li>`;

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
  const { used, quota } = keeping();
  return quota ? html`<p class="hint">This tablet uses ${size(used)} of ${size(quota)}.</p>` : nothing;
}
