/**
 * What a screen works at: a report with its car, and the one way to record in it. An entry is on the tablet's
 * disk before a screen says that it is recorded.
 */
import * as database from "../database.js";
import { Fold } from "./fold.js";

/** A report open on the tablet. */
export class Desk {
  /** @param {any} report @param {any} car @param {any} shared @param {import("../database.js").Entry[]} entries */
  constructor(report, car, shared, entries) {
    this.set(report, car, shared, entries);
  }

  /** What the tablet holds now. What is being recorded meanwhile goes on at the same desk, and so is seen. */
  set(report, car, shared, entries) {
    Object.assign(this, { report, car, shared });
    this.take(entries);
    return this;
  }

  take(entries) {
    this.entries = entries;
    this.fold = new Fold(entries);
  }

  get key() {
    return this.report.key;
  }

  /** Whether something can still be recorded: not once it is signed. */
  get open() {
    return this.report.state === "open";
  }

  /** The address of a screen of this report. @param {string} rest */
  at(rest = "") {
    return `#/report/${this.key}${rest && `/${rest}`}`;
  }

  /** The trade's words for an item. @param {string} item */
  words(item) {
    return wordsOf(this.car, item);
  }

  /** @param {string} item @returns {any[]} the guided steps */
  steps(item) {
    return this.shared?.instructions?.[this.car.instructions?.[item]]?.steps ?? [];
  }

  /**
   * The name of what is typed for the next entry of a kind. It is another one once that is recorded: that a draft is
   * gone may reach the disk later than the entry, and after a crash it would be there to be recorded twice. A
   * correction of an earlier one leaves it.
   * @param {string} kind
   */
  next(kind) {
    return `next${this.entries.filter((each) => each.kind === kind && !each.replaces).length}`;
  }

  entry(key) {
    return this.entries.find((each) => each.key === key) ?? null;
  }

  /** @param {string} kind @param {any} says @param {string|null} [replaces] @returns {Promise<any>} the entry as written */
  async add(kind, says, replaces = null) {
    return this.hold(await database.add(this.key, kind, says, { replaces }));
  }

  /** An entry that was written; the tablet may have been read anew since. */
  hold(entry) {
    this.take([...this.entries.filter((each) => each.place !== entry.place), entry]);
    return entry;
  }

  /** What is recorded by now, where another tap may have recorded something since the screen was drawn. */
  async renew() {
    this.take(await database.entries(this.key));
  }

  /** Record, or correct what `old` says; a refused one is mended in its place. */
  async write(kind, says, old = null) {
    if (old?.state !== "refused") return this.add(kind, says, old?.key ?? null);
    const mended = await database.mend(old, says);
    await this.renew();
    return mended;
  }

  async addPicture(blob, says) {
    return this.hold(await database.addPicture(this.key, blob, says));
  }
}

/** @param {any} car @param {string} item */
export function wordsOf(car, item) {
  return car?.due?.find((each) => each.item === item)?.words ?? item.replaceAll("_", " ");
}

/**
 * @param {string} key @param {Desk|null} [desk] the one that stands, which then holds what was read
 * @returns {Promise<Desk|null>} null where this tablet has no such report or its car is gone
 */
export async function deskOf(key, desk = null) {
  const report = (await database.reports()).find((each) => each.key === key);
  const car = report && (await database.car(report.car_id));
  if (!car) return null;
  const held = [report, car, await database.shared(), await database.entries(key)];
  return desk?.set(...held) ?? new Desk(...held);
}

/** Reports of a car on this tablet, the latest first. */
export async function reportsOf(carId) {
  return (await database.reports()).filter((each) => each.car_id === Number(carId));
}
