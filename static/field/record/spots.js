/**
 * Where a thickness is read: the shell unrolled, ring by ring from the B end and by the clock as seen from
 * there, the heads beside it, and what the owner judges. The shell is cut along its left side, at 9 o'clock.
 *
 * @typedef {{zone: string, ring: number|null, spot: string, short: string}} Spot
 */

import { compare, decimal } from "../decimal.js";

// 12 is the top, 3 the right side as seen from the B end.
const CLOCKS = [[10, "shell_top"], [12, "shell_top"], [2, "shell_top"], [4, "shell_bottom"], [6, "shell_bottom"], [8, "shell_bottom"]];
const OF_A_HEAD = [["middle", "mid"], ["12 o'clock", "12"], ["3 o'clock", "3"], ["6 o'clock", "6"], ["9 o'clock", "9"]];
const OWNERS = ["sump", "nozzle", "housing"];
const FEWEST = 4;
const MOST = 16;

/** @param {number} rings @returns {{b: Spot[], rings: Spot[][], a: Spot[], other: Spot[]}} */
export function spots(rings) {
  return {
    b: ofHead("head_b"),
    rings: Array.from({ length: rings }, (_, at) => ofRing(at + 1)),
    a: ofHead("head_a"),
    other: OWNERS.map((zone) => ({ zone, ring: null, spot: zone, short: zone })),
  };
}

const ofHead = (zone) => OF_A_HEAD.map(([spot, short]) => ({ zone, ring: null, spot, short }));
const ofRing = (ring) => CLOCKS.map(([clock, zone]) => ({ zone, ring, spot: `ring ${ring}, ${clock} o'clock`, short: String(clock) }));

/** In the order in which readings go on: B-end head, ring after ring, A-end head, the rest. */
export const inOrder = (all) => [...all.b, ...all.rings.flat(), ...all.a, ...all.other];

export const keyOf = ({ zone, ring, spot }) => `${zone}/${ring ?? ""}/${spot}`;
export const same = (one, other) => keyOf(one) === keyOf(other);

/** As many rings as were read before, this time or last time. */
export function ringsOf(car, readings) {
  const before = Object.values(car.last ?? {}).flat().map((each) => each.ring ?? 0);
  return within(Math.max(6, ...before, ...readings.map((each) => each.says.ring ?? 0)));
}

export const within = (rings) => Math.min(MOST, Math.max(FEWEST, rings));

/** Readings of this time that lie beside a spot: the same zone, at most a ring away. @returns {string[]} inches */
export function around(spot, readings) {
  const beside = ({ says }) => says.zone === spot.zone && !same(says, spot) && Math.abs((says.ring ?? 0) - (spot.ring ?? 0)) <= 1;
  return readings.filter(beside).map(({ says }) => says.inches);
}

/** Last time's reading of the very spot, else the least of its ring, else of its zone. */
export function lastAt(car, spot) {
  const zone = car.last?.[spot.zone] ?? [];
  const there = zone.filter((each) => each.spot === spot.spot && (each.ring ?? null) === spot.ring);
  const ring = zone.filter((each) => spot.ring !== null && each.ring === spot.ring);
  const [found, where] = there.length ? [there, "here"] : ring.length ? [ring, "in this ring"] : [zone, "in this zone"];
  const least = [...found].sort((one, other) => compare(decimal(one.inches), decimal(other.inches)))[0];
  return least ? { ...least, where } : null;
}
