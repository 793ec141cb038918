/**
 * How whoever works here reads and types thickness, pressure and days: told by the register when it and the tablet
 * meet, and kept with who is here. An entry keeps what was said, "11.1 mm"; what is shown in another unit is never
 * compared with, and has ≈ before it where it was rounded.
 */
import { decimal, shown } from "./decimal.js";

const AS_STORED = { length: "in", pressure: "psi", days: "iso" };
const OTHER = { in: ["length", "mm"], psig: ["pressure", "kPa"] };
const BASE = { in: "in", psi: "psig", psig: "psig", mm: "mm", kpa: "kPa" };
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
// 1 psi in kPa, exactly (app/core/measure.py).
const KPA = [8896443230521n, 1290320000000n];

let chosen = AS_STORED;

/** @param {typeof AS_STORED | null | undefined} said */
export const prefer = (said) => {
  chosen = { ...AS_STORED, ...said };
};

/** The unit in which a field takes a number without one. @param {string|undefined} unit in or psig */
export function unitOf(unit) {
  const [kind, other] = OTHER[unit] ?? [];
  return kind && chosen[kind] === other ? other : unit;
}

/** What was typed, as an entry states it; null for what is no number in a unit of this kind. @param {string} text @param {string} unit */
export function stated(text, unit) {
  const [, typed, name = ""] = /^([\d.]+) ?([A-Za-z]*)$/.exec(text.trim()) ?? [];
  const said = name ? BASE[name.toLowerCase()] : unitOf(unit);
  const one = decimal(typed);
  if (!one || (said !== unit && said !== OTHER[unit]?.[1])) return null;
  const [whole, part] = typed.split(".");
  return `${whole || "0"}${part ? `.${part}` : ""}${said === unit ? "" : ` ${said}`}`;
}

/** An entry's measure as it would be typed into its field. @param {string|null|undefined} said @param {string|undefined} unit */
export const typed = (said, unit) => (said && unitOf(unit) !== unit && !said.includes(" ") ? `${said} ${unit}` : said);

/** An entry's measure as it was said, with its unit. @param {string} said @param {string} unit */
export const withUnit = (said, unit) => (said.includes(" ") ? said : `${said} ${unit}`);

/** A sentence with its thicknesses in the person's unit, kPa behind each pressure, and days as the person writes them. */
export function spelled(text) {
  let told = text;
  if (chosen.length === "mm")
    told = told.replace(/(\d+\.\d+) in\b( below| lost)?/g, (_, inches, worse = "") => `${millimetres(inches, Boolean(worse))} mm${worse}`);
  if (chosen.pressure === "kPa") told = told.replace(/(\d+(?:\.\d+)?) psig?\b/g, (psi, number) => `${psi} (${kilopascals(number)} kPa)`);
  return chosen.days === "iso" ? told : told.replace(/\b(\d{4})-(\d\d)-(\d\d)\b/g, written);
}

/** @param {string} inches @param {boolean} up rounded up where it has to be, else down */
function millimetres(inches, up) {
  const { units, places } = decimal(inches);
  return figure(units * 254n, 10n ** BigInt(places + 1), 3, up ? "up" : "down");
}

function kilopascals(psi) {
  const { units, places } = decimal(psi);
  return figure(units * KPA[0], 10n ** BigInt(places) * KPA[1], 2, "near");
}

const EXACT = 5;

function figure(over, under, places, side) {
  if ((over * 10n ** BigInt(EXACT)) % under === 0n) return shown({ units: (over * 10n ** BigInt(EXACT)) / under, places: EXACT });
  const scaled = over * 10n ** BigInt(places);
  const more = { down: 0n, up: under - 1n, near: under / 2n }[side];
  return `≈\u202f${shown({ units: (scaled + more) / under, places })}`;
}

function written(day, year, month, date) {
  const name = MONTHS[Number(month) - 1];
  if (!name) return day;
  return chosen.days === "day_first" ? `${Number(date)} ${name} ${year}` : `${name} ${Number(date)}, ${year}`;
}

/** A line of the rule in the person's unit, without its name. @param {string} inches */
export const line = (inches) => (chosen.length === "mm" ? millimetres(inches, true) : inches);
