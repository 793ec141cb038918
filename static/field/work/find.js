// Find a car by part of its mark or number, on the tablet first and in the register where there is a connection.

import { ask } from "../asking.js";
import { cars, reports } from "../database.js";
import { html, nothing } from "../html.js";
import { take } from "../packs.js";
import { act, carName, head, notice } from "../record/pieces.js";
import { carList } from "./cars.js";
import { inOrder, matching } from "./order.js";

// Asked for at once; the very number that was typed comes first of them.
const MOST = 100;

export async function find(ui) {
  const [taken, all] = [await cars(), await reports()];
  const begun = new Map(all.filter((each) => each.state !== "sent").map((each) => [each.car_id, each]));
  return () => drawn(ui, matching(taken, ui.typed ?? ""), begun);
}

function drawn(ui, found, begun) {
  return html`${head("Find a car", null)}
    <div class="shell-find">
      <label for="field-typed">Part of the mark or number</label>
      <input id="field-typed" type="search" autocomplete="off" autocapitalize="characters" spellcheck="false"
        inputmode=${ui.letters ? "text" : "numeric"} .value=${ui.typed ?? ""} @input=${(event) => typed(ui, event.target.value)}>
      <button class="button button-quiet" type="button" aria-pressed=${ui.letters ? "true" : "false"} @click=${() => letters(ui)}>Letters</button>
    </div>
    ${notice(ui)}
    <div role="status" class="hint">${ui.typed ? `${found.length} on this tablet` : nothing}</div>
    ${carList(found, ui, begun)}
    ${ui.typed ? elsewhere(ui) : nothing}`;
}

function typed(ui, text) {
  ui.typed = text;
  ui.others = null;
  ui.again(); // the cars found are read anew
}

function letters(ui) {
  ui.letters = !ui.letters;
  ui.redraw();
  ui.mount.querySelector("#field-typed").focus();
}

const elsewhere = (ui) => html`<h2>In the register</h2>
  <p class="actions"><button class="button button-quiet" type="button" @click=${act(ui, () => lookThere(ui))}>Look in the register</button></p>
  ${ui.others ? html`<ul class="cards">${ui.others.map((car) => html`<li class="card card-head">${carName(car)}
    <button class="button" type="button" aria-label=${`Take along ${car.mark} ${car.number}`} @click=${act(ui, () => takeOne(car.id, `${car.mark} ${car.number}`))}>Take along</button></li>`)}</ul>
    ${ui.others.length ? nothing : html`<p>The register has no car whose mark or number begins so.</p>`}
    ${ui.more ? html`<p>These are the first ${MOST} that begin so. Type more of the mark and the number to find others.</p>` : nothing}` : nothing}`;

async function lookThere(ui) {
  const asked = new URLSearchParams({ search: ui.typed, limit: String(MOST) });
  const { rows, next_after } = await ask(`/api/v1/cars?${asked}`);
  ui.others = inOrder(rows, ui.typed);
  ui.more = next_after !== null;
}

/** Take one car along and go to it. */
export async function takeOne(id, words) {
  await take({ question: `car=${id}`, words });
  location.hash = `#/car/${id}`;
}
