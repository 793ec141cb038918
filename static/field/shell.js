// The head of each screen: where one is, whether there is a connection, who works here, what waits, how much room is left.

import { askToKeep, changed, clockAhead, DAY_OF_PHOTOGRAPHS, isScarce, person, room } from "./database.js";
import { html, nothing, render } from "./html.js";
import { heard, renewal, renewed, takeNew } from "./program.js";
import { counted, lasting, size } from "./quantities.js";
import { badge } from "./record/pieces.js";
import { now, sendNow, told, waiting } from "./sending.js";

const PLACES = [["#/", "Today"], ["#/find", "Find"], ["#/scan", "Label"], ["#/taking", "Take along"], ["#/waiting", "Waiting"]];
const SIGN_IN = "/sign-in?next=/field";
// The store is asked how much room there is at most so often; it takes a while on some tablets.
const ROOM_EVERY = 5000;

let place = null;
let space = { used: 0, quota: 0, at: 0 };
let promised = false;
let ahead = 0;
// A clock that is off by more is told about, in milliseconds.
const CLOCK_OFF = 5 * 60_000;

/** Draw the head, and draw it again whenever what it tells changes. */
export async function beginHead(/** @type {Element} */ at) {
  place = at;
  promised = await askToKeep();
  for (const [from, name] of [[changed, "changed"], [told, "changed"], [renewed, "changed"], [window, "hashchange"]]) {
    from.addEventListener(name, draw);
  }
  await draw();
}

async function draw() {
  heard(now.version);
  const [here, waits] = [await person(), await waiting()];
  if (Date.now() - space.at > ROOM_EVERY) space = { ...(await room()), at: Date.now() };
  ahead = await clockAhead();
  render(head(here, waits), place);
}

const head = (here, waits) => html`
  <div class="shell-bar">
    <p class="shell-brand">Stencilbook</p>
    <p class="shell-who">${here?.name ?? "Nobody signed in"}</p>
    <div class="shell-connection" role="status">${connection()}</div>
    <p class="shell-waits">${told_(waits)}</p>
  </div>
  <nav class="shell-places" aria-label="Field work"><ul>${PLACES.map(([address, words]) => placeLink(address, words, waits))}</ul></nav>
  ${notices()}`;

function placeLink(address, words, waits) {
  const here = location.hash.split("/").slice(0, 2).join("/") || "#/";
  const wanting = address === "#/waiting" ? waits.refused + waits.conflicts : 0;
  return html`<li><a href=${address} aria-current=${here === address ? "page" : nothing}>${words}${
    wanting ? html` <span class="shell-count">${wanting}<span class="hidden"> to decide</span></span>` : nothing}</a></li>`;
}

function connection() {
  if (now.busy) return badge("waiting", "sending");
  if (!now.known) return badge("unknown", "looking for a connection");
  if (now.why === null) return badge("in_date", "connected");
  return badge(now.why === "offline" ? "by_event" : "overdue", SHORT[now.why]);
}

const SHORT = {
  offline: "no connection", signed_out: "signed out", other_person: "another person", not_allowed: "not let in",
  slow: "asked to wait", busy: "register is busy", too_large: "too large", not_taken: "cannot be read",
};

function told_({ entries, photographs }) {
  const parts = [entries ? counted(entries, "entry", "entries") : "", photographs ? counted(photographs, "photograph") : ""];
  const there = parts.filter(Boolean).join(", ");
  return there ? `${there} ${entries + photographs === 1 ? "waits" : "wait"}` : "nothing waits";
}

const notices = () => [
  now.why === "signed_out"
    ? notice(html`You are signed out. Sign in again to send what waits; it is kept here. <a class="button" href=${SIGN_IN}>Sign in</a>`)
    : now.why && now.why !== "offline" ? notice(now.words) : nothing,
  renewal.waits
    ? notice(html`A newer version of the program is here. What is recorded stays.
        <button class="button" type="button" @click=${takeNew}>Take the new version</button>`)
    : nothing,
  renewal.elsewhere
    ? notice(html`Another window has taken a newer version of the program.
        <button class="button" type="button" @click=${() => location.reload()}>Open again</button>`)
    : nothing,
  Math.abs(ahead) > CLOCK_OFF
    ? notice(html`When they last met, this tablet's clock was ${lasting(Math.abs(ahead))} ${ahead > 0 ? "behind" : "ahead of"} the
        register's. Set it right before you record: the days and times of what you record come from it.`)
    : nothing,
  littleRoom() ? notice(html`Little room is left on this tablet. A day's photographs need ${size(DAY_OF_PHOTOGRAPHS)}; what is
      typed has some held back for it. Send what waits, or <a href="#/taking">forget cars</a> that are not needed.`) : nothing,
];

const notice = (words) => html`<div class="notice notice-care">${words}</div>`;

const littleRoom = () => isScarce() || (space.quota > 0 && space.quota - space.used < DAY_OF_PHOTOGRAPHS);

/** Whether the browser promised not to clear the store by itself, and how much room there is. */
export const keeping = () => ({ ...space, promised });

/** The button that does not wait for the next try. */
export const tryNow = () => html`<button class="button" type="button" ?disabled=${now.busy} @click=${sendNow}>Send now</button>`;
