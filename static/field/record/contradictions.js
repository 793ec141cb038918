/** What was found that speaks against a pass: said before it is kept and before it is signed, never a bar. */
import { capital, counted } from "../quantities.js";
import { withUnit } from "../prefers.js";
import * as judge from "../judge.js";
import { judgedEntry } from "./verdicts.js";

const SOUND = ["sound", "worn"];

/** Of one item, as sentences. @param {import("./desk.js").Desk} desk @param {string} item @returns {string[]} */
export const against = (desk, item) => [...steps(desk, item), ...(MEASURED[item]?.(desk) ?? [])];

/** Of all items of the report that passed, as sentences. @param {import("./desk.js").Desk} desk */
export function contradictions(desk) {
  const passed = [...desk.fold.states()].filter(([, state]) => state === "pass");
  return passed.flatMap(([item]) => against(desk, item).map((each) => `${each}, and yet the ${desk.words(item)} passed.`));
}

function steps(desk, item) {
  const all = desk.steps(item);
  const answers = all.map((step) => desk.fold.step(item, step.id)?.says.outcome ?? null);
  const count = (answer) => answers.filter((each) => each === answer).length;
  const told = [[count("not_ok"), "not OK"], [count("not_done"), "not done"], [count(null), "not answered"]];
  return told.filter(([many]) => many).map(([many, words]) => `${many} of ${counted(all.length, "step")} ${many === 1 ? "is" : "are"} ${words}`);
}

const MEASURED = {
  thickness: (desk) => desk.fold.of("reading").filter((each) => judgedEntry(desk, each).verdict === "condemned")
    .map(({ says }) => `${capital(says.spot || says.zone.replaceAll("_", " "))} reads ${withUnit(says.inches, "in")}, which is condemned`),
  relief_device: (desk) => desk.fold.staying().filter((says) => leftOutside(desk.car.parts.find((part) => part.installation_id === says.installation_id), says))
    .map(() => "A relief device was left outside what is allowed"),
  lining: (desk) => desk.fold.of("lining").filter(({ says }) => !SOUND.includes(says.condition) || says.holidays > 0)
    .map(({ says }) => `${capital(says.area)} is ${says.holidays > 0 ? `with ${counted(says.holidays, "holiday")}` : says.condition}`),
  leakage: (desk) => desk.fold.of("leak_test").filter(({ says }) => says.outcome === "fail").map(({ says }) => `The leak test of ${says.what} failed`),
};

/** What was left on the car decides; as found tells only how it came in. */
export const leftOutside = (part, says) => ["left_psig", "vapor_tight_psig"].some((each) => judge.bench(each, says[each], part?.bench).verdict === "outside");
