// Today's work: the cars taken along, overdue and due now first, and the reports that are begun.

import { cars, reports } from "../database.js";
import { html, nothing } from "../html.js";
import { badge, carName, head, moment } from "../record/pieces.js";
import { ago, counted } from "../quantities.js";
import { carList } from "./cars.js";
import { byNeed } from "./order.js";

export async function today(ui) {
  const [taken, all] = [byNeed(await cars()), await reports()];
  const open = all.filter((each) => each.state !== "sent");
  return () => html`${head("Today's work", null)}
    ${taken.length ? html`<p class="hint">${counted(taken.length, "car")} on this tablet, last taken ${ago(lastTaken(taken))}. Due dates are as of then.</p>` : nothingTaken()}
    ${open.length ? begun(open, taken) : nothing}
    ${taken.length ? html`<h2>Cars, overdue and due now first</h2>${carList(taken, ui, new Map(open.map((each) => [each.car_id, each])))}` : nothing}
    <p class="actions"><a class="button button-quiet" href="/">All pages of the register</a> <span class="hint">need a connection</span></p>`;
}

const lastTaken = (taken) => taken.map((car) => car.taken_at).sort().at(-1);

const nothingTaken = () => html`<p>No car is on this tablet yet. Take the cars of a list, a visit or a shop along while there is a connection.</p>
  <p class="actions"><a class="button" href="#/taking">Take cars along</a></p>`;

function begun(open, taken) {
  const byId = new Map(taken.map((car) => [car.id, car]));
  return html`<h2>Reports on this tablet</h2><ul class="cards">${open.map((each) => html`<li class="card">
    <a class="card-go" href=${`#/report/${each.key}`}><span class="card-head"><strong>${byId.has(each.car_id) ? carName(byId.get(each.car_id)) : "A car not on this tablet"}</strong>
      ${badge(...standing(each))}</span><span class="below">begun ${moment(each.begun_at)}</span></a></li>`)}</ul>`;
}

function standing({ state, refused, conflict }) {
  if (conflict) return ["conflict", "to decide"];
  if (refused) return ["refused", "to mend"];
  return state === "signed" ? ["waiting", "signed, waits to be sent"] : ["open", "open"];
}
