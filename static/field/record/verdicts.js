/** How a reading stands against the lines of its zone at this car. */
import * as judge from "../judge.js";

/** The zone as the pack tells it; one without lines where it tells nothing. */
export const zoneOf = (desk, name) => desk.car.zones.find((each) => each.zone === name) ?? { zone: name, words: name.replaceAll("_", " "), judged_by: "nothing" };

/** @param {import("./desk.js").Desk} desk @param {import("../database.js").Entry} entry a reading @returns {judge.Verdict} */
export function judgedEntry(desk, entry) {
  const { local_span_in: span_in, local_apart_in: apart_in } = desk.car.asks ?? {};
  return judge.reading(entry.says, zoneOf(desk, entry.says.zone), span_in && apart_in ? { span_in, apart_in } : undefined);
}
