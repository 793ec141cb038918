// The same item of the same car was recorded by somebody else since: both stand side by side, and a person decides.

import { resolve } from "../database.js";
import { html, nothing } from "../html.js";
import { act, carName } from "../record/pieces.js";

const KEEP = { both: "Both happened: keep both", theirs: "The same work: keep theirs, do not count mine" };

/** @param {any} ui @param {{report: any, car: any, all: any[]}} held */
export function conflicts(ui, { report, car, all }) {
  const signed = all.findLast((entry) => entry.state === "conflict");
  const begun = all.find((entry) => entry.kind === "begun");
  ui.chosen ??= {};
  const chosen = (ui.chosen[report.key] ??= {});
  const decided = signed.others.every((other) => chosen[other.event_id]);
  return html`<section class="field-conflict" aria-label="Recorded by somebody else since">
    <h3>${car ? carName(car) : "A car not on this tablet"}: recorded by somebody else since</h3>
    ${signed.others.map((other) => pair(ui, report.key, other, mine(all, begun, signed, other.item), chosen))}
    <p class="actions"><button class="button" type="button" ?disabled=${!decided}
      @click=${act(ui, () => resolve(report.key, signed.others.map((each) => ({ item: each.item, other: each.event_id, keep: chosen[each.event_id] }))))}>Record what I decided</button></p>
  </section>`;
}

function mine(all, begun, signed, item) {
  const outcome = all.findLast((entry) => entry.kind === "outcome" && entry.says.item === item);
  return {
    happened_on: begun?.says.happened_on, outcome: outcome?.says.outcome ?? "", facility: begun?.says.facility ?? "",
    inspector: signed.says.name, recorded_at: signed.made_at,
  };
}

const pair = (ui, report, other, own, chosen) => html`<fieldset>
  <legend>${other.item.replaceAll("_", " ")}</legend>
  <div class="field-pair">${side("Mine", own)}${side(`Theirs, recorded by ${other.recorded_by}`, other)}</div>
  ${Object.entries(KEEP).map(([keep, words]) => html`<label class="field-choice"><input type="radio" name=${`${report}-${other.event_id}`}
    .checked=${chosen[other.event_id] === keep} @change=${() => {
      chosen[other.event_id] = keep;
      ui.redraw();
    }}> ${words}</label>`)}
</fieldset>`;

const side = (whose, { happened_on, outcome, facility, inspector, recorded_at }) => html`<section aria-label=${whose}><h4>${whose}</h4><dl>
  ${row("Happened on", happened_on)}${row("Outcome", outcome.replaceAll("_", " "))}${row("Facility", facility)}
  ${row("Inspector", inspector)}${row("Recorded", recorded_at?.slice(0, 16).replace("T", " "))}</dl></section>`;

const row = (name, value) => (value ? html`<dt>${name}</dt><dd>${value}</dd>` : nothing);
