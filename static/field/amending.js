// What becomes of entries that the register did not take: mended, dropped, or a conflict decided by a person.
// None of them was ever stored there, so their places are free.

import { newEntry, placesOf, Trouble, whose, written } from "./database.js";

/** @typedef {import("./database.js").Entry} Entry */

const BOTH = ["reports", "entries"];

/** Put another in the place of a refused entry: a new key, the same place. @returns {Promise<Entry>} */
export async function mend(/** @type {Entry} */ entry, says) {
  const personId = await whose();
  return written(BOTH, async (transaction) => {
    const old = await refused(transaction, entry.key, personId);
    const mended = newEntry({ key: old.report, person: personId }, old.place, old.kind, says, old.replaces);
    const entries = transaction.objectStore("entries");
    await entries.delete(old.key);
    await entries.add(mended);
    for (const later of await after(transaction, old)) await entries.put(pointed(later, old.key, mended.key));
    return mended;
  });
}

/** Do without a refused entry; what came after it moves up. Raises Trouble where a later one speaks of it. */
export async function drop(/** @type {Entry} */ entry) {
  const personId = await whose();
  await written(BOTH, async (transaction) => {
    const old = await refused(transaction, entry.key, personId);
    const later = await after(transaction, old);
    if (later.some((each) => speaksOf(each, old.key))) {
      throw new Trouble("A later entry speaks of this one. Mend it instead.");
    }
    await transaction.objectStore("entries").delete(old.key);
    await moveTo(transaction, later, old.place);
    await endAt(transaction, old.report, old.place + later.length);
  });
}

/**
 * Decide a conflict: what others recorded since, and what is kept. The signature moves behind the decisions.
 * @param {string} report
 * @param {{item: string, other: number, keep: "both" | "theirs"}[]} decisions
 */
export async function resolve(report, decisions) {
  const personId = await whose();
  await written(BOTH, async (transaction) => {
    const entries = transaction.objectStore("entries");
    const signed = (await entries.index("place").getAll(placesOf(report))).at(-1);
    if (signed?.state !== "conflict" || signed.person !== personId) {
      throw new Trouble("There is nothing to decide in this report any more.");
    }
    await entries.delete(signed.key);
    const held = { key: report, person: personId };
    const made = decisions.map((says, at) => newEntry(held, signed.place + at, "resolved", says, null));
    for (const each of made) await entries.add(each);
    await entries.add({ ...signed, place: signed.place + made.length, state: "waiting", others: [] });
    await endAt(transaction, report, signed.place + made.length + 1);
  });
}

async function refused(transaction, key, personId) {
  const found = await transaction.objectStore("entries").get(key);
  if (found?.person !== personId || found.state !== "refused") {
    throw new Trouble("This entry is not to be mended any more.");
  }
  return found;
}

async function after(transaction, entry) {
  const later = IDBKeyRange.bound([entry.report, entry.place + 1], [entry.report, Infinity]);
  return transaction.objectStore("entries").index("place").getAll(later);
}

const speaksOf = (entry, key) => [entry.replaces, entry.says.about, entry.says.entry].includes(key);

/** The entry with each mention of one key turned into another. */
function pointed(entry, from, to) {
  const turned = { ...entry, says: { ...entry.says } };
  if (turned.replaces === from) turned.replaces = to;
  for (const name of ["about", "entry"]) if (turned.says[name] === from) turned.says[name] = to;
  return turned;
}

// In order, so that no two ever have the same place.
async function moveTo(transaction, entries, place) {
  for (const [at, each] of entries.entries()) {
    await transaction.objectStore("entries").put({ ...each, place: place + at });
  }
}

async function endAt(transaction, report, next) {
  const reports = transaction.objectStore("reports");
  await reports.put({ ...(await reports.get(report)), next });
}
