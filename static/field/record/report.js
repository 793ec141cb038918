/** A report in one view: each item with its progress, what it still lacks, what else can be recorded, its signature. */
import { html, nothing } from "../html.js";
import { capital } from "./car.js";
import { contradictions } from "./contradictions.js";
import { missing } from "./fold.js";
import { badge, carName, head, inWords, moment, notice } from "./pieces.js";

/** @param {import("./desk.js").Desk} desk @param {string[]} _rest @param {any} ui */
export function report(desk, _rest, ui) {
  const { fold, car } = desk;
  const says = fold.begun?.says ?? {};
  return html`${head(html`Report, ${carName(car)}`, [`#/car/${car.id}`, `${car.mark} ${car.number}`], says.happened_on)} ${notice(ui)}
    ${trouble(desk)}
    <p>${[says.facility, says.station_code].filter(Boolean).join(", station ")} ${desk.open ? html`<a class="go" href=${desk.at("begun")}>Correct</a>` : nothing}</p>
    <h2>What was meant</h2>
    <ul class="cards">${[...fold.states()].map(([item, state]) => itemCard(desk, item, state))}</ul>
    <h2>Found and changed</h2>
    <nav aria-label="Record"><ul class="tiles">${tiles(desk)}</ul></nav>
    <h2>Before you sign</h2>
    ${lacks(desk)} ${lookAgain(contradictions(desk))} ${warnings(desk)}
    <div class="actions">${fold.signed
      ? html`<p>${badge(fold.signed.state, `signed by ${fold.signed.says.name}, ${inWords(fold.signed.state)}`)}</p>`
      : html`<a class="button" href=${desk.at("sign")}>Sign the report</a>`}</div>`;
}

/** What the server refused or what others recorded meanwhile; first, since nothing moves until it is settled. */
const trouble = (desk) => desk.entries.filter((each) => each.state === "refused" || each.state === "conflict").map((each) =>
  html`<p class="notice notice-stop">${badge(each.state)} ${capital(kindWords(each.kind))} of ${moment(each.made_at)}.
    <a class="go" href=${desk.at(`${each.state === "conflict" ? "conflict" : "mend"}/${each.key}`)}>${each.state === "conflict" ? "Decide" : "Mend"}</a></p>`);

export const kindWords = (kind) => ({ begun: "the beginning", bench_test: "bench test", withdrawn: "taking back", signed: "signature",
  swap: "change of a part", resolved: "decision" })[kind] ?? kind.replaceAll("_", " ");

function itemCard(desk, item, state) {
  return html`<li class="card"><a class="card-go" href=${desk.at(`item/${item}`)}>
    <span class="card-head"><strong>${capital(desk.words(item))}</strong> ${badge(state)}</span>
    <span class="below">${progress(desk, item)}</span></a></li>`;
}

/** How far the guided steps of an item are, in words. */
export function progress(desk, item) {
  const steps = desk.steps(item);
  const answers = steps.map((step) => desk.fold.step(item, step.id)?.says.outcome).filter(Boolean);
  const wrong = answers.filter((outcome) => outcome === "not_ok").length;
  const readings = item === "thickness" ? `, ${desk.fold.of("reading").length} readings` : "";
  const done = steps.length ? `${answers.length} of ${steps.length} steps` : "no steps are written for it";
  return `${done}${readings}${wrong ? `, ${wrong} not OK` : ""}`;
}

const TILES = [
  ["thickness", "Thickness", "reading"], ["benches", "Bench tests", "bench_test"], ["lining", "Lining", "lining"], ["leak", "Leak test", "leak_test"],
  ["defect", "Defects", "defect"], ["swap", "Parts changed", "swap"], ["photographs", "Photographs", "photograph"],
];
const tiles = (desk) => [
  ...TILES.map(([go, words, kind]) => tile(desk, go, words, desk.fold.of(kind).length)),
  tile(desk, "entries", "All entries", desk.entries.length),
];
const tile = (desk, go, words, count) => html`<li><a class="tile" href=${desk.at(go)}><span>${words}</span> <b>${count}</b></a></li>`;

/** What still lacks of the eight fields of a report. */
export function lacks(desk) {
  const found = missing(desk.fold, desk.car, (item) => desk.words(item));
  if (!found.length) return html`<p>${badge("ok", "nothing lacks but the signature")}</p>`;
  return html`<p>Of the eight fields of a report (49 CFR 180.517(b)) these lack:</p>
    <ul class="lacks">${found.map((each) => html`<li>${badge("unknown", each.field)} <a href=${desk.at(each.go)}>${capital(each.problem)}</a></li>`)}</ul>`;
}

/** What speaks against a pass. @param {string[]} told */
export const lookAgain = (told) => told.length
  ? html`<div class="notice notice-stop"><p>${badge("not_ok", "look again")}</p><ul>${told.map((each) => html`<li>${each}</li>`)}</ul></div>` : nothing;

/** Items for which the inspector's record shows none of the qualifications that serve; a warning, never a bar. */
export function warnings(desk, items = [...desk.fold.states().keys()]) {
  const day = desk.fold.begun?.says.happened_on ?? "";
  const held = desk.shared?.qualifications ?? [];
  const valid = (need) => held.some((each) => each.method === need.method && levels(each.level) >= levels(need.level) && each.valid_until >= day);
  const told = items.flatMap((item) => {
    const needs = desk.shared?.needs?.[item] ?? [];
    const any = needs.map((need) => `${need.method} level ${need.level}`).join(" or ");
    return !needs.length || needs.some(valid) ? [] : [`${capital(desk.words(item))} asks for ${any}; none is on record for you that is valid on ${day}.`];
  });
  return told.length ? html`<div class="notice notice-care"><p>Qualification, as far as the record knows:</p><ul>${told.map((each) => html`<li>${each}</li>`)}</ul></div>` : nothing;
}

// Levels are written in Roman figures; longer is higher up to III.
const levels = (level) => ["I", "II", "III"].indexOf(level);
