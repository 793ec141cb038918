// The tablet's own store. What a person records is written here, for good, before anything else happens with it.
// Every row is kept under the person who recorded it, so that the next one to sign in sees nothing of theirs.

import { openDB } from "./vendor/idb.js";
import { prefer } from "./prefers.js";
import { NAME, UPGRADES } from "./upgrades.js";

export { drop, mend, resolve } from "./amending.js";

/**
 * @typedef {{id: number, name: string, prefers?: {length: string, pressure: string, days: string} | null}} Person
 * @typedef {{path: string, problem: string}} Fault
 * @typedef {{item: string, event_id: number, happened_on: string, outcome: string, facility: string,
 *   inspector: string, recorded_by: string, recorded_at: string}} Other  what somebody else recorded since
 * @typedef {"waiting" | "stored" | "refused" | "conflict"} State
 * @typedef {{key: string, report: string, person: number, place: number, kind: string, made_at: string,
 *   replaces: string | null, says: any, state: State, faults: Fault[], others: Other[]}} Entry
 * @typedef {{key: string, person: number, car_id: number, begun_at: string, next: number,
 *   state: "open" | "signed" | "sent"}} Report
 */

/** The tablet's storage is full; the message is a sentence for the person. */
export class Full extends Error {
  constructor(sentence = FULL) {
    super(sentence);
    this.name = "Full";
  }
}

/** Something that cannot be done here now; the message is a sentence for the person. */
export class Trouble extends Error {
  constructor(sentence) {
    super(sentence);
    this.name = "Trouble";
  }
}

const FULL =
  "This tablet's storage is full, so this was not written. All that was written before is still here. " +
  "Connect and send what waits, or forget cars that are not needed.";
const NO_PICTURE =
  "There is too little room left for photographs; what is left is kept for readings and findings. " +
  "Connect and send what waits, or forget cars that are not needed.";
const NEWER =
  "A newer version of the program has used this tablet. Nothing is lost: connect, and open the page again.";
const NOBODY = "Nobody has signed in on this tablet yet. Connect and sign in once.";

/** Photographs stop here, so that what is typed still fits; so much is held back. */
export const KEPT_FOR_ENTRIES = 20e6;
const RESERVE = "reserve";
// A slow answer makes so much of a difference, in milliseconds.
const CLOCKS_AGREE = 60_000;
/** A day's photographs: 200 of half a megabyte. With less the person is told. */
export const DAY_OF_PHOTOGRAPHS = 100e6;

/** Fires "changed" after each write, in every window of this browser. */
export const changed = new EventTarget();
const otherWindows = new BroadcastChannel(NAME);
otherWindows.addEventListener("message", () => changed.dispatchEvent(new Event("changed")));

/** @type {Promise<import("./vendor/idb.js").IDBPDatabase> | null} */
let opening = null;
/** @type {Person | null} */
let present = null;

/** Open the store and remember who was signed in here last. Raises Trouble where a newer program was here. */
export async function open() {
  const db = await opened();
  if (present) return;
  present = (await db.get("about", "person"))?.value ?? null;
  prefer(present?.prefers);
}

async function opened() {
  opening ??= openDB(NAME, UPGRADES.length, { upgrade: upgraded, blocking: letGo, terminated: forgotten });
  try {
    return await opening;
  } catch (wrong) {
    opening = null;
    throw wrong.name === "VersionError" ? new Trouble(NEWER) : wrong;
  }
}

function upgraded(db, from, _to, transaction) {
  for (const step of UPGRADES.slice(from)) step(db, transaction);
}

// Another window brings a newer version: it must not wait for this one.
async function letGo() {
  (await opening)?.close();
  forgotten();
}

function forgotten() {
  opening = null;
}

/**
 * Write in one transaction that is on the disk before this resolves.
 * @template T
 * @param {string[]} stores
 * @param {(transaction: any) => Promise<T> | T} change
 * @param {{reserve?: boolean}} [how] whether the room held back may be used for it
 * @returns {Promise<T>}
 */
export async function written(stores, change, { reserve = true } = {}) {
  try {
    return await attempted(stores, change);
  } catch (wrong) {
    if (!(wrong instanceof Full) || !reserve || !(await letReserveGo())) throw wrong;
    return attempted(stores, change);
  }
}

async function attempted(stores, change) {
  const db = await opened();
  const transaction = db.transaction(stores, "readwrite", { durability: "strict" });
  const done = transaction.done;
  done.catch(() => {}); // told below, once
  try {
    const made = await change(transaction);
    await done;
    tell();
    return made;
  } catch (wrong) {
    throw await asTold(wrong, transaction, done);
  }
}

