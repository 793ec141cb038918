/**
 * Forms as tables of fields: drawn, read, checked, kept while they are typed, and filled again when an entry is
 * corrected or mended. What was typed stays whatever goes wrong.
 *
 * @typedef {{name: string, label: string, control: "line"|"number"|"day"|"notes"|"choice"|"list"|"tick",
 *   choices?: string[][], must?: boolean, hint?: string, unit?: string, want?: string, most?: number,
 *   when?: (values: any) => boolean}} Field  `most` letters, where fewer than of every other line are kept
 */
import { html, nothing } from "../html.js";
import { asWritten } from "../decimal.js";
import { stated, typed as asTyped, unitOf } from "../prefers.js";
import { draftOf, dropDraft, keepDraft } from "./drafts.js";

/**
 * @param {any} ui the screen's state  @param {string} id of the form, the same for the same thing
 * @param {{fields: Field[], values?: any, faults?: {path: string, problem: string}[], button: string,
 *   submit: (values: any) => Promise<void>|void, also?: any, above?: any, live?: boolean}} form  `also` stands before the
 *   button, `above` before the fields; a live one is drawn again at every key
 */
export function form(ui, id, { fields, values = {}, faults = [], button, submit, also = nothing, above = nothing, live = false }) {
  const filled = () => Object.fromEntries(fields.map(({ name, unit }) => [name, asTyped(values[name], unit)]));
  const state = (ui.forms[id] ??= { start: { ...values, ...filled(), ...draftOf(ui, id) }, problems: byField(faults, fields) });
  const now = { ...state.start, ...state.typed };
  const shown = fields.filter((field) => field.when?.(now) ?? true);
  const redrawing = live || fields.some((field) => field.when);
  const typed = (event) => {
    state.typed = typedIn(event.currentTarget, fields);
    keepDraft(ui, id, state.typed);
    if (redrawing) ui.redraw();
  };
  const send = (event) => {
    event.preventDefault();
    return sent(ui, id, event.currentTarget, shown, submit);
  };
  return html`${above}<form class="form" novalidate autocomplete="off" @submit=${send} @input=${typed}>
    ${general(state.problems)}
    <div class="fields">${fields.map((field) => (shown.includes(field) ? control(id, field, state) : nothing))}</div>
    ${also}
    <div class="actions"><button class="button" type="submit">${button}</button></div>
  </form>`;
}

/** Faults of the server by our field; what fits none stands above the form. */
function byField(faults, fields) {
  const found = {};
  for (const { path, problem } of faults) {
    const name = path.replace(/^says\./, "");
    const field = fields.find((each) => name === each.name || name.startsWith(`${each.name}.`));
    const at = field?.name ?? "";
    found[at] = [found[at], problem].filter(Boolean).join(" ");
  }
  return found;
}

const general = (problems) => (problems[""] ? html`<p class="problem" role="alert">${problems[""]}</p>` : nothing);

/** A second tap while the first is being written does nothing, nor one on a form whose screen is left. */
async function sent(ui, id, element, fields, submit) {
  const state = ui.forms[id];
  if (state.busy) return;
  const { values, problems } = read(element, fields);
  state.problems = problems;
  if (Object.keys(problems).length) {
    ui.redraw();
    element.querySelector("[aria-invalid=true]")?.focus();
    return;
  }
  state.busy = true;
  const here = location.hash;
  try {
    await submit(values);
    dropDraft(ui, id);
    if (location.hash !== here) return;
    delete ui.forms[id];
    element.reset();
  } catch (wrong) {
    state.problems = { "": asSentence(wrong) };
    state.busy = false;
  }
  ui.redraw();
}

/** What to tell when something could not be written; the rest is a bug and not hidden. */
export function asSentence(wrong) {
  if (wrong.name === "Full" || wrong.name === "Trouble") return wrong.message;
  console.error(wrong);
  return `This was not written (${wrong.message}). What you typed is still here; try again.`;
}

// ---- reading ----

/** @param {HTMLFormElement} element @param {Field[]} fields @returns {{values: any, problems: any}} */
function read(element, fields) {
  const values = {}, problems = {};
  for (const field of fields) {
    const text = textOf(element, field);
    const problem = wrongWith(field, text);
    if (problem) problems[field.name] = problem;
    const as = READ[field.control];
    values[field.name] = as ? as(text, field) : text;
  }
  return { values, problems };
}

const READ = {
  number: (text, { unit }) => (text.trim() ? (unit ? stated(text, unit) : asWritten(text)) : null),
  day: (text) => text.trim() || null,
  tick: (text) => text === "yes",
  line: (text) => text.trim(),
  notes: (text) => text.trim(),
};

