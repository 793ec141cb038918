// Take cars along: the cars of a list, of a visit or of a shop; take them again, or let them go.

import { ask } from "../asking.js";
import { cars } from "../database.js";
import { html, nothing } from "../html.js";
import { forget, packs, take } from "../packs.js";
import { act, done, head, notice } from "../record/pieces.js";
import { ago, counted, size } from "../quantities.js";
import { programKept } from "../program.js";
import { keeping } from "../shell.js";

const LISTS = [
  { query: "status=overdue", words: "All that is overdue" },
  { query: "status=due_now", words: "All that is due now" },
  { query: "status=soon", words: "All that is due soon" },
];
const NO_LIST = "This is not the address of a list. Open the list in the register, copy its address, and put it here. One car is found by its mark or number, above.";

// Cars without the program cannot be opened out of reach.
const NOT_KEPT = "The program itself is not on this tablet yet: keep this page open with a connection for a while, then take them again.";

export async function taking(ui, [kind, given]) {
  const [held, taken] = [await packs(), await cars()];
  if (ui.fresh && kind === "list" && given) ui.list = given;
  if (ui.fresh) done(ui, () => lookForVisits(ui));
  return () => html`${head("Take cars along", null)}
    ${notice(ui)}
    ${ui.way ? way(ui.way) : nothing}
    ${here(ui, held, taken)}
    <h2>One car</h2>
    <p class="shell-offer"><span>By its mark or number, or part of these</span> <a class="button" href="#/find">Find a car</a></p>
    <h2>A shop or a visit</h2>${visits(ui)}
    <h2>A list</h2>${lists(ui)}`;
}

const way = ({ got, of, words }) => html`<div role="status"><label for="field-way">${words}: ${got} of ${counted(of, "car")}</label>
  <progress id="field-way" max=${of || 1} value=${got}></progress></div>`;

function here(ui, held, taken) {
  const { used, promised } = keeping();
  return html`<h2>On this tablet</h2>
    <p>${counted(taken.length, "car")}. ${used ? html`${size(used)} used.` : nothing}
      ${promised ? "The browser keeps this for good." : "The browser may clear this when room is short; install the program to keep it for good."}</p>
    <ul class="cards">${held.map((pack) => html`<li class="card"><p><strong>${pack.words}</strong><br>
      ${counted(pack.ids.length, "car")}, taken ${ago(pack.taken_at)}, ${size(pack.bytes)}</p>
      <p class="actions"><button class="button" type="button" aria-label=${`Take again: ${pack.words}`} ?disabled=${Boolean(ui.way)} @click=${() => go(ui, pack)}>Take again</button>
      ${letGo(ui, pack)}</p></li>`)}</ul>`;
}

const letGo = (ui, { question, words }) => ui.asked === question
  ? html`<span class="ask" role="group" aria-label=${`Forget ${words}?`}>
      <button class="button button-stop" type="button" @click=${act(ui, async () => {
        await forget(question);
        ui.asked = null;
        ui.notice = `${words}: forgotten. Cars with a report that is not sent are still here.`;
      })}>Yes, forget</button><button class="button button-quiet" type="button" @click=${() => asking(ui, null)}>No</button></span>`
  : html`<button class="button button-quiet" type="button" aria-label=${`Forget: ${words}`} @click=${() => asking(ui, question)}>Forget</button>`;

function asking(ui, question) {
  ui.asked = question;
  ui.redraw();
}

/** Take along and show how far it is. */
function go(ui, asked) {
  return act(ui, async () => {
    try {
      const pack = await take(asked, (got, of) => {
        ui.way = { got, of, words: asked.words };
        ui.redraw();
      });
      const alone = await programKept() ? "" : ` ${NOT_KEPT}`;
      ui.notice = `${pack.words}: ${counted(pack.ids.length, "car")} taken along.${alone}`;
    } finally {
      ui.way = null;
    }
  })();
}

async function lookForVisits(ui) {
  ui.visits = (await ask("/api/v1/visits")).rows;
}

function visits(ui) {
  if (!ui.visits) return html`<p class="hint">With a connection the shops and their cars stand here.</p>`;
  const shops = new Map();
  for (const each of ui.visits) shops.set(each.shop, [...(shops.get(each.shop) ?? []), each]);
  if (!shops.size) return html`<p>No car is in a shop or on its way to one.</p>`;
  return [...shops].map(([shop, cars]) => html`<details class="card"><summary>${shop}: ${counted(cars.length, "car")}</summary>
    ${offer(ui, `shop=${encodeURIComponent(shop)}`, `All cars at ${shop}`)}
    ${cars.map((each) => offer(ui, `visit=${each.id}`, `${each.mark} ${each.number} at ${shop}`))}</details>`);
}

const offer = (ui, question, words) => html`<p class="shell-offer"><span>${words}</span>
  <button class="button" type="button" aria-label=${`Take along: ${words}`} ?disabled=${Boolean(ui.way)} @click=${() => go(ui, { question, words })}>Take along</button></p>`;

const lists = (ui) => html`${LISTS.map(({ query, words }) => offer(ui, listOf(query), words))}
  <form class="shell-find" @submit=${(event) => fromAddress(event, ui)}>
    <label for="field-address">The address of a list of due work</label>
    <input id="field-address" name="address" type="text" autocomplete="off" spellcheck="false" .value=${ui.list ?? ""}>
    <button class="button" type="submit">Take along</button>
  </form>`;

const listOf = (query) => `list=${encodeURIComponent(query)}`;

function fromAddress(event, ui) {
  event.preventDefault();
  const typed = new FormData(event.target).get("address").trim();
  const query = typed.includes("?") ? typed.slice(typed.indexOf("?") + 1) : typed;
  if (!query.includes("=")) return act(ui, () => Promise.reject(new Error(NO_LIST)))();
  return go(ui, { question: listOf(query), words: `List ${decodeURIComponent(query.replaceAll("+", " "))}` });
}
