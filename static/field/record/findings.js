/** What is found area by area or place by place: the lining, leak tests, defects. A list, and a form for one more. */
import { asEntry, drawing, inWords as placeWords, placeOf } from "../drawing.js";
import { Trouble } from "../database.js";
import { html, nothing } from "../html.js";
import { withUnit } from "../prefers.js";
import { capital } from "./car.js";
import { draftOf, dropDraft, keepDraft } from "./drafts.js";
import { form, wrongWith } from "./forms.js";
import { photographsOf } from "./photographs.js";
import { acknowledged, badge, cautions, head, notice, takeBack } from "./pieces.js";

const OUTCOMES = [["pass", "Passed"], ["fail", "Failed"]];
const named = (words) => words.map((each) => [each, capital(each)]);

export const LINING = [
  { name: "area", label: "Area", control: "line", must: true, want: "where, such as ring 2, lower half" },
  { name: "condition", label: "Condition", control: "choice", must: true, want: "the condition found",
    choices: named(["sound", "worn", "blistered", "cracked", "loose", "bare"]) },
  { name: "spark_volts", label: "Spark test at", unit: "volts", control: "number", want: "volts such as 12000" },
  { name: "holidays", label: "Holidays found", control: "number", hint: "Spots where the spark jumped; 0 for none", want: "a whole number" },
  { name: "words", label: "Words", control: "notes" },
];
export const LEAK = [
  { name: "what", label: "What was tested", control: "line", must: true, want: "what was tested, such as the manway gasket" },
  { name: "medium", label: "With", control: "line", hint: "Such as air, nitrogen, water" },
  { name: "psig", label: "Pressure", unit: "psig", control: "number", want: "a pressure such as 30" },
  { name: "minutes", label: "Held for", unit: "minutes", control: "number", want: "minutes such as 10" },
  { name: "outcome", label: "Outcome", control: "choice", choices: OUTCOMES, must: true, want: "passed or failed" },
  { name: "words", label: "Words", control: "notes" },
];
export const DEFECT = [
  { name: "defect", label: "Kind", control: "choice", must: true, want: "the kind of defect",
    choices: named(["corrosion", "pitting", "crack", "dent", "gouge", "weld", "leak", "missing", "other"]) },
  { name: "length_in", label: "Length", unit: "in", control: "number", want: "a length such as 2.5" },
  { name: "depth_in", label: "Depth", unit: "in", control: "number", want: "a depth such as 0.06" },
  { name: "repaired", label: "It was repaired", control: "tick" },
  { name: "how_repaired", label: "How it was repaired", control: "notes", when: (typed) => typed.repaired === true || typed.repaired === "yes",
    must: true, want: "the method of the repair" },
];

/** @param {import("./desk.js").Desk} desk @param {string[]} rest the key of one to correct @param {any} ui */
export function lining(desk, [key], ui) {
  return findings(ui, desk, key, {
    kind: "lining", go: "lining", title: "Lining", back: "item/lining", care: ["entry"], job: "lining", fields: LINING, one: "area",
    line: (says) => [says.condition === "sound" ? "ok" : "not_ok", says.area, sparked(says), says.condition],
    says: (values) => ({ ...values, holidays: values.holidays === null ? null : Math.trunc(Number(values.holidays)) }),
  });
}

const sparked = ({ spark_volts, holidays }) =>
  [spark_volts && `spark test at ${spark_volts} V`, holidays !== null && holidays !== undefined && `${holidays} holidays`].filter(Boolean).join(", ");

/** @param {import("./desk.js").Desk} desk @param {string[]} rest @param {any} ui */
export function leak(desk, [key], ui) {
  return findings(ui, desk, key, {
    kind: "leak_test", go: "leak", title: "Leak test", back: "item/leakage", care: ["pressure"], job: "leakage", fields: LEAK, one: "test",
    line: (says) => [says.outcome, says.what, [says.medium, says.psig && withUnit(says.psig, "psig"), says.minutes && `${says.minutes} min`].filter(Boolean).join(", ")],
    says: (values) => values,
  });
}

