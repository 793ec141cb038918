/**
 * What the entries of a report come to on the tablet: the same fold as app/core/field, so that the page says at
 * once what the server will say.
 *
 * @typedef {import("../database.js").Entry} Entry
 */

const DECIDED = ["pass", "fail"];

/** Those neither corrected nor taken back, a corrected one at the place of what it corrects. @param {Entry[]} entries */
export function standing(entries) {
  const first = firstOf(entries);
  const place = new Map(entries.map((each) => [each.key, each.place]));
  const gone = new Set(entries.map((each) => each.replaces).filter(Boolean));
  for (const each of entries) if (each.kind === "withdrawn") gone.add(each.says.entry);
  return entries
    .filter((each) => !gone.has(each.key) && each.kind !== "withdrawn")
    .sort((one, other) => place.get(first.get(one.key)) - place.get(first.get(other.key)));
}

/** By key the first of each chain of corrections. @param {Entry[]} entries @returns {Map<string, string>} */
function firstOf(entries) {
  const first = new Map();
  for (const each of entries) first.set(each.key, first.get(each.replaces) ?? each.key);
  return first;
}

/** A report as it stands. */
export class Fold {
  /** @param {Entry[]} entries in order of place */
  constructor(entries) {
    this.entries = entries;
    this.standing = standing(entries);
    this.first = firstOf(entries);
    this.begun = this.of("begun")[0] ?? null;
    this.signed = this.of("signed")[0] ?? null;
  }

  /** Whether it was neither corrected nor taken back. @param {string} key */
  stands(key) {
    return this.standing.some((each) => each.key === key);
  }

  /** @param {string} kind @returns {Entry[]} */
  of(kind) {
    return this.standing.filter((each) => each.kind === kind);
  }

  /** @param {string} kind @param {(says: any) => boolean} which @returns {Entry|null} the last such entry */
  last(kind, which = () => true) {
    return this.of(kind).findLast((each) => which(each.says)) ?? null;
  }

  step(item, id) {
    return this.last("step", (says) => says.item === item && says.step === id);
  }

  acknowledged(caution, job) {
    return this.last("caution", (says) => says.caution === caution && says.job === job) !== null;
  }

  /** Photographs of this entry or of what it corrects; with null, of nothing in particular. */
  photographs(about) {
    const chain = (key) => this.first.get(key) ?? key;
    return this.of("photograph").filter((each) => chain(each.says.about) === chain(about));
  }

  /** How each item that was meant, begun or decided stands: open, pass, fail, not_done. @returns {Map<string, string>} */
  states() {
    const decided = new Map(this.of("outcome").map(({ says }) => [says.item, says.outcome]));
    const tested = this.staying();
    if (tested.length && !decided.has("relief_device")) {
      decided.set("relief_device", tested.some((each) => each.outcome === "fail") ? "fail" : "pass");
    }
    const touched = this.of("step").map(({ says }) => says.item);
    const meant = new Set([...(this.begun?.says.items ?? []), ...touched, ...decided.keys()]);
    return new Map([...meant].map((item) => [item, decided.get(item) ?? "open"]));
  }

  /** The last bench test of each device that was not taken off. */
  staying() {
    const off = new Set(this.of("swap").map(({ says }) => says.off_installation_id));
    const last = new Map(this.of("bench_test").map(({ says }) => [says.installation_id, says]));
    return [...last.values()].filter((each) => !off.has(each.installation_id));
  }
}

/**
 * What lacks of the eight fields of a report (49 CFR 180.517(b)), the signature told apart.
 * @param {Fold} fold @param {any} car of the pack @param {(item: string) => string} words
 * @returns {{field: string, problem: string, go: string}[]} `go` is where it is filled in
 */
export function missing(fold, car, words) {
  return [...type(fold), ...results(fold, car, words), ...defects(fold), ...where(fold)];
}

function* type(fold) {
  if ([...fold.states().values()].some((each) => DECIDED.includes(each)) || fold.of("swap").length) return;
  yield lack("Type of test or inspection", "nothing was inspected, tested or changed yet", "");
}

function* results(fold, car, words) {
  const found = fold.states();
  for (const [item, state] of found) {
    if (state === "open") yield lack("Results", `${words(item)}: say whether it passed, failed or was not done`, `item/${item}`);
  }
  for (const { says } of fold.of("outcome")) {
    if (says.outcome === "not_done" && !says.words) yield lack("Results", `${words(says.item)} was not done; say why`, `item/${says.item}`);
  }
  const decided = [...found.values()].some((each) => DECIDED.includes(each));
  if (fold.of("reading").length && !decided) yield lack("Results", "say what the thickness readings came to", "item/thickness");
  if (found.get("relief_device") === "pass") yield* devices(fold, car);
}

/** A pass is of every relief device on the car, never of some. */
function* devices(fold, car) {
  const off = new Set(fold.of("swap").map(({ says }) => says.off_installation_id));
  const tests = new Map(fold.staying().map((each) => [each.installation_id, each.outcome]));
  const relief = car.parts.filter((part) => part.relief);
  const begun = tests.size || relief.some((part) => off.has(part.installation_id));
  for (const part of relief) {
    const id = part.installation_id;
    const named = `${part.words} ${part.serial}`;
    if (tests.get(id) === "fail") yield lack("Results", `${named} failed its bench test and stays on the car, so this did not pass`, `bench/${id}`);
    else if (begun && !tests.has(id) && !off.has(id)) yield lack("Results", `${named} was neither tested nor replaced, and a pass is of every device`, `bench/${id}`);
  }
}

function* defects(fold) {
  for (const { key, says } of fold.of("defect")) {
    if (!says.place) yield lack("Defects", "say where the defect is", `defect/${key}`);
    if (says.repaired && !says.how_repaired) yield lack("Defects", "say how the defect was repaired", `defect/${key}`);
  }
}

function* where(fold) {
  const says = fold.begun?.says ?? {};
  if (!says.facility) yield lack("Facility", "give the name of the facility", "begun");
  if (!says.facility_address) yield lack("Facility", "give the address of the facility", "begun");
  if (!says.station_code) yield lack("Station code", "give the station code of the facility", "begun");
}

const lack = (field, problem, go) => ({ field, problem, go });