function textOf(element, { name, control }) {
  const found = element.elements.namedItem(name);
  if (!found) return "";
  if (control === "tick") return found.checked ? "yes" : "";
  return found.value ?? "";
}

// As many letters as the register keeps (app/answers/field_entries.py).
const LINE = 200;
const NOTES = 2000;
const MEASURE = /^\d{1,7}(\.\d{1,6})?( mm| kPa)?$/;

/** What is wrong with what was typed, as a sentence, or nothing. @param {Field} field @param {string} text */
export function wrongWith({ control, must, want, unit, label = "", most = control === "notes" ? NOTES : LINE }, text) {
  const given = text.trim();
  const letters = [...given].length;
  if (letters > most) return `Got ${letters} letters; want at most ${most}.`;
  if (!given) return must ? `Nothing is given; want ${want ?? label.toLowerCase()}.` : "";
  if (control === "number" && !MEASURE.test((unit ? stated(given, unit) : asWritten(given)) ?? "")) return `Got “${given}”; want ${want ?? "a number such as 0.438"}.`;
  if (control === "day" && !isDay(given)) return `Got “${given}”; want a day such as 2026-11-26.`;
  return "";
}

function isDay(text) {
  const [, year, month, day] = /^(\d{4})-(\d\d)-(\d\d)$/.exec(text)?.map(Number) ?? [];
  const found = new Date(Date.UTC(year, month - 1, day));
  return Boolean(year) && found.getUTCMonth() === month - 1 && found.getUTCDate() === day;
}

/** The texts of the fields that are drawn. */
function typedIn(element, fields) {
  const drawn = fields.filter((field) => element.elements.namedItem(field.name));
  return Object.fromEntries(drawn.map((field) => [field.name, textOf(element, field)]));
}

// ---- drawing ----

function control(id, field, state) {
  const key = `${id}-${field.name}`.replaceAll(/[^\w-]/g, "_");
  const problem = state.problems[field.name];
  const value = state.start[field.name];
  const told = [field.hint && `${key}-hint`, problem && `${key}-problem`].filter(Boolean).join(" ") || nothing;
  const parts = { key, field, value, told, wrong: problem ? "true" : nothing };
  return html`<div class=${`field field-${field.control}${problem ? " field-wrong" : ""}`}>
    ${DRAWN[field.control](parts)}
    ${field.hint ? html`<p class="hint" id="${key}-hint">${field.hint}</p>` : nothing}
    ${problem ? html`<p class="problem" id="${key}-problem">${problem}</p>` : nothing}
  </div>`;
}

const label = (key, field) => html`<label for=${key}>${field.label}${field.unit ? html` <span class="unit">${unitOf(field.unit)}</span>` : nothing}</label>`;

const line = (mode, type = "text") => ({ key, field, value, told, wrong }) => html`${label(key, field)}
  <input id=${key} name=${field.name} type=${type} inputmode=${mode} enterkeyhint="next" value=${value ?? ""}
    aria-describedby=${told} aria-invalid=${wrong} aria-required=${field.must ? "true" : nothing}>`;

const DRAWN = {
  line: line("text"),
  number: line("decimal"),
  day: line("numeric", "date"),
  notes: ({ key, field, value, told, wrong }) => html`${label(key, field)}
    <textarea id=${key} name=${field.name} rows="3" aria-describedby=${told} aria-invalid=${wrong} .defaultValue=${value ?? ""}></textarea>`,
  list: ({ key, field, value, told, wrong }) => html`${label(key, field)}
    <select id=${key} name=${field.name} aria-describedby=${told} aria-invalid=${wrong}>
      ${field.choices.map(([name, words]) => html`<option value=${name} ?selected=${name === (value ?? "")}>${words}</option>`)}
    </select>`,
  tick: ({ key, field, value, told, wrong }) => html`<label class="press" for=${key}>
    <input id=${key} type="checkbox" name=${field.name} value="yes" ?checked=${value === true || value === "yes"}
      aria-describedby=${told} aria-invalid=${wrong}> <span>${field.label}</span></label>`,
  choice: ({ key, field, value, told, wrong }) => html`<fieldset class="choice" aria-describedby=${told}>
    <legend>${field.label}</legend>
    <div class="presses">${field.choices.map(([name, words], at) => html`<label class="press" for="${key}-${at}">
      <input id="${key}-${at}" type="radio" name=${field.name} value=${name} ?checked=${name === value} aria-invalid=${wrong}>
      <span>${words}</span></label>`)}</div>
  </fieldset>`,
};

/** What is typed in a form just now, or was when it began. @param {any} ui @param {string} id */
export const typedNow = (ui, id) => ({ ...ui.forms[id]?.start, ...ui.forms[id]?.typed });
