/** Every entry of a report in the order in which it was made, with what became of it. */
import { html, nothing } from "../html.js";
import { withUnit } from "../prefers.js";
import { capital } from "./car.js";
import { badge, head, inWords, moment, notice, takeBack } from "./pieces.js";
import { kindWords } from "./report.js";
import { inWords as swapWords } from "./swap.js";

// These are corrected, never taken back.
const STAY = ["begun", "withdrawn", "signed", "caution", "resolved"];

/** @param {import("./desk.js").Desk} desk @param {string[]} _rest @param {any} ui */
export function entries(desk, _rest, ui) {
  const stands = new Set(desk.fold.standing.map((each) => each.key));
  return html`${head("All entries", [desk.at(), "The report"], `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    <p>An entry is never changed. A correction stands after what it corrects, and what is taken back is kept as taken back.</p>
    <ol class="cards">${desk.entries.map((each) => html`<li class="card"><div class="card-head"><strong>${each.place}. ${capital(kindWords(each.kind))}</strong> ${badge(each.state)}</div>
      <p>${inShort(desk, each)}</p><p class="below">${moment(each.made_at)}${each.replaces ? ", a correction" : ""}${gone(each, stands)}</p>
      ${each.state === "refused" ? html`<a class="button" href=${desk.at(`mend/${each.key}`)}>Mend</a>`
        : stands.has(each.key) && !STAY.includes(each.kind) ? takeBack(ui, desk, each) : nothing}</li>`)}</ol>`;
}

const gone = (entry, stands) => (stands.has(entry.key) || entry.kind === "withdrawn" ? "" : ", corrected or taken back since");

const SHORT = {
  begun: (says) => `${says.facility}, ${says.happened_on}`,
  caution: (says) => `${says.caution}, for ${says.job.replaceAll("_", " ")}`,
  gauge_check: (says) => `${says.gauge}: ${withUnit(says.read_in, "in")} on ${withUnit(says.standard_in, "in")}`,
  reading: (says) => `${says.spot || says.zone}: ${withUnit(says.inches, "in")}`,
  bench_test: (says) => [says.found_psig && `found ${says.found_psig}`, says.left_psig && `left ${says.left_psig}`, says.outcome].filter(Boolean).join(", "),
  lining: (says) => `${says.area}: ${says.condition}`,
  leak_test: (says) => `${says.what}: ${says.outcome}`,
  defect: (says) => `${says.defect}: ${says.place}`,
  photograph: (says) => `${Math.ceil(says.bytes / 1024)} KB`,
  outcome: (says) => `${says.item.replaceAll("_", " ")}: ${says.outcome.replaceAll("_", " ")}`,
  withdrawn: (says) => says.why,
  resolved: (says) => `${says.item.replaceAll("_", " ")}: ${says.keep}`,
  signed: (says) => says.name,
};

/** What an entry says, in a line. */
export function inShort(desk, { kind, says }) {
  if (kind === "swap") return swapWords(desk, says);
  if (kind !== "step") return SHORT[kind]?.(says) ?? "";
  const named = desk.steps(says.item).find((step) => step.id === says.step)?.look_at ?? says.step;
  return [`${named}: ${inWords(says.outcome)}`, says.value, says.words].filter(Boolean).join(", ");
}