async function asTold(wrong, transaction, done) {
  try {
    transaction.abort();
  } catch {
    // It has ended by itself.
  }
  const cause = await done.then(() => wrong, (ended) => (ended?.name === "AbortError" ? wrong : ended ?? wrong));
  const full = [wrong, cause].some((each) => each?.name === "QuotaExceededError");
  return full ? new Full() : wrong;
}

function tell() {
  changed.dispatchEvent(new Event("changed"));
  otherWindows.postMessage("changed");
}

// ---- room held back ----

// How much room is left not every browser tells truly, so some is held: what is typed still fits when all else is full.
let scarce = false;

/** Whether the room held back is in use, or could not be held: it is time to send and to let cars go. */
export const isScarce = () => scarce;

/** Hold room back, where it is not held yet and there is some. */
export async function holdReserve() {
  const db = await opened();
  if (await db.getKey("about", RESERVE)) return;
  const value = new Blob([new Uint8Array(KEPT_FOR_ENTRIES)]);
  const put = (transaction) => transaction.objectStore("about").put({ key: RESERVE, value });
  scarce = await attempted(["about"], put).then(() => false, () => true);
}

async function letReserveGo() {
  const db = await opened();
  if (!(await db.getKey("about", RESERVE))) return false;
  await db.delete("about", RESERVE);
  scarce = true;
  return true;
}

/** Rows of a store by an index, or one by its key. */
export async function read(store, index, key) {
  const db = await opened();
  return index ? db.getAllFromIndex(store, index, key) : db.get(store, key);
}

// ---- who ----

/** @returns {Promise<Person | null>} who was signed in last on this tablet */
export async function person() {
  await open();
  return present;
}

/** From now on this person works here; what others recorded stays theirs. */
export async function setPerson(/** @type {Person} */ { id, name, prefers = null }) {
  await open();
  const same = JSON.stringify(present?.prefers ?? null) === JSON.stringify(prefers);
  if (present?.id === id && present.name === name && same) return;
  const value = { id, name, prefers };
  await written(["about"], (transaction) => transaction.objectStore("about").put({ key: "person", value }));
  present = value;
  prefer(prefers);
  tell();
}

/** By how many milliseconds the register's clock was before this tablet's when they last met. */
export async function clockAhead() {
  return (await read("about", null, "clock"))?.value ?? 0;
}

export async function noteClock(/** @type {number} */ ahead) {
  if (Math.abs(ahead - (await clockAhead())) < CLOCKS_AGREE) return;
  await written(["about"], (transaction) => transaction.objectStore("about").put({ key: "clock", value: ahead }));
}

/** The number of whoever works here. */
export async function whose() {
  const found = await person();
  if (!found) throw new Trouble(NOBODY);
  return found.id;
}

// ---- what was taken along ----

/** @returns {Promise<any[]>} the cars of the packs on this tablet */
export async function cars() {
  const found = await person();
  return found ? (await read("cars", "person", found.id)).map((row) => row.car) : [];
}

export async function car(id) {
  const found = await person();
  const row = found && (await read("cars", null, [found.id, Number(id)]));
  return row?.car ?? null;
}

/** What all cars share: {cautions, instructions, facilities, qualifications, needs, taken_at, total}, or null. */
export async function shared() {
  const found = await person();
  return (found && (await read("shared", null, found.id))?.value) ?? null;
}

// ---- reports and entries ----

/** The reports of whoever works here, the latest first, with how much of each waits. */
export async function reports() {
  const found = await person();
  if (!found) return [];
  const states = await statesByReport(found.id);
  const all = await read("reports", "person", found.id);
  all.sort((a, b) => b.begun_at.localeCompare(a.begun_at));
  return all.map((each) => ({ ...each, waiting: 0, refused: 0, conflict: 0, ...states.get(each.key) }));
}

async function statesByReport(personId) {
  const counts = new Map();
  for (const state of ["waiting", "refused", "conflict"]) {
    for (const entry of await read("entries", "state", [personId, state])) {
      const held = counts.get(entry.report) ?? {};
      counts.set(entry.report, { ...held, [state]: (held[state] ?? 0) + 1 });
    }
  }
  return counts;
}

/** @returns {Promise<Entry[]>} the entries of a report in order of place; none of another person's */
export async function entries(report) {
  const found = await person();
  const all = await read("entries", "place", placesOf(report));
  return all.filter((each) => each.person === found?.id);
}

export const placesOf = (report) => IDBKeyRange.bound([report, 0], [report, Infinity]);

