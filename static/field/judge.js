/**
 * What was measured against the numbers of the pack, at once and without a connection. No rule is applied here:
 * the lines, ranges and thresholds come with the car, and the server judges again. Inches and psig are exact
 * decimals as text. The same answers as app/core/thickness.py, app/core/relief.py and app/actions/readings.py.
 *
 * @typedef {{zone: string, words: string, c: string|null, d: string|null, e: string|null, judged_by: string}} Zone
 * @typedef {{inches: string, extent: string, span_in?: string|null, apart_in?: string|null}} Reading
 * @typedef {{verdict: string, extent: string, margin: string, why: string}} Verdict
 * @typedef {{least?: string|null, most?: string|null}|null} Range
 */
import { compare, decimal, minus, shifted, shown, size } from "./decimal.js";

// 49 CFR 180.509(g): a local reduction spans at most 8 in and lies at least 16 in from the next.
const LOCAL = { span_in: "8", apart_in: "16" };
// 49 CFR 180.509(f)(1): the device reads its standard within 0.002 in.
const GAUGE_WITHIN = "0.002";
// A plate as thick as ten times its design is a slip of the point (app/actions/readings.py).
const TIMES_DESIGN_POWER = 1;

/**
 * One reading against the lines of its zone.
 * @param {Reading} reading @param {Zone} zone @param {{span_in: string, apart_in: string}} [local] @returns {Verdict}
 */
export function reading(reading, zone, local = LOCAL) {
  const extent = extentOf(reading, local);
  if (zone.judged_by === "owner") return lineless("owner_judged", extent);
  const [value, c, d, e] = [reading.inches, zone.c, zone.d, zone.e].map(decimal);
  if (!value || !c || !d || !e) return lineless("unknown", extent);
  const [letter, limit] = extent.extent === "local" ? ["E", e] : ["D", d];
  const verdict = compare(value, limit) < 0 ? "condemned" : compare(value, c) <= 0 ? "at_or_below_c" : "above_c";
  return { verdict, ...extent, margin: margin(verdict, value, c, limit, letter) };
}

/** @param {string} verdict @param {{extent: string, why: string}} extent */
const lineless = (verdict, extent) => ({ verdict, ...extent, margin: "No line to judge it by" });

/** How far a reading is from the line that matters next (180.509(f), figure A). */
function margin(verdict, value, c, limit, letter) {
  if (verdict === "condemned") return `${shown(minus(limit, value))} in below line ${letter}, condemned`;
  if (verdict === "above_c") return `${shown(minus(value, c))} in above line C`;
  const to_c = compare(value, c) ? `${shown(minus(c, value))} in below line C` : "At line C";
  const to_limit = compare(value, limit) ? `${shown(minus(value, limit))} in above` : "at";
  return `${to_c}, ${to_limit} line ${letter}`;
}

/** Local only when small enough and far enough from the next reduction; else general, and why. */
function extentOf({ extent, span_in, apart_in }, local) {
  if (extent !== "local") return { extent: "general", why: "" };
  const [span, apart] = [span_in, apart_in].map(decimal);
  const told =
    !span || !apart
      ? "how far it spans or how far it lies from the next is not known"
      : compare(span, decimal(local.span_in)) > 0
        ? `it spans ${shown(span)} in, more than ${local.span_in}`
        : compare(apart, decimal(local.apart_in)) < 0
          ? `the next reduction is ${shown(apart)} in away, less than ${local.apart_in}`
          : "";
  return told ? { extent: "general", why: `Judged as general, since ${told}` } : { extent: "local", why: "" };
}

/**
 * Whether a gauge reads its standard well enough, and by how much not.
 * @param {string} standard @param {string} read @returns {{within: boolean, words: string}}
 */
export function gauge(standard, read) {
  const off = minus(decimal(read), decimal(standard));
  const within = compare(size(off), decimal(GAUGE_WITHIN)) <= 0;
  if (!off.units) return { within, words: "The gauge reads its standard exactly." };
  const where = off.units < 0n ? "under" : "over";
  const limit = within ? "within" : "more than";
  return { within, words: `The gauge reads ${shown(size(off))} in ${where} its standard, ${limit} ±${GAUGE_WITHIN} in.` };
}

/**
 * What is odd about a thickness by itself, as a question; null when nothing is.
 * @param {string} inches @param {string|null|undefined} design of the zone
 * @param {{thickest: string, thinnest: string}} asks @returns {string|null}
 */
