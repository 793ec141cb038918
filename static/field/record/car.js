/** A car as it was taken along: facts, what is due and why, its parts, the last readings. */
import { html, nothing } from "../html.js";
import { spelled, withUnit } from "../prefers.js";
import { badge, carName, head, moment, notice, reasons } from "./pieces.js";

/** @param {any} car @param {any} shared @param {any[]} reports of this car on the tablet @param {any} ui */
export function car(car, shared, reports, ui) {
  return html`${head(carName(car), ["#/", "Today's work"], "Car")} ${notice(ui)}
    ${facts(car)} ${visit(car.visit)}
    ${reports.map(begun)}
    <div class="actions"><a class="button" href="#/car/${car.id}/begin">Begin a report</a></div>
    <h2>Due</h2>
    <ul class="cards">${car.due.map(due)}</ul>
    <h2>Parts</h2>
    ${car.parts.length ? html`<ul class="cards">${car.parts.map(part)}</ul>` : html`<p>No part is recorded on this car.</p>`}
    <h2>Last readings</h2>
    ${last(car)}
    ${car.taken_at ? html`<p class="hint">As of ${moment(car.taken_at)}, when it was taken along.</p>` : nothing}`;
}

const LINED = { true: "lined", false: "not lined" };

const facts = (car) => html`<dl class="facts">${[
  ["Specification", car.specification],
  ["Owner", car.owner],
  ["Lading", car.lading],
  ["Lining", LINED[String(car.lined)]],
  ["Built", car.built_on && spelled(car.built_on)],
  ["Standing", car.standing?.replaceAll("_", " ")],
].map(([name, said]) => html`<div><dt>${name}</dt><dd>${said || "not recorded"}</dd></div>`)}</dl>`;

const visit = (visit) => visit
  ? html`<p class="notice">${visit.shop}, sent ${visit.sent ? spelled(visit.sent) : "on a day not recorded"}.${visit.instructions ? html` <strong>${visit.instructions}</strong>` : nothing}</p>`
  : nothing;

const STATES = { open: "not signed yet", signed: "signed, waits to be sent", sent: "signed and sent" };

const begun = (report) => html`<p class="notice"><a class="go" href="#/report/${report.key}">Report of ${moment(report.begun_at)}</a>
  <span class="below">${STATES[report.state]}${report.refused ? `, ${report.refused} refused` : ""}</span></p>`;

const due = (each) => html`<li class="card">
  <div class="card-head"><strong>${capital(each.words)}</strong> ${badge(each.status)}</div>
  <p>${each.due_on ? html`due <time>${spelled(each.due_on)}</time>` : each.next}</p>
  ${reasons(each.reasons)}</li>`;

const part = (each) => html`<li class="card">
  <div class="card-head"><strong>${capital(each.words)}</strong> <span>${each.position || "position not recorded"}</span></div>
  <p>${[each.maker, each.model].filter(Boolean).join(" ")} <span class="code">${each.serial || "no serial recorded"}</span></p>
  <p class="below">${each.tested_on ? `tested ${spelled(each.tested_on)}` : "no test recorded"}${each.set_psig ? `, set at ${spelled(withUnit(each.set_psig, "psig"))}` : ""}</p></li>`;

/** By zone, the least first: that is what the next readings are held against. */
function last(car) {
  const zones = car.zones.filter((zone) => car.last?.[zone.zone]?.length);
  if (!zones.length) return html`<p>No reading is recorded.</p>`;
  return html`<div class="scroll" tabindex="0" role="region" aria-label="Last readings by zone"><table>
    <thead><tr><th scope="col">Zone</th><th scope="col">Where</th><th scope="col" class="num">Reading</th><th scope="col">On</th></tr></thead>
    <tbody>${zones.flatMap((zone) => car.last[zone.zone].map((each) => html`<tr><th scope="row">${zone.words}</th>
      <td>${each.spot || "not told"}</td><td class="num">${spelled(withUnit(each.inches, "in"))}</td><td>${spelled(each.on)}</td></tr>`))}</tbody></table></div>`;
}

export const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);
