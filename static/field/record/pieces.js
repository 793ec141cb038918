/** Pieces of several screens: statuses, verdicts, cautions, notices. A status is a word, a shape and a colour. */
import { html, nothing, svg } from "../html.js";
import { spelled } from "../prefers.js";
import { asSentence } from "./forms.js";

const SHAPES = {
  overdue: svg`<path class="solid" d="M8 1l7 13H1z"/><path class="cut" d="M7.1 5.5h1.8v4.6H7.1zM7.1 11h1.8v1.7H7.1z"/>`,
  due_now: svg`<path class="solid" d="M1 1h14v14H1z"/><path class="cut" d="M4 7h8v2H4z"/>`,
  soon: svg`<path class="line" d="M2 2h12v12H2z"/><path class="solid" d="M2 8h12v6H2z"/>`,
  in_date: svg`<path class="line" d="M2 8.5l4 4L14 3.5"/>`,
  by_event: svg`<path class="line" d="M8 1.8L14.2 8 8 14.2 1.8 8z"/>`,
  unknown: svg`<circle class="line broken" cx="8" cy="8" r="6"/><path class="solid" d="M7 7h2v2H7z"/>`,
  condemned: svg`<path class="solid" d="M1 1h14v14H1z"/><path class="cut" d="M4.2 3L8 6.8 11.8 3 13 4.2 9.2 8l3.8 3.8-1.2 1.2L8 9.2 4.2 13 3 11.8 6.8 8 3 4.2z"/>`,
  at_or_below_c: svg`<path class="line" d="M8 2l6.2 11.5H1.8z"/>`,
  none: svg`<path class="line" d="M2 8h12"/>`,
};
// Other names of the same shapes.
const ALIKE = {
  above_c: "in_date", pass: "in_date", ok: "in_date", within: "in_date", stored: "in_date",
  owner_judged: "by_event", fail: "condemned", not_ok: "condemned", outside: "condemned", refused: "overdue",
  conflict: "overdue", waiting: "soon", open: "unknown", not_done: "none",
};
const TONES = {
  overdue: "stop", condemned: "stop", due_now: "now", soon: "soon", at_or_below_c: "soon", in_date: "fine",
};
const WORDS = {
  at_or_below_c: "at or below line C", above_c: "above line C", owner_judged: "judged by the owner",
  pass: "passed", fail: "failed", ok: "OK", not_ok: "not OK", open: "still to do", within: "within what is allowed",
  outside: "outside what is allowed", stored: "sent", waiting: "waits to be sent",
};

/** @param {string} name @returns {string} */
export const inWords = (name) => WORDS[name] ?? name.replaceAll("_", " ");
const drawn = (name) => (SHAPES[name] ? name : ALIKE[name] ?? "none");

/** @param {string} name */
export const shape = (name) => html`<svg class="shape" viewBox="0 0 16 16" aria-hidden="true" focusable="false">${SHAPES[drawn(name)]}</svg>`;
/** @param {string} name of a status or verdict */
export const tone = (name) => `tone-${TONES[drawn(name)] ?? "quiet"}`;
/** @param {string} name @param {string} [words] */
export const badge = (name, words = inWords(name)) => html`<span class="status ${tone(name)}">${shape(name)}<span>${words}</span></span>`;

/** The head of a screen: where it belongs, what it is. @param {any[]} back [address, words] */
export const head = (title, back, eyebrow = "") => html`
  ${back ? html`<p class="back"><a href=${back[0]}>${arrow()}<span>${back[1]}</span></a></p>` : nothing}
  ${eyebrow ? html`<p class="eyebrow">${eyebrow}</p>` : nothing}
  <h1 tabindex="-1">${title}</h1>`;

const arrow = () => html`<svg class="shape" viewBox="0 0 16 16" aria-hidden="true" focusable="false"><path class="line" d="M10 2L4 8l6 6"/></svg>`;

/** @param {any} car */
export const carName = (car) => html`<span class="car">${car.mark} ${car.number}</span>`;