export function slip(inches, design, asks) {
  const value = decimal(inches);
  if (value.units <= 0n) return `must be above 0, got ${inches}`;
  const [thickest, thinnest] = [decimal(asks.thickest), decimal(asks.thinnest)];
  const tenfold = design ? shifted(decimal(design), TIMES_DESIGN_POWER) : null;
  const tooThick = (one) => compare(one, thickest) > 0 || (tenfold && compare(one, tenfold) >= 0);
  if (!tooThick(value) && compare(value, thinnest) >= 0) return null;
  let meant = value;
  const most = tenfold ?? thickest;
  while (compare(meant, thickest) > 0 || compare(meant, most) >= 0) meant = shifted(meant, -1);
  while (compare(meant, thinnest) < 0) meant = shifted(meant, 1);
  if (inches.includes(" ")) return `${inches} is ${shown(value)} in: is the point where it belongs? If it is right, confirm it.`;
  return `${inches} in: did you mean ${shown(meant, 12)}? If it is right, confirm it.`;
}

/**
 * What has gone since the last time, in words; null without a last time.
 * @param {{inches: string, on: string}|null|undefined} last @param {string} inches
 * @returns {{inches: import("./decimal.js").Decimal, words: string}|null}
 */
export function loss(last, inches) {
  if (!last) return null;
  const lost = minus(decimal(last.inches), decimal(inches));
  const words = !lost.units
    ? `nothing lost since ${last.on}`
    : lost.units > 0n
      ? `${shown(lost)} in lost since ${last.on}`
      : `${shown(size(lost))} in thicker than on ${last.on}`;
  return { inches: lost, words };
}

/**
 * Questions about a reading that is far from those around it or from last time. It is asked about, not refused.
 * @param {string} inches @param {string[]} around readings of this time beside it
 * @param {{inches: string, on: string}|null|undefined} last @param {{loss_in: string, neighbour_in: string}} asks
 * @returns {string[]}
 */
export function unlikely(inches, around, last, asks) {
  const told = [];
  const since = loss(last, inches);
  if (since && compare(size(since.inches), decimal(asks.loss_in)) > 0) told.push(`${since.words}`);
  const away = around.map((each) => size(minus(decimal(inches), decimal(each)))).sort(compare)[0];
  if (away && compare(away, decimal(asks.neighbour_in)) > 0) told.push(`${shown(away)} in from every reading around it`);
  return told;
}

const MEASURED = {
  found_psig: ["opens", "The pressure at which it was found to open"],
  left_psig: ["opens", "The pressure at which it was left to open"],
  vapor_tight_psig: ["vapor_tight", "The pressure up to which it was vapor tight"],
  set_psig: ["set", "The setting"],
};

/**
 * One pressure of a bench test against its range, ends included.
 * @param {keyof MEASURED} measure @param {string|null} psig @param {Record<string, Range>|null} ranges of the part
 * @returns {{verdict: "within"|"outside"|"unknown", words: string}}
 */
export function bench(measure, psig, ranges) {
  const [which, named] = MEASURED[measure];
  const value = decimal(psig);
  if (!value) return { verdict: "unknown", words: `${named} is not stated` };
  const told = `${named}, ${psig.includes(" ") ? psig : `${shown(value, 3)} psig`},`;
  const range = ranges?.[which] ?? {};
  const [least, most] = [decimal(range.least), decimal(range.most)];
  if (!least && !most) return { verdict: "unknown", words: `${told} cannot be judged` };
  const allowed = within(range);
  if (least && compare(value, least) < 0) return outside(told, minus(least, value), "below", allowed);
  if (most && compare(decimal(psig, true), most) > 0) return outside(told, minus(value, most), "above", allowed);
  return { verdict: "within", words: `${told} is within what is allowed (${allowed})` };
}

const outside = (told, by, where, allowed) => ({
  verdict: "outside",
  words: `${told} is ${shown(by, 3)} psi ${where} what is allowed (${allowed})`,
});

/** Such as 72 to 78 psig, or at most 375 psig; empty where nothing says. @param {Range} range */
export function within(range) {
  const [least, most] = [decimal(range?.least), decimal(range?.most)].map((each) => each && shown(each, 3));
  if (least && most) return `${least} to ${most} psig`;
  if (most) return `at most ${most} psig`;
  return least ? `at least ${least} psig` : "";
}
