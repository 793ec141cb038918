/** A report begun, or what was said at its beginning corrected: where, by which station, on which day, for which items. */
import * as database from "../database.js";
import { html, nothing } from "../html.js";
import { capital } from "./car.js";
import { form } from "./forms.js";
import { badge, head, moment, notice, today } from "./pieces.js";

// Never inspected, only counted.
const COUNTED = ["age_limit", "service_end"];
const URGENT = ["overdue", "due_now", "soon"];
// A day is over everywhere on Earth 36 hours after it began at Greenwich, in milliseconds.
const DAY_OVER = 36 * 3_600_000;
const taken = (car) => car.taken_at && Date.parse(car.taken_at);

/** @param {any} desk a report's, or only a car and what is shared @param {string[]} _rest @param {any} ui */
export function begin(desk, _rest, ui) {
  const { car, shared } = desk;
  const old = desk.fold?.begun ?? null;
  const items = car.due.filter((each) => !COUNTED.includes(each.item));
  ui.chosen ??= new Set(old?.says.items ?? items.filter((each) => URGENT.includes(each.status)).map((each) => each.item));
  const back = old ? [desk.at(), "The report"] : [`#/car/${car.id}`, `${car.mark} ${car.number}`];
  return html`${head(old ? "Correct the beginning" : "Begin a report", back, `${car.mark} ${car.number}`)} ${notice(ui)}
    ${facilities(ui, shared?.facilities ?? [])}
    ${form(ui, `begin-${desk.key ?? car.id}-${ui.facility?.id ?? ""}`, {
      fields: FIELDS,
      values: startValues(ui, old, car, shared),
      faults: old?.faults,
      button: old ? "Keep this" : "Begin",
      also: meant(ui, items),
      submit: (values) => keep(desk, ui, old, values),
    })}`;
}

const FIELDS = [
  { name: "facility", label: "Facility", control: "line", must: true, want: "the name of the facility" },
  { name: "facility_address", label: "Its address", control: "line", hint: "The report needs it before it is signed" },
  { name: "station_code", label: "Station code", control: "line", hint: "The facility's own code; the report needs it" },
  { name: "happened_on", label: "Day", control: "day", must: true, want: "a day such as 2026-11-26" },
];

function startValues(ui, old, car, shared) {
  const known = old?.says ?? { happened_on: today(), ...ofFacility(atShop(car, shared)) };
  return ui.facility ? { ...known, ...ofFacility(ui.facility) } : known;
}

const atShop = (car, shared) => (shared?.facilities ?? []).find((each) => each.name === car.visit?.shop);
const ofFacility = (found) => (found ? { facility: found.name, facility_address: found.address, station_code: found.station_code } : {});

/** Those on record, one tap each. */
const facilities = (ui, known) => known.length
  ? html`<section aria-label="Facilities on record"><p class="label">Facilities on record, or type another below</p><div class="presses">${known.map((each) =>
      html`<button class="button button-quiet" type="button" @click=${() => {
        ui.facility = each;
        ui.redraw();
      }}>${each.name} <span class="code">${each.station_code}</span></button>`)}</div></section>`
  : nothing;

const meant = (ui, items) => html`<fieldset class="choice meant"><legend>What is meant to be done</legend>
  <div class="presses">${items.map((each) => html`<label class="press"><input type="checkbox" name="items" value=${each.item}
    ?checked=${ui.chosen.has(each.item)} @change=${(event) => {
      ui.chosen[event.target.checked ? "add" : "delete"](each.item);
    }}> <span>${capital(each.words)}</span> ${badge(each.status)}</label>`)}</div></fieldset>`;

async function keep(desk, ui, old, values) {
  const items = desk.car.due.map((each) => each.item).filter((item) => ui.chosen.has(item));
  const early = taken(desk.car) && Date.parse(values.happened_on) + DAY_OVER < taken(desk.car);
  if (early && ui.question !== values.happened_on) {
    ui.question = values.happened_on;
    throw new database.Trouble(`${values.happened_on} was over when this car was taken along, ${moment(desk.car.taken_at)}. Is this tablet's clock right? Press once more if the work was done on that day.`);
  }
  const says = { visit_id: desk.car.visit?.id ?? null, taken_at: desk.car.taken_at ?? null, ...old?.says,
    car_id: desk.car.id, ...values, items, confirmed: Boolean(early) };
  if (old) await desk.write("begun", says, old);
  const key = old ? desk.key : await database.begin(desk.car.id, says);
  location.hash = `#/report/${key}`;
}
