/** Readings of thickness: the gauge checked first, then reading after reading, each judged at once. */
import * as judge from "../judge.js";
import { compare, decimal } from "../decimal.js";
import { html, nothing } from "../html.js";
import { line, spelled, stated, unitOf, withUnit } from "../prefers.js";
import { capital } from "./car.js";
import { draftOf, dropDraft, keepDraft } from "./drafts.js";
import { form } from "./forms.js";
import { keypad } from "./keypad.js";
import { act, badge, head, notice, once, shape, takeBack, tone } from "./pieces.js";
import { judgedEntry, zoneOf } from "./verdicts.js";
import { around, inOrder, keyOf, lastAt, ringsOf, same, spots, within } from "./spots.js";

/** @param {import("./desk.js").Desk} desk @param {string[]} _rest @param {any} ui */
export function thickness(desk, _rest, ui) {
  const readings = desk.fold.of("reading");
  ui.rings ??= ringsOf(desk.car, readings);
  const all = spots(ui.rings);
  if (!ui.spot) goTo(ui, desk, nextFree(all, readings, null), stillTyped(ui, desk, readings));
  return html`${head("Thickness", [desk.at("item/thickness"), capital(desk.words("thickness"))], `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    ${gauge(ui, desk)}
    ${ready(desk) ? html`<div class="reading">
      ${entry(ui, desk, all, readings)} ${shell(ui, desk, all, readings)}</div>` : nothing}
    ${worst(desk, readings)}`;
}

// ---- the gauge first ----

const lastCheck = (desk) => desk.fold.last("gauge_check");
const checked = (entry) => entry && judge.gauge(entry.says.standard_in, entry.says.read_in);
const ready = (desk) => checked(lastCheck(desk))?.within ?? false;

function gauge(ui, desk) {
  const last = lastCheck(desk);
  const told = checked(last);
  if (told?.within) return html`<details class="gauge"><summary>${badge("ok", "gauge checked")}</summary>
    <p>Gauge ${last.says.gauge}. ${spelled(told.words)}</p>${checkForm(ui, desk, last)}</details>${outdated(desk, last)}`;
  return html`<section aria-labelledby="gauge"><h2 id="gauge">The gauge first</h2>
    ${told ? html`<p>${badge("not_ok")} Gauge ${last.says.gauge}. ${spelled(told.words)}</p>
      <p class="problem" role="alert">Set the gauge right or take another one, and check it again. Readings wait until it reads its standard.</p>`
      : html`<p>Check the gauge on a block of known thickness before the first reading.</p>`}
    ${checkForm(ui, desk, last)}</section>${last ? outdated(desk, last) : nothing}`;
}

const outdated = (desk, { says }) => says.valid_until && says.valid_until < (desk.fold.begun?.says.happened_on ?? "")
  ? html`<p class="notice notice-care">Its calibration was valid until ${spelled(says.valid_until)}. Ask before you go on with it.</p>` : nothing;

const checkForm = (ui, desk, last) => form(ui, `${desk.key}-gauge-${last?.key ?? ""}`, {
  fields: GAUGE,
  values: { gauge: last?.says.gauge, standard_in: last?.says.standard_in, valid_until: last?.says.valid_until },
  button: "Keep the check",
  submit: (values) => desk.add("gauge_check", values),
});

export const GAUGE = [
  { name: "gauge", label: "Gauge", control: "line", must: true, want: "its serial" },
  { name: "standard_in", label: "Thickness of the block", control: "number", unit: "in", must: true, want: "a thickness such as 0.500" },
  { name: "read_in", label: "What the gauge read", control: "number", unit: "in", must: true, want: "a thickness such as 0.501" },
  { name: "valid_until", label: "Calibrated until", control: "day" },
];

// ---- one reading ----

const at = (readings, spot) => readings.findLast((each) => same(each.says, spot)) ?? null;

function nextFree(all, readings, after) {
  const order = inOrder(all);
  const from = after ? order.findIndex((each) => same(each, after)) + 1 : 0;
  const turned = [...order.slice(from), ...order.slice(0, from)];
  return turned.find((each) => !at(readings, each)) ?? order[0];
}

/** What is typed for the spot in front: kept through a crash, and let go when another spot is chosen. */
const typingOf = (desk) => `${desk.key}-reading`;

/**
 * What was typed when the tablet went off, unless it is recorded by now: the browser writes to disk later that a draft
 * is gone than the entry itself, and typed over there the next reading would replace the last one.
 */
function stillTyped(ui, desk, readings) {
  const draft = draftOf(ui, typingOf(desk));
  return draft && (draft.of ?? null) === keyAt(readings, draft.spot) ? draft : null;
}

const keyAt = (readings, spot) => at(readings, spot)?.key ?? null;

/** Be at a spot; what was typed when the tablet went off is there again, at the spot it was meant for. */
function goTo(ui, desk, spot, draft = null) {
  if (draft === null) dropDraft(ui, typingOf(desk));
  const typed = { typed: "", local: false, span: "", apart: "", more: false, ...draft };
  Object.assign(ui, { spot, question: "", wrong: "" }, typed);
}

function typing(ui, desk) {
  ui.afresh = true;
  const { spot, typed, local, span, apart, more } = ui;
  keepDraft(ui, typingOf(desk), { of: keyAt(desk.fold.of("reading"), spot), spot, typed, local, span, apart, more });
}

function entry(ui, desk, all, readings) {
  const zone = zoneOf(desk, ui.spot.zone);
  const old = ui.more ? null : at(readings, ui.spot);
  const last = lastAt(desk.car, ui.spot);
  return html`<section class="spot" aria-labelledby="spot">
    <h2 id="spot">${capital(ui.spot.spot)}, ${zone.words}</h2>
    <p class="lines">${lines(zone)}</p>
    <p class="last">${last ? html`Last time ${last.where} <b>${spelled(withUnit(last.inches, "in"))}</b>, ${spelled(last.on)}` : "No reading of last time here"}</p>
    ${keypad(ui, {
      label: inMillimetres() ? "Millimetres" : "Inches", problem: ui.wrong, button: old ? `Replace ${withUnit(old.says.inches, "in")}` : "Keep, next",
      typing: () => typing(ui, desk), enter: (text) => pressed(ui, desk, all, text), disabled: !desk.open,
    })}
    ${ui.question ? question(ui, desk, all) : nothing}
    ${local(ui, desk)}
    <div class="verdict" role="status">${ui.told ? verdict(desk, ui.told) : nothing}</div>
    ${old ? html`<div class="actions">${takeBack(ui, desk, old)}<button class="button button-quiet" type="button" @click=${() => {
      ui.more = true;
      ui.redraw();
    }}>One more here</button></div>` : nothing}
  </section>`;
}

const inMillimetres = () => unitOf("in") === "mm";

const lines = (zone) => zone.c
  ? html`<span>Line C <b>${line(zone.c)}</b></span> <span>D <b>${line(zone.d)}</b></span> <span>E <b>${line(zone.e)}</b> ${unitOf("in")}</span>`
  : zone.judged_by === "owner" ? "Judged by the owner; no line of the rule" : "No lines are known for this zone";

/** Only a local spot: judged by line E where it is small and far enough from the next. */
function local(ui, desk) {
  return html`<details class="local" ?open=${ui.local} @toggle=${(event) => {
    ui.local = event.target.open;
  }}><summary>Only a local spot</summary>
    <div class="fields">${measure(ui, desk, "span", "It spans")}${measure(ui, desk, "apart", "From the next spot")}</div></details>`;
}

const measure = (ui, desk, name, words) => html`<div class="field"><label for=${name}>${words} <span class="unit">${unitOf("in")}</span></label>
  <input id=${name} inputmode="decimal" autocomplete="off" .value=${ui[name] ?? ""} @input=${(event) => {
    ui[name] = event.target.value;
    typing(ui, desk);
    ui.redraw();
  }}></div>`;

/** What is typed and pressed while a reading is still being written has its turn after it, unless that one is asked about. */
async function pressed(ui, desk, all, text) {
  if (ui.busy) {
    ui.next = ui.afresh ? text : null; // nothing was typed since: it is the same press twice
    return;
  }
  Object.assign(ui, { afresh: false, next: null });
  await once(ui, () => taken(ui, desk, all, text));
  const goesOn = !(ui.busy || ui.wrong || ui.question || ui.problem);
  if (ui.next !== null && goesOn) await pressed(ui, desk, all, ui.next);
}

/** Judge what was typed; ask where it is unlikely, else keep it and go on to the next spot. */
async function taken(ui, desk, all, text) {
  ui.wrong = ui.question = "";
  const { asks } = desk.car;
  const inches = stated(text, "in");
  await desk.renew();
  const want = inMillimetres() ? "millimetres such as 11.1, or 0.438 in" : "inches such as 0.438";
  if (!inches) return again(ui, text ? `Got “${text}”; want ${want}.` : `Nothing is given; want ${want}.`);
  const odd = judge.slip(inches, asks.design?.[ui.spot.zone], asks);
  if (odd?.startsWith("must")) return again(ui, `The thickness ${odd}.`);
  const readings = desk.fold.of("reading");
  const told = odd ? [odd] : judge.unlikely(inches, around(ui.spot, readings), lastAt(desk.car, ui.spot), asks);
  if (told.length) {
    ui.question = { inches, told, odd };
    ui.redraw();
    document.getElementById("right")?.focus();
    return undefined;
  }
  return kept(ui, desk, all, inches, false);
}

function again(ui, problem) {
  ui.wrong = problem;
  ui.redraw();
}

async function kept(ui, desk, all, inches, confirmed) {
  const { spot } = ui;
  const old = ui.more ? null : at(desk.fold.of("reading"), spot);
  const place = { zone: spot.zone, ring: spot.ring, spot: spot.spot };
  const extent = ui.local ? { extent: "local", span_in: stated(ui.span ?? "", "in"), apart_in: stated(ui.apart ?? "", "in") } : { extent: "general", span_in: null, apart_in: null };
  ui.told = await desk.write("reading", { ...place, inches, ...extent, confirmed }, old);
  // What was typed meanwhile is the next one's.
  goTo(ui, desk, nextFree(all, desk.fold.of("reading"), spot), ui.afresh ? { typed: ui.typed } : null);
}

function confirm(ui, desk, all) {
  ui.afresh = false;
  return kept(ui, desk, all, ui.question.inches, true);
}

const question = (ui, desk, all) => html`<div class="notice notice-care" role="alert">
  <p>${ui.question.odd ? spelled(ui.question.odd) : html`<b>${withUnit(ui.question.inches, "in")}</b>: ${spelled(ui.question.told.join("; "))}. Is it right?`}</p>
  <div class="actions"><button id="right" class="button" type="button" @click=${act(ui, () => ui.question && confirm(ui, desk, all))}>It is right, keep it</button>
  <button class="button button-quiet" type="button" @click=${() => {
    ui.question = "";
    ui.redraw();
  }}>Read again</button></div></div>`;

// ---- how it stands ----

function verdict(desk, entry) {
  const told = judgedEntry(desk, entry);
  const last = lastAt(desk.car, entry.says);
  const since = judge.loss(last, entry.says.inches);
  return html`<p><b class="big">${spelled(withUnit(entry.says.inches, "in"))}</b> ${badge(told.verdict)}</p>
    <p>${capital(entry.says.spot)}: ${spelled(told.margin)}.${since ? html` ${capital(spelled(since.words))}.` : nothing}${told.why ? html` ${spelled(told.why)}.` : nothing}</p>`;
}

const WORST_FIRST = ["condemned", "at_or_below_c", "unknown", "owner_judged", "above_c"];

/** By zone how many were read and how the worst stands. */
function worst(desk, readings) {
  if (!readings.length) return nothing;
  const zones = [...new Set(readings.map((each) => each.says.zone))].map((name) => zoneOf(desk, name));
  return html`<h2>Zones</h2><ul class="cards">${zones.map((zone) => {
    const there = readings.filter((each) => each.says.zone === zone.zone);
    const least = there.toSorted((one, other) => rank(desk, one) - rank(desk, other) || compare(decimal(one.says.inches), decimal(other.says.inches)))[0];
    const told = judgedEntry(desk, least);
    return html`<li class="card"><div class="card-head"><strong>${capital(zone.words)}</strong> ${badge(told.verdict)}</div>
      <p>${there.length} read, worst ${withUnit(least.says.inches, "in")} at ${least.says.spot}: ${spelled(told.margin)}</p></li>`;
  })}</ul>`;
}

const rank = (desk, entry) => WORST_FIRST.indexOf(judgedEntry(desk, entry).verdict);

// ---- the shell unrolled ----

function shell(ui, desk, all, readings) {
  const cell = (spot) => oneCell(ui, desk, spot, at(readings, spot));
  return html`<section class="shell" aria-labelledby="shell"><h2 id="shell">The shell unrolled</h2>
    <p class="hint">Cut at 9 o'clock. 12 is the top, 3 the right side as seen from the B end.</p>
    <div class="rings" data-rings=${ui.rings}>
      <div class="clocks" aria-hidden="true"><span></span>${all.rings[0].map((spot) => html`<span>${spot.short}</span>`)}</div>
      ${all.rings.map((ring, place) => html`<div class="ring" role="group" aria-label="Ring ${place + 1}"><span aria-hidden="true">${place + 1}</span>${ring.map(cell)}</div>`)}
    </div>
    <p class="ends" aria-hidden="true"><span>B end: ring 1</span><span>A end: ring ${ui.rings}</span></p>
    <div class="heads">${[["B-end head", all.b], ["A-end head", all.a], ["Judged by the owner", all.other]].map(([words, spots]) => html`<div role="group" aria-label=${words}>
      <p class="label">${words}</p><div class="head-spots">${spots.map((spot) => html`<span class="named"><span aria-hidden="true">${spot.short}</span>${cell(spot)}</span>`)}</div></div>`)}</div>
    <div class="actions" role="group" aria-label="How many rings">${[["One ring fewer", -1], ["One ring more", 1]].map(([words, by]) => html`<button class="button button-quiet" type="button" @click=${() => {
      ui.rings = Math.max(within(ui.rings + by), ...readings.map((each) => each.says.ring ?? 0));
      ui.redraw();
    }}>${words}</button>`)}</div></section>`;
}

function oneCell(ui, desk, spot, entry) {
  const told = entry && judgedEntry(desk, entry);
  const words = entry ? `${withUnit(entry.says.inches, "in")}, ${spelled(told.margin)}` : "not read yet";
  return html`<button type="button" class=${`cell ${spot.zone} ${told ? tone(told.verdict) : "unread"}`} data-spot=${keyOf(spot)}
    aria-label="${capital(spot.spot)}, ${zoneOf(desk, spot.zone).words}: ${words}" aria-pressed=${String(same(spot, ui.spot))} @click=${() => {
      goTo(ui, desk, spot);
      ui.redraw();
    }}>${entry ? html`<span>${entry.says.inches.replace(/^0(?=\.)| mm$/g, "")}</span>${shape(told.verdict)}` : html`<span>–</span>`}</button>`;
}
