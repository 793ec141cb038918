/** Relief devices on the bench: as found, as left, vapor tight, judged at every key from the ranges of the pack. */
import * as judge from "../judge.js";
import { html, nothing } from "../html.js";
import { spelled, stated, withUnit } from "../prefers.js";
import { capital } from "./car.js";
import { leftOutside } from "./contradictions.js";
import { form, typedNow } from "./forms.js";
import { photographsOf } from "./photographs.js";
import { acknowledged, badge, cautions, head, notice, takeBack } from "./pieces.js";

const CARE = ["loosening", "pressure"];
const JOB = "relief_device";
const MEASURES = ["found_psig", "left_psig", "vapor_tight_psig"];

/** The devices to choose from. */
export function benches(desk, _rest, ui) {
  const devices = desk.car.parts.filter((part) => part.relief);
  return html`${head("Bench tests", [desk.at("item/relief_device"), capital(desk.words("relief_device"))], `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    ${devices.length ? html`<ul class="cards">${devices.map((part) => device(desk, part))}</ul>`
      : html`<p>No relief device is recorded on this car. A device put on is recorded under <a href=${desk.at("swap")}>Parts changed</a>.</p>`}`;
}

function device(desk, part) {
  const test = testOf(desk, part);
  return html`<li class="card"><a class="card-go" href=${desk.at(`bench/${part.installation_id}`)}>
    <span class="card-head"><strong>${capital(part.words)} ${part.serial}</strong> ${badge(test?.says.outcome ?? "open")}</span>
    <span class="below">${part.position}${part.set_psig ? `, set at ${spelled(withUnit(part.set_psig, "psig"))}` : ""}</span></a></li>`;
}

const testOf = (desk, part) => desk.fold.last("bench_test", (says) => says.installation_id === part.installation_id);

/** @param {import("./desk.js").Desk} desk @param {string[]} rest the number of the installation @param {any} ui */
export function bench(desk, [id], ui) {
  const part = desk.car.parts.find((each) => each.installation_id === Number(id));
  if (!part) return html`${head("Not on this car", [desk.at("benches"), "Bench tests"])}`;
  const old = testOf(desk, part);
  return html`${head(`${capital(part.words)} ${part.serial}`, [desk.at("benches"), "Bench tests"], part.position)} ${notice(ui)}
    <dl class="facts">${facts(part).map(([name, said]) => html`<div><dt>${name}</dt><dd>${said}</dd></div>`)}</dl>
    ${part.bench?.reasons?.length ? html`<details class="why"><summary>Why these</summary><ul>${part.bench.reasons.map((each) => html`<li>${each.text ?? each}</li>`)}</ul></details>` : nothing}
    ${cautions(ui, desk, CARE, JOB)}
    ${old ? html`<p>${badge(old.says.outcome)} ${takeBack(ui, desk, old)}</p>${verdicts(part, old.says)}${photographsOf(ui, desk, old)}` : nothing}
    ${desk.open && acknowledged(desk, CARE, JOB) ? (old ? folded(testForm(ui, desk, part, old)) : testForm(ui, desk, part, old)) : nothing}
    <p><a class="button button-quiet" href=${desk.at(`swap/${part.installation_id}`)}>Replace this device</a></p>`;
}

const folded = (form) => html`<details><summary>Correct the test</summary>${form}</details>`;

const facts = (part) => [
  ["Set at", part.set_psig ? spelled(withUnit(part.set_psig, "psig")) : "not recorded"],
  ["May open at", spelled(judge.within(part.bench?.opens)) || "nothing says"],
  ["Vapor tight", spelled(judge.within(part.bench?.vapor_tight)) || "nothing says"],
  ["Last tested", spelled(part.tested_on ?? "not recorded")],
];

export const FIELDS = [
  { name: "found_psig", label: "Start to discharge, as found", control: "number", unit: "psig", want: "a pressure such as 75" },
  { name: "left_psig", label: "Start to discharge, as left", control: "number", unit: "psig", want: "a pressure such as 75" },
  { name: "vapor_tight_psig", label: "Vapor tight up to", control: "number", unit: "psig", want: "a pressure such as 60" },
  { name: "outcome", label: "The device", control: "choice", choices: [["pass", "Passed"], ["fail", "Failed"]], must: true, want: "passed or failed" },
  { name: "words", label: "Words", control: "notes" },
];

function testForm(ui, desk, part, old) {
  const id = `${desk.key}-bench-${part.installation_id}-${old?.key ?? ""}`;
  const typed = typedNow(ui, id);
  return form(ui, id, {
    fields: FIELDS,
    values: old?.says,
    faults: old?.faults,
    live: true,
    also: html`<div role="status">${verdicts(part, asStated(typed))}</div>${ui.question === id ? html`<p class="notice notice-care" role="alert">
      As left or vapor tight it is outside what is allowed, and yet it passed? Look again; press once more if it is right.</p>` : nothing}`,
    button: old ? "Keep the correction" : "Keep the test",
    submit: (values) => keep(ui, desk, part, old, id, values),
  });
}

async function keep(ui, desk, part, old, id, values) {
  const odd = values.outcome === "pass" && leftOutside(part, values);
  if (odd && ui.question !== id) {
    ui.question = id;
    throw Object.assign(new Error("Not kept yet: is it right?"), { name: "Trouble" });
  }
  await desk.write("bench_test", { installation_id: part.installation_id, ...values, confirmed: odd }, old);
  ui.question = null;
  ui.notice = "Test kept.";
}

/** The pressures of what is typed just now, as an entry would state them. */
const asStated = (typed) => Object.fromEntries(MEASURES.map((each) => [each, stated(typed[each] ?? "", "psig")]));

const verdicts = (part, says) => {
  const stated = MEASURES.filter((each) => says?.[each]);
  return stated.length ? html`<ul class="told">${stated.map((each) => {
    const told = judge.bench(each, says[each], part.bench);
    return html`<li>${badge(told.verdict)} <span>${spelled(told.words)}</span></li>`;
  })}</ul>` : nothing;
};
