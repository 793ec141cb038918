/** A part taken off, another put on: the serials, the new one's test, and how it was stored until now. */
import { html, nothing } from "../html.js";
import { capital } from "./car.js";
import { form } from "./forms.js";
import { photographsOf } from "./photographs.js";
import { acknowledged, badge, cautions, head, notice, takeBack } from "./pieces.js";

const CARE = ["loosening"];
const STORED = [["yes", "Protected in storage"], ["no", "Not protected"], ["", "Not known"]];

/** @param {import("./desk.js").Desk} desk @param {string[]} rest the installation that comes off, or the entry to correct @param {any} ui */
export function swap(desk, [what], ui) {
  const old = what ? desk.fold.of("swap").find((each) => each.key === what) ?? null : null;
  const off = old ? old.says.off_installation_id : what && what !== "new" ? Number(what) : null;
  const part = desk.car.parts.find((each) => each.installation_id === off) ?? null;
  const chosen = old || part || what === "new";
  return html`${head(title(part, chosen), [chosen ? desk.at("swap") : desk.at(), chosen ? "Parts changed" : "The report"], `${desk.car.mark} ${desk.car.number}`)} ${notice(ui)}
    ${chosen ? one(ui, desk, part, old) : list(ui, desk)}`;
}

const title = (part, chosen) => (part ? `${capital(part.words)} ${part.serial} comes off` : chosen ? "A part put on" : "Parts changed");

function list(ui, desk) {
  return html`<ul class="cards">${desk.fold.of("swap").map((entry) => html`<li class="card"><p><strong>${inWords(desk, entry.says)}</strong></p>
      ${photographsOf(ui, desk, entry)}
      <div class="actions">${desk.open ? html`<a class="button button-quiet" href=${desk.at(`swap/${entry.key}`)}>Correct</a>` : nothing}${takeBack(ui, desk, entry)}</div></li>`)}</ul>
    ${desk.open ? html`<h2>Which one comes off</h2><ul class="cards">${left(desk).map((part) => html`<li class="card"><a class="card-go" href=${desk.at(`swap/${part.installation_id}`)}>
      <span class="card-head"><strong>${capital(part.words)} ${part.serial}</strong></span><span class="below">${part.position}</span></a></li>`)}</ul>
    <p><a class="button button-quiet" href=${desk.at("swap/new")}>Nothing comes off, one goes on</a></p>` : nothing}`;
}

function left(desk) {
  const off = new Set(desk.fold.of("swap").map(({ says }) => says.off_installation_id));
  return desk.car.parts.filter((part) => !off.has(part.installation_id));
}

export function inWords(desk, says) {
  const part = desk.car.parts.find((each) => each.installation_id === says.off_installation_id);
  const told = [part && `${part.words} ${part.serial} off`, says.on && `${says.on.kind.replaceAll("_", " ")} ${says.on.serial || "without a serial"} on`].filter(Boolean);
  return `${told.join(", ")}, ${says.position || "position not stated"}`;
}

const puts = (typed) => typed.with !== "off";
export const FIELDS = [
  { name: "with", label: "What goes on", control: "choice", choices: [["on", "Another part"], ["off", "Nothing for now"]] },
  { name: "position", label: "Position", control: "line", hint: "Such as top, B end", most: 60 },
  { name: "kind", label: "Kind", control: "list", must: true, want: "the kind of part", when: puts },
  { name: "maker", label: "Maker", control: "line", when: puts },
  { name: "model", label: "Model", control: "line", when: puts },
  { name: "lot", label: "Lot", control: "line", when: puts },
  { name: "serial", label: "Serial on the new one", control: "line", must: true, want: "the serial on its plate", when: puts },
  { name: "tested_on", label: "Tested on", control: "day", when: puts },
  { name: "set_psig", label: "Set at", unit: "psig", control: "number", when: puts, want: "a pressure such as 75" },
  { name: "found_psig", label: "Bench: opened at, as found", unit: "psig", control: "number", when: puts, want: "a pressure such as 75" },
  { name: "left_psig", label: "Bench: opens at, as left", unit: "psig", control: "number", when: puts, want: "a pressure such as 75" },
  { name: "vapor_tight_psig", label: "Bench: vapor tight up to", unit: "psig", control: "number", when: puts, want: "a pressure such as 60" },
  { name: "stored", label: "Until now it was", control: "choice", choices: STORED, when: puts },
];

function one(ui, desk, part, old) {
  if (!desk.open) return nothing;
  const id = `${desk.key}-swap-${old?.key ?? part?.installation_id ?? desk.next("swap")}`;
  return html`${part ? html`<p>${badge("none", "comes off")} ${[part.maker, part.model, part.position].filter(Boolean).join(", ")}</p>` : nothing}
    ${cautions(ui, desk, CARE, "swap")}
    ${acknowledged(desk, CARE, "swap") ? form(ui, id, {
      fields: fieldsOf(desk, part),
      values: startValues(part, old),
      faults: old?.faults.map((each) => ({ ...each, path: each.path.replace(/^(says\.)?on\./, "") })),
      button: old ? "Keep the correction" : "Keep the change",
      submit: async (values) => {
        await desk.write("swap", saysOf(part, values), old);
        location.hash = desk.at("swap");
      },
    }) : nothing}`;
}

/** The kinds are the register's: by its kind alone it knows a relief device. */
function fieldsOf(desk, part) {
  const kinds = { ...(part && { [part.kind]: part.words }), ...desk.shared?.kinds };
  const choices = [["", "Not chosen"], ...Object.entries(kinds).map(([kind, words]) => [kind, capital(words)])];
  return FIELDS.filter((field) => part || field.name !== "with").map((field) => (field.name === "kind" ? { ...field, choices } : field));
}

function startValues(part, old) {
  if (old) {
    const { on, position } = old.says;
    return { ...on, position, with: on ? "on" : "off", stored: { true: "yes", false: "no" }[String(on?.protected_in_storage)] ?? "" };
  }
  return { with: "on", position: part?.position, kind: part?.kind ?? "", set_psig: part?.set_psig, stored: "" };
}

/** An entry of what was typed. */
function saysOf(part, values) {
  const { with: puts, position, stored, ...rest } = values;
  const on = puts === "off" ? null : { ...rest, protected_in_storage: { yes: true, no: false }[stored] ?? null };
  return { off_installation_id: part?.installation_id ?? null, position, on, confirmed: false };
}