/** Begin a report at a car. @returns {Promise<string>} its key */
export async function begin(carId, says) {
  const personId = await whose();
  // Of this very car: another pack, taken later, tells nothing of what was recorded at it since.
  const takenAt = (await car(carId))?.taken_at ?? null;
  const begun_at = new Date().toISOString();
  const held = { key: newKey(), person: personId, car_id: Number(carId), begun_at, next: 1, state: "open" };
  const filled = { taken_at: takenAt, ...says, car_id: Number(carId) };
  await written(["reports", "entries"], (transaction) => putEntry(transaction, held, "begun", filled, null));
  return held.key;
}

/**
 * Record one thing in a report.
 * @param {string} report @param {string} kind @param {any} says
 * @param {{replaces?: string | null}} [how] the entry that this one corrects
 * @returns {Promise<Entry>} as written; raises Full, or Trouble where the report is signed or another's
 */
export async function add(report, kind, says, { replaces = null } = {}) {
  const personId = await whose();
  return written(["reports", "entries"], async (transaction) => {
    const held = await openReport(transaction, report, personId);
    return putEntry(transaction, held, kind, says, replaces);
  });
}

async function openReport(transaction, report, personId) {
  const held = await transaction.objectStore("reports").get(report);
  if (!held || held.person !== personId) throw new Trouble("This report is not on this tablet.");
  if (held.state !== "open") throw new Trouble("This report is signed; nothing can be added to it.");
  return held;
}

async function putEntry(transaction, held, kind, says, replaces) {
  await takeSignatureOff(transaction, held);
  const entry = newEntry(held, held.next, kind, says, replaces);
  const kept = { ...held, next: held.next + 1, state: kind === "signed" ? "signed" : held.state };
  await transaction.objectStore("reports").put(kept);
  await transaction.objectStore("entries").add(entry);
  return entry;
}

// A signature that the register refused stands for nothing: what is still to be recorded takes its place.
async function takeSignatureOff(transaction, held) {
  const entries = transaction.objectStore("entries");
  const last = await entries.index("place").get([held.key, held.next - 1]);
  if (last?.kind !== "signed" || last.state !== "refused") return;
  await entries.delete(last.key);
  held.next = last.place;
}

/** @returns {Entry} */
export function newEntry(held, place, kind, says, replaces) {
  const made_at = new Date().toISOString();
  const beginning = { key: newKey(), report: held.key, person: held.person, place, kind, made_at };
  return { ...beginning, replaces, says, state: "waiting", faults: [], others: [] };
}

const newKey = () => crypto.randomUUID().replaceAll("-", "");

// ---- photographs ----

/** @returns {Promise<Blob | null>} a photograph that is still on this tablet */
export async function picture(digest) {
  const found = await person();
  const rows = found ? await read("photographs", "digest", [found.id, digest]) : [];
  return rows.find((each) => each.blob)?.blob ?? null;
}

/** Keep a photograph and record it in its report, both or neither. @returns {Promise<Entry>} */
export async function addPicture(report, /** @type {Blob} */ blob, says) {
  const personId = await whose();
  const { used, quota } = await room();
  if (quota && quota - used - blob.size < KEPT_FOR_ENTRIES) throw new Full(NO_PICTURE);
  const digest = await digestOf(blob);
  try {
    return await putPicture(personId, report, blob, digest, says);
  } catch (wrong) {
    throw wrong instanceof Full ? new Full(NO_PICTURE) : wrong;
  }
}

function putPicture(personId, report, blob, digest, says) {
  const about = { taken_at: null, about: null, words: "", ...says };
  const filled = { ...about, digest, bytes: blob.size, type: blob.type };
  return written(["reports", "entries", "photographs"], async (transaction) => {
    const held = await openReport(transaction, report, personId);
    const kept = { person: personId, digest, report, blob, bytes: blob.size, state: "waiting", reason: "" };
    await transaction.objectStore("photographs").put(kept);
    return putEntry(transaction, held, "photograph", filled, null);
  }, { reserve: false });
}

async function digestOf(blob) {
  const sum = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return Array.from(new Uint8Array(sum), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Bytes used and allowed here; zeros where the browser does not tell, and some tell more than there is. @returns {Promise<{used: number, quota: number}>} */
export async function room() {
  const told = await navigator.storage?.estimate?.();
  return { used: told?.usage ?? 0, quota: told?.quota ?? 0 };
}

/** Ask the browser not to clear this store by itself. @returns {Promise<boolean>} whether it promised */
export async function askToKeep() {
  const storage = navigator.storage;
  return Boolean(storage?.persist && ((await storage.persisted()) || (await storage.persist())));
}