/** Reasons, folded together, with their citations. @param {{text: string, citation?: string|null}[]} reasons */
export const reasons = (reasons) => reasons?.length
  ? html`<details class="why"><summary>Why</summary><ul>${reasons.map((each) => html`<li>${spelled(each.text)}${
      each.citation ? html` <span class="citation">${each.citation}</span>` : nothing}</li>`)}</ul></details>`
  : nothing;

/** Said once at the end of what was done; an error keeps its place until the next try. */
export const notice = (ui) => html`<div class="said" role="status">${ui.notice ? html`<p class="notice">${ui.notice}</p>` : nothing}</div>
  ${ui.problem ? html`<p class="notice notice-stop" role="alert">${ui.problem}</p>` : nothing}`;

/**
 * A button whose deed is awaited; what goes wrong is said on the page. Deeds of a screen go one after the other, so a
 * deed looks at what stands when its turn comes: a tap before it may have changed that.
 */
export const act = (ui, deed) => () => (ui.line = (ui.line ?? Promise.resolve()).then(() => done(ui, deed)));

/** At once, whatever else is under way. */
export async function done(ui, deed) {
  ui.problem = ui.notice = "";
  try {
    await deed();
  } catch (wrong) {
    ui.problem = asSentence(wrong);
  }
  ui.redraw();
}

/** As `done`, but a second tap meanwhile, or after the screen was left, does nothing. */
export async function once(ui, deed) {
  if (ui.busy) return;
  ui.busy = true;
  const here = location.hash;
  await done(ui, deed);
  ui.busy = location.hash !== here;
}

const LONGEST_NAME = 200; // of a caution in an entry

/** Cautions by their ids, or by an owner's own words. @param {any} desk @param {string[]} names */
export function cautionsFor(desk, names) {
  const all = desk.shared?.cautions ?? [];
  const own = (words) => ({ id: words.slice(0, LONGEST_NAME), title: "The owner's caution", words: [words] });
  return names.map((name) => all.find((each) => each.id === name || each.when === name) ?? own(name));
}

export const acknowledged = (desk, names, job) => cautionsFor(desk, names).every((each) => desk.fold.acknowledged(each.id, job));

/** The cautions before a job: to be acknowledged once, then told in a line. */
export const cautions = (ui, desk, names, job) => cautionsFor(desk, names).map((each) =>
  desk.fold.acknowledged(each.id, job)
    ? html`<p class="care-read">${shape("ok")}<span>${each.title}: read, and the site's procedures are followed.</span></p>`
    : html`<section class="care" aria-label=${each.title}>
        <h2>${each.title}</h2>
        ${each.words.map((line) => html`<p>${line}</p>`)}
        <p class="hint">The rule in force, the owner's instructions and the site's procedures go before this page.</p>
        <button class="button" type="button" ?disabled=${!desk.open} @click=${act(ui, () =>
          acknowledge(desk, each, job))}>I have read this and follow the site's procedures</button>
      </section>`);

async function acknowledge(desk, { id, title, words }, job) {
  await desk.renew();
  if (desk.fold.acknowledged(id, job)) return;
  await desk.add("caution", { caution: id, job, words: [title, ...words].join(" ") });
}

/** The moment of an entry by the tablet's clock. @param {string} iso */
export function moment(iso) {
  const at = new Date(iso);
  const two = (number) => String(number).padStart(2, "0");
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}:${two(at.getMinutes())}`;
}

/** Today by the tablet's clock. */
export const today = () => moment(new Date().toISOString()).slice(0, 10);

/** Take an entry back, with a question in between. */
export const takeBack = (ui, desk, entry) => ui.asked === entry.key
  ? html`<span class="ask" role="group" aria-label="Take it back?"><button class="button button-stop" type="button" @click=${act(ui, async () => {
      await desk.renew();
      if (desk.fold.stands(entry.key)) await desk.add("withdrawn", { entry: entry.key, why: "Taken back on the tablet" });
      ui.asked = null;
      ui.notice = "Taken back. It stays in the report as taken back.";
    })}>Yes, take it back</button><button class="button button-quiet" type="button" @click=${() => {
      ui.asked = null;
      ui.redraw();
    }}>No</button></span>`
  : html`<button class="button button-quiet" type="button" ?disabled=${!desk.open} @click=${() => {
      ui.asked = entry.key;
      ui.redraw();
    }}>Take back</button>`;
