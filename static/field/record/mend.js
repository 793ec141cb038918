/** An entry that the register refused: the same form, filled, each fault beside its field. Nothing of it was stored there. */
import * as database from "../database.js";
import { html, nothing } from "../html.js";
import { begin } from "./begin.js";
import { FIELDS as BENCH } from "./bench.js";
import { defect, leak, lining } from "./findings.js";
import { form } from "./forms.js";
import { badge, head, notice, once } from "./pieces.js";
import { inShort } from "./entries.js";
import { kindWords } from "./report.js";
import { swap } from "./swap.js";
import { GAUGE } from "./thickness.js";

// The screens that correct an entry mend it as well: writing there puts it into the refused one's place.
const SCREENS = { begun: (desk, _key, ui) => begin(desk, [], ui), lining: withKey(lining), leak_test: withKey(leak), defect: withKey(defect), swap: withKey(swap) };
function withKey(screen) {
  return (desk, key, ui) => screen(desk, [key], ui);
}

const FIELDS = {
  gauge_check: GAUGE,
  bench_test: BENCH,
  reading: [
    { name: "inches", label: "Thickness", control: "number", unit: "in", must: true, want: "a thickness such as 0.438" },
    { name: "extent", label: "Extent", control: "choice", choices: [["general", "General"], ["local", "Local"]] },
    { name: "span_in", label: "It spans", control: "number", unit: "in" },
    { name: "apart_in", label: "From the next spot", control: "number", unit: "in" },
    { name: "confirmed", label: "I read it again and it is right", control: "tick" },
  ],
  step: [
    { name: "outcome", label: "Answer", control: "choice", choices: [["ok", "OK"], ["not_ok", "Not OK"], ["not_done", "Not done"]] },
    { name: "value", label: "Measured", control: "line" },
    { name: "words", label: "Words", control: "notes" },
  ],
  outcome: [
    { name: "outcome", label: "The item", control: "choice", choices: [["pass", "Passed"], ["fail", "Failed"], ["not_done", "Not done"]] },
    { name: "words", label: "Words", control: "notes" },
  ],
  photograph: [{ name: "words", label: "Words", control: "notes" }],
  withdrawn: [{ name: "why", label: "Why", control: "notes" }],
};

/** @param {import("./desk.js").Desk} desk @param {string[]} rest the entry's key @param {any} ui */
export function mend(desk, [key], ui) {
  const entry = desk.entry(key);
  if (entry?.state !== "refused") return html`${head("Mended", [desk.at(), "The report"])}<p>There is nothing to mend here any more.</p>`;
  const own = SCREENS[entry.kind];
  return html`${own ? nothing : head(`Mend the ${kindWords(entry.kind)}`, [desk.at(), "The report"], `${desk.car.mark} ${desk.car.number}`)}
    ${own ? nothing : notice(ui)}
    ${own ? own(desk, key, ui) : mendForm(ui, desk, entry)}
    <section class="notice notice-stop" aria-label="What was refused"><p>${badge("refused")} ${inShort(desk, entry)}</p>
      <ul>${entry.faults.map((each) => html`<li>${each.problem}</li>`)}</ul>
      <p>It is kept on this tablet only. What comes after it waits until it is mended or dropped.</p>
      ${entry.kind === "begun" ? nothing : html`<button class="button button-quiet" type="button" @click=${() => once(ui, async () => {
        await database.drop(entry);
        location.hash = desk.at();
      })}>Do without it</button>`}</section>`;
}

function mendForm(ui, desk, entry) {
  if (entry.kind === "signed") return html`<p><a class="button" href=${desk.at("sign")}>Sign again</a></p>`;
  return form(ui, `${desk.key}-mend-${entry.key}`, {
    fields: FIELDS[entry.kind] ?? [],
    values: entry.says,
    faults: entry.faults,
    button: "Keep it mended",
    submit: async (values) => {
      await database.mend(entry, { ...entry.says, ...values });
      location.hash = desk.at();
    },
  });
}