/** `defect/new/ITEM` is about an item; `defect/KEY` corrects one. */
export function defect(desk, [key, item], ui) {
  const old = desk.entry(key);
  const draft = `${desk.key}-place-${old?.key ?? desk.next("defect")}`;
  const chosen = (ui.place ??= draftOf(ui, draft) ?? (old ? { ...placeOf(old.says), words: old.says.place } : NOWHERE));
  const choose = (place) => {
    ui.place = place;
    keepDraft(ui, draft, place);
    ui.redraw();
  };
  return findings(ui, desk, key === "new" ? undefined : key, {
    kind: "defect", go: "defect", title: "Defects", back: "", care: [], job: "defect", fields: DEFECT, one: "defect",
    line: (says) => [says.repaired ? "pass" : "fail", `${capital(says.defect)}: ${says.place}`,
      [says.length_in && `${withUnit(says.length_in, "in")} long`, says.depth_in && `${withUnit(says.depth_in, "in")} deep`, says.repaired && says.how_repaired].filter(Boolean).join(", "), says.repaired ? "repaired" : "not repaired"],
    above: html`<section aria-label="Place"><h3>Where it is</h3>${drawing(chosen, (place) => choose({ ...place, words: placeWords(place) }))}
      <div class="field"><label for="words">The place in words</label><input id="words" .value=${chosen.words}
        @input=${(event) => choose({ ...chosen, words: event.target.value })}></div></section>`,
    says: (values) => {
      const wrong = wrongWith(PLACE, ui.place.words);
      if (wrong) throw new Trouble(`The place in words: ${wrong}`);
      return { item: old?.says.item ?? item ?? null, how_repaired: "", ...values, place: ui.place.words.trim(), ...asEntry(ui.place) };
    },
    kept: () => {
      dropDraft(ui, draft);
      ui.place = null;
    },
  });
}

const NOWHERE = { face: null, x: null, y: null, words: "" };
const PLACE = { control: "line", must: true, want: "a tap on the drawing or words that say where it is" };

/** The screen of a kind of findings: cautions, what there is, and the form for one more or the one to correct. */
function findings(ui, desk, key, kind) {
  const old = key ? desk.entry(key) : null;
  const may = desk.open && acknowledged(desk, kind.care, kind.job);
  const back = old ? [desk.at(kind.go), kind.title] : [desk.at(kind.back), kind.back ? capital(desk.words(kind.back.slice(5))) : "The report"];
  return html`${head(old ? `Correct the ${kind.one}` : kind.title, back, `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    ${cautions(ui, desk, kind.care, kind.job)}
    ${old ? nothing : html`<ul class="cards">${desk.fold.of(kind.kind).map((entry) => card(ui, desk, kind, entry))}</ul>`}
    ${may ? html`<h2>${old ? "As it should be" : `One more ${kind.one}`}</h2>${form(ui, `${desk.key}-${kind.kind}-${key ?? desk.next(kind.kind)}`, {
      fields: kind.fields, values: old?.says, faults: old?.faults, above: kind.above, button: old ? "Keep the correction" : `Keep the ${kind.one}`,
      submit: async (values) => {
        await desk.write(kind.kind, kind.says(values), old);
        kind.kept?.();
        if (old) location.hash = desk.at(kind.go);
        else ui.notice = `Kept: ${kind.line(desk.fold.of(kind.kind).at(-1).says)[1]}.`;
      },
    })}` : nothing}`;
}

function card(ui, desk, kind, entry) {
  const [state, words, more, told] = kind.line(entry.says);
  return html`<li class="card"><div class="card-head"><strong>${words}</strong> ${badge(state, told)}</div>
    ${more ? html`<p class="below">${more}</p>` : nothing}${entry.says.words ? html`<p>${entry.says.words}</p>` : nothing}
    ${photographsOf(ui, desk, entry)}
    <div class="actions">${desk.open ? html`<a class="button button-quiet" href=${desk.at(`${kind.go}/${entry.key}`)}>Correct</a>` : nothing}${takeBack(ui, desk, entry)}</div></li>`;
}
