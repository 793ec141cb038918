/**
 * Which screen an address shows. The router hands over `#/car/ID…` and `#/report/KEY…` as a path; a screen is a
 * function of what it works at, the rest of its path and its state, and gives what is drawn.
 */
import * as database from "../database.js";
import { html, nothing, render } from "../html.js";
import { bench, benches } from "./bench.js";
import { begin } from "./begin.js";
import { car } from "./car.js";
import { conflict } from "./conflict.js";
import { deskOf, reportsOf } from "./desk.js";
import { defect, leak, lining } from "./findings.js";
import { entries } from "./entries.js";
import { item } from "./item.js";
import { mend } from "./mend.js";
import { photographs } from "./photographs.js";
import { head } from "./pieces.js";
import { report } from "./report.js";
import { sign } from "./sign.js";
import { swap } from "./swap.js";
import { thickness } from "./thickness.js";

const OF_A_REPORT = {
  "": report, begun: begin, item, thickness, bench, benches, lining, leak, defect, swap, photographs, sign, entries,
  mend, conflict,
};

// The screen in front of the person; drawn again when something is recorded, made anew when they go elsewhere.
let ui = null;

/**
 * Draw what `path` names into `mount`; drawn again it keeps what was typed and chosen.
 * @param {string[]} path such as ["report", KEY, "item", "thickness"] @param {Element} mount
 */
export async function show(path, mount) {
  const address = path.join("/");
  const fresh = ui?.address !== address || ui.mount !== mount;
  if (fresh) ui = stateOf(address, mount);
  const mine = ui;
  mine.whose ??= (await database.person())?.id ?? null;
  const draw = await DRAWERS[path[0]]?.(path, mine);
  if (ui !== mine) return; // they went on meanwhile
  mine.redraw = () => ui === mine && render(draw ? draw() : gone(), mount);
  // No input of the screen before may serve as one of this.
  if (fresh) render(nothing, mount);
  mine.redraw();
  if (fresh) arrive(mount);
}

const stateOf = (address, mount) => ({ address, mount, whose: null, desk: null, forms: {}, notice: "", problem: "", asked: null, redraw() {} });

/** A new screen begins at its heading, for eyes and for readers. */
function arrive(mount) {
  mount.querySelector("h1")?.focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

const DRAWERS = {
  async car([, id, what], ui) {
    const [found, shared, reports] = [await database.car(id), await database.shared(), await reportsOf(id)];
    if (!found) return null;
    if (what === "begin") return () => begin({ car: found, shared }, [], ui);
    return () => car(found, shared, reports, ui);
  },
  async report([, key, what = "", ...rest], ui) {
    const desk = await deskOf(key, ui.desk);
    const screen = OF_A_REPORT[what];
    ui.desk = desk;
    return desk && screen ? () => screen(desk, rest, ui) : null;
  },
};

const gone = () => html`${head("Not on this tablet", ["#/", "Today's work"])}
  <p>This car or report was not taken along, or it belongs to another person. Take it along under Today's work.</p>`;
