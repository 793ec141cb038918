// Starts the tablet's program: opens its store, draws the head of each screen and the screen that the address names,
// and sends what waits. Nothing on the way to a screen needs a connection.

import { changed, holdReserve, open, person, Trouble } from "./database.js";
import { html, nothing, render } from "./html.js";
import { keepProgram } from "./program.js";
import { act } from "./record/pieces.js";
import { show } from "./record/screens.js";
import { meet, start } from "./sending.js";
import { beginHead } from "./shell.js";
import { find } from "./work/find.js";
import { scan } from "./work/scan.js";
import { taking } from "./work/taking.js";
import { today } from "./work/today.js";
import { waiting } from "./work/waiting.js";

// Each gives, once it has read what it shows, the function that draws it.
const SCREENS = { "": today, find, scan, taking, waiting };
const TITLES = { "": "Today's work", find: "Find a car", scan: "Read a label", taking: "Take along", waiting: "What waits" };
const FIELDS = "input, select, textarea";

/** What the screen in front of the person is about; another address or another person begins a new one. */
let ui = null;
let drawing = false;
let again = false;

async function begin() {
  const place = document.querySelector("[data-field]");
  place.replaceChildren();
  render(html`<header class="shell-head" id="field-head"></header><main id="field-main"></main>`, place);
  document.documentElement.classList.add("scripted");
  try {
    await open();
  } catch (wrong) {
    if (!(wrong instanceof Trouble)) throw wrong;
    render(html`<h1>Not opened</h1><p class="notice notice-stop" role="alert">${wrong.message}</p>`, document.querySelector("#field-main"));
    return;
  }
  await beginHead(document.querySelector("#field-head"));
  if (!(await person())) await meet().catch(() => {}); // the head says why nobody is here yet
  addEventListener("hashchange", draw);
  changed.addEventListener("changed", redraw);
  await draw();
  holdReserve();
  keepProgram();
  start();
}

const path = () => location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);

/** Draw once more, unless somebody is typing; then what they record draws it. */
function redraw() {
  if (!ui?.mount.contains(document.activeElement?.closest?.(FIELDS) ?? null)) draw();
}

async function draw() {
  if (drawing) {
    again = true;
    return;
  }
  drawing = true;
  do {
    again = false;
    await drawOnce();
  } while (again);
  drawing = false;
}

async function drawOnce() {
  const here = path();
  const whose = (await person())?.id ?? null;
  const address = here.join("/");
  if (ui?.address !== address || ui.whose !== whose) beginScreen(address, whose);
  const mine = ui;
  if (here[0] === "car" || here[0] === "report") return show(here, mine.mount);
  const screen = whose === null ? nobody : SCREENS[here[0]] ?? SCREENS[""];
  const drawn = await screen(mine, here.slice(1));
  if (ui !== mine) return;
  mine.redraw = () => ui === mine && render(drawn(), mine.mount);
  mine.redraw();
  document.title = `${TITLES[here[0]] ?? TITLES[""]} · Stencilbook`;
  if (mine.fresh) arrive(mine);
}

function beginScreen(address, whose) {
  ui?.leave();
  const mount = document.createElement("div");
  const first = !ui;
  document.querySelector("#field-main").replaceChildren(mount);
  ui = { address, whose, mount, fresh: true, first, notice: "", problem: "", asked: null, forms: {}, redraw() {}, leave() {}, again: draw };
}

// The first screen leaves the focus where the browser puts it.
function arrive(ui) {
  ui.fresh = false;
  if (!ui.first) ui.mount.querySelector("h1")?.focus({ preventScroll: true });
  scrollTo(0, 0);
}

async function nobody(ui) {
  const signIn = "/sign-in?next=/field";
  return () => html`<h1 tabindex="-1">Sign in once, with a connection</h1>
    <p>This tablet does not know yet who works with it. After that it works without a connection.</p>
    <p class="actions"><a class="button" href=${signIn}>Sign in</a>
      <button class="button button-quiet" type="button" @click=${act(ui, meet)}>Try again</button></p>
    ${ui.problem ? html`<p class="notice notice-stop" role="alert">${ui.problem}</p>` : nothing}`;
}

begin();
