/**
 * Exact decimals. What was measured is compared as whole units of the last place, never as binary floating
 * point: 0.1 + 0.2 is 0.3 here.
 *
 * @typedef {{units: bigint, places: number}} Decimal  units of 10^-places
 */

const PLAIN = /^(-?)(\d{0,12})(?:\.(\d{0,12}))?(?: (mm|kPa))?$/;
// Of a millimetre in inches and a kilopascal in psi, exactly (app/core/measure.py), the first is divided by the second.
const OTHERWISE = { mm: [5n, 127n], kPa: [1290320000000n, 8896443230521n] };
const SIXTH = 6;

/**
 * @param {string|null|undefined} text such as "0.438" or ".5"; "11.1 mm" gives inches, rounded down to the sixth place
 * @param {boolean} [up] rounded up instead
 * @returns {Decimal|null} null for what is no number
 */
export function decimal(text, up = false) {
  const found = PLAIN.exec((text ?? "").trim());
  if (!found || !(found[2] || found[3])) return null;
  if (found[4]) return otherwise(found, up);
  const [, sign, whole, part = ""] = found;
  const units = BigInt(whole + part);
  return { units: sign ? -units : units, places: part.length };
}

function otherwise([, , whole, part = "", unit], up) {
  const [over, under] = OTHERWISE[unit];
  const scaled = BigInt(whole + part) * over * 10n ** BigInt(SIXTH);
  const of = under * 10n ** BigInt(part.length);
  return { units: (scaled + (up ? of - 1n : 0n)) / of, places: SIXTH };
}

/** @param {Decimal} one @param {number} places at least one's own @returns {bigint} */
const at = (one, places) => one.units * 10n ** BigInt(places - one.places);

/** @param {Decimal} one @param {Decimal} other @returns {Decimal} */
export function minus(one, other) {
  const places = Math.max(one.places, other.places);
  return { units: at(one, places) - at(other, places), places };
}

/** Below zero, zero or above, as for sorting. @param {Decimal} one @param {Decimal} other @returns {number} */
export function compare(one, other) {
  const { units } = minus(one, other);
  return units < 0n ? -1 : units > 0n ? 1 : 0;
}

/** @param {Decimal} one @returns {Decimal} */
export const size = (one) => (one.units < 0n ? { ...one, units: -one.units } : one);

/** @param {Decimal} one @param {number} powers how far its point moves to the right @returns {Decimal} */
export function shifted(one, powers) {
  const places = one.places - powers;
  return places >= 0 ? { units: one.units, places } : { units: one.units * 10n ** BigInt(-places), places: 0 };
}

/**
 * For people: rounded half up, without idle zeros.
 * @param {Decimal} one @param {number} [most] decimal places @returns {string}
 */
export function shown(one, most = 5) {
  const below = one.units < 0n;
  const { units, places } = rounded(size(one), most);
  const digits = String(units).padStart(places + 1, "0");
  const part = places ? digits.slice(-places).replace(/0+$/, "") : "";
  const whole = places ? digits.slice(0, -places) : digits;
  return `${below && units ? "-" : ""}${whole}${part && "."}${part}`;
}

/** @param {Decimal} one not below zero @param {number} most @returns {Decimal} */
function rounded(one, most) {
  if (one.places <= most) return one;
  const unit = 10n ** BigInt(one.places - most);
  return { units: (2n * one.units + unit) / (2n * unit), places: most };
}

/** As an entry states it: ".438" is "0.438" and "75." is "75". @param {string} text a number @returns {string} */
export function asWritten(text) {
  const [whole, part] = text.trim().split(".");
  return (whole || "0") + (part ? `.${part}` : "");
}
