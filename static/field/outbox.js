// What waits to be sent, and what the register said to it.

import { placesOf, read, written } from "./database.js";

/**
 * @typedef {import("./database.js").Entry} Entry
 * @typedef {{key: string, state: "stored" | "known" | "refused" | "waiting" | "conflict", faults?: any[], others?: any[]}} Result
 * @typedef {{person: number, digest: string, report: string, blob: Blob | null, bytes: number,
 *   state: "waiting" | "sent" | "refused", reason: string}} Photograph
 */

/**
 * What can be sent now: of each report from its first entry that waits, until one that stands in the way.
 * A signature goes last of all, when the photographs of its report have gone.
 * @returns {Promise<Entry[]>} in order, reports one after the other
 */
export async function sendable(person, most) {
  const [waiting, refused, conflicts, photographs] = await Promise.all([
    read("entries", "state", [person, "waiting"]),
    read("entries", "state", [person, "refused"]),
    read("entries", "state", [person, "conflict"]),
    read("photographs", "state", [person, "waiting"]),
  ]);
  const blocked = firstPlaces([...refused, ...conflicts]);
  const picturesOf = new Set(photographs.map((each) => each.report));
  const goes = (entry) =>
    entry.place < (blocked.get(entry.report) ?? Infinity) &&
    !(entry.kind === "signed" && picturesOf.has(entry.report));
  return waiting.filter(goes).sort(await inOrder(waiting)).slice(0, most);
}

function firstPlaces(entries) {
  const first = new Map();
  for (const { report, place } of entries) first.set(report, Math.min(place, first.get(report) ?? Infinity));
  return first;
}

async function inOrder(entries) {
  const begun = new Map();
  for (const { report } of entries) {
    if (!begun.has(report)) begun.set(report, (await read("reports", null, report))?.begun_at ?? "");
  }
  const when = (entry) => begun.get(entry.report) + entry.report;
  return (a, b) => (when(a) < when(b) ? -1 : when(a) > when(b) ? 1 : a.place - b.place);
}

/** Write down what the register said to a batch. @returns {Promise<boolean>} whether anything moved on */
export async function took(/** @type {Entry[]} */ batch, /** @type {Result[]} */ results) {
  const byKey = new Map(results.map((each) => [each.key, each]));
  const moved = batch.filter(({ key }) => byKey.has(key) && byKey.get(key).state !== "waiting");
  if (!moved.length) return false;
  await written(["entries", "reports", "photographs"], async (transaction) => {
    for (const { key } of moved) await note(transaction, byKey.get(key));
  });
  return true;
}

async function note(transaction, { key, state, faults = [], others = [] }) {
  const entries = transaction.objectStore("entries");
  const entry = await entries.get(key);
  if (!entry) return; // mended meanwhile in another window
  const now = state === "known" ? "stored" : state;
  await entries.put({ ...entry, state: now, faults, others });
  if (entry.kind === "signed") await noteSigned(transaction, entry.report, now);
}

async function noteSigned(transaction, key, state) {
  const reports = transaction.objectStore("reports");
  const report = await reports.get(key);
  // A refused signature leaves the report open, so that what is missing can be recorded.
  const becomes = { stored: "sent", refused: "open", conflict: "signed" }[state];
  await reports.put({ ...report, state: becomes });
  if (becomes === "sent") await letPicturesGo(transaction, key, report.person);
}

// What the register holds whole needs no room here.
async function letPicturesGo(transaction, report, person) {
  const photographs = transaction.objectStore("photographs");
  for (const each of await photographs.index("state").getAll([person, "sent"])) {
    if (each.report === report) await photographs.put({ ...each, blob: null });
  }
}

/**
 * The register lacks entries that it stored before (it was brought back from a copy): send them again.
 * @returns {Promise<boolean>} whether there were any
 */
export async function sendAgain(report, /** @type {Set<string>} */ there) {
  const lost = (await read("entries", "place", placesOf(report))).filter(
    (each) => each.state === "stored" && !there.has(each.key),
  );
  if (!lost.length) return false;
  await written(["entries"], async (transaction) => {
    for (const each of lost) await transaction.objectStore("entries").put({ ...each, state: "waiting" });
  });
  return true;
}

/**
 * A photograph that waits and whose entry the register has; those of one report after the other.
 * @returns {Promise<Photograph | null>}
 */
export async function nextPhotograph(person) {
  const waiting = await read("photographs", "state", [person, "waiting"]);
  for (const each of waiting) {
    const entries = await read("entries", "place", placesOf(each.report));
    const known = entries.some((entry) => entry.state === "stored" && entry.says.digest === each.digest);
    if (known) return each;
  }
  return null;
}

/** Photographs of this person that the register would not take, with its reason. @returns {Promise<Photograph[]>} */
export const refusedPhotographs = (person) => read("photographs", "state", [person, "refused"]);

/** Write down how a photograph fares. */
export async function notePhotograph({ person, report, digest }, state, reason = "") {
  await written(["photographs"], async (transaction) => {
    const photographs = transaction.objectStore("photographs");
    const held = await photographs.get([person, report, digest]);
    await photographs.put({ ...held, state, reason });
  });
}

/** What waits of this person: entries and photographs, and what wants a decision. */
export async function standing(person) {
  const [waiting, refused, conflicts, photographs, notTaken] = await Promise.all([
    read("entries", "state", [person, "waiting"]),
    read("entries", "state", [person, "refused"]),
    read("entries", "state", [person, "conflict"]),
    read("photographs", "state", [person, "waiting"]),
    refusedPhotographs(person),
  ]);
  return {
    entries: waiting.length,
    photographs: photographs.length,
    refused: refused.length + notTaken.length,
    conflicts: conflicts.length,
  };
}
