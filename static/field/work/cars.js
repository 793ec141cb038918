// A list of cars to choose from, large enough for gloves.

import { html, nothing } from "../html.js";
import { spelled } from "../prefers.js";
import { badge, carName } from "../record/pieces.js";
import { capital, counted } from "../quantities.js";
import { first } from "./order.js";

const AT_ONCE = 60;

/** @param {any[]} cars @param {any} ui @param {Map<number, any>} [begun] open reports by car */
export function carList(cars, ui, begun = new Map()) {
  const most = ui.shown ?? AT_ONCE;
  return html`<ul class="cards">${cars.slice(0, most).map((car) => row(car, begun.get(car.id)))}</ul>
    ${cars.length > most ? more(cars.length - most, ui, most) : nothing}`;
}

const more = (left, ui, most) => html`<p class="actions"><button class="button button-quiet" type="button" @click=${() => {
  ui.shown = most + AT_ONCE;
  ui.redraw();
}}>Show more (${counted(left, "car")})</button></p>`;

function row(car, report) {
  const due = first(car);
  return html`<li class="card"><a class="card-go" href=${`#/car/${car.id}`}>
    <span class="card-head"><strong>${carName(car)}</strong>${due ? badge(due.status) : nothing}</span>
    ${due ? html`<span class="below">${capital(due.words)}${due.due_on ? `, ${spelled(due.due_on)}` : ""}</span>` : nothing}
    ${report ? badge("open", "report begun") : nothing}
  </a></li>`;
}
