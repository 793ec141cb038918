// What is taken along: packs of cars asked for page by page, and put into the tablet's store whole or not at all.

import { ask } from "./asking.js";
import { person, read, shared, Trouble, whose, written } from "./database.js";

/**
 * @typedef {{person: number, question: string, words: string, taken_at: string, ids: number[], bytes: number}} Pack
 * `question` is what the register is asked ("visit=3"), `words` what people call it
 */

const SHARED = ["cautions", "instructions", "facilities", "qualifications", "needs", "kinds"];

/**
 * Take a pack along, or take it again: its cars as they are now, whatever was recorded here left alone.
 * @param {{question: string, words: string}} asked
 * @param {(got: number, of: number) => void} [onWay] told after each page
 * @returns {Promise<Pack>} raises NotDone, or Full with nothing changed
 */
export async function take({ question, words }, onWay = () => {}) {
  const personId = await whose();
  const pages = [];
  const cars = new Map();
  let after = "";
  do {
    const page = await ask(`/api/v1/field/pack?${question}${after && `&after=${encodeURIComponent(after)}`}`);
    if (page.person.id !== personId) throw new Trouble("Somebody else is signed in now. Open the page again.");
    for (const car of page.cars) cars.set(car.id, car);
    pages.push(page);
    onWay(cars.size, page.total);
    after = page.next ?? "";
  } while (after);
  return keep({ person: personId, question, words }, pages, [...cars.values()]);
}

async function keep(asked, pages, cars) {
  const { taken_at } = pages[0];
  const bytes = new Blob([JSON.stringify(cars)]).size;
  /** @type {Pack} */
  const pack = { ...asked, taken_at, ids: cars.map((car) => car.id), bytes };
  const value = merged(await shared(), pages);
  await written(["packs", "cars", "shared", "reports"], async (transaction) => {
    await transaction.objectStore("packs").put(pack);
    await transaction.objectStore("shared").put({ person: asked.person, value });
    for (const car of cars) await transaction.objectStore("cars").put({ person: asked.person, id: car.id, car: { ...car, taken_at } });
    await letUnneededGo(transaction, asked.person);
  });
  return pack;
}

// Instructions of earlier packs stay: cars that go by them are still here.
function merged(before, pages) {
  const value = { ...before };
  for (const page of pages) {
    for (const name of SHARED) {
      const keyed = name === "instructions" || name === "needs";
      value[name] = keyed ? { ...value[name], ...page[name] } : page[name];
    }
    Object.assign(value, { taken_at: page.taken_at, total: page.total });
  }
  return value;
}

/** @returns {Promise<Pack[]>} the packs of whoever works here, the latest first */
export async function packs() {
  const found = await person();
  const all = found ? await read("packs", "person", found.id) : [];
  return all.sort((a, b) => b.taken_at.localeCompare(a.taken_at));
}

/** Let the cars of a pack go; those of another pack and those with a report that is not sent stay. */
export async function forget(question) {
  const personId = await whose();
  await written(["packs", "cars", "reports"], async (transaction) => {
    await transaction.objectStore("packs").delete([personId, question]);
    await letUnneededGo(transaction, personId);
  });
}

async function letUnneededGo(transaction, personId) {
  const all = (store) => transaction.objectStore(store).index("person").getAll(personId);
  const [packs, reports, cars] = await Promise.all([all("packs"), all("reports"), all("cars")]);
  const needed = new Set(packs.flatMap((pack) => pack.ids));
  for (const report of reports) if (report.state !== "sent") needed.add(report.car_id);
  for (const { id } of cars) {
    if (!needed.has(id)) await transaction.objectStore("cars").delete([personId, id]);
  }
}
