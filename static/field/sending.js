// Sends what waits: entries in the order in which they were recorded, photographs in pieces, by one window at a time.
// Nothing here is needed for recording; whatever fails leaves all that waits where it is.

import { ask, NotDone } from "./asking.js";
import { changed, noteClock, open, person, setPerson } from "./database.js";
import { nextPhotograph, notePhotograph, sendable, sendAgain, standing, took } from "./outbox.js";

const API = "/api/v1/field";
const MOST = 200;
const PIECE = 256 * 1024;
const LEAST_PIECE = 16 * 1024;
const FIRST_WAIT = 2;
const LONGEST_WAIT = 120;
const EVERY = 60;
const MET_FOR = 50;
const UNREADABLE = new Set(["not_taken", "too_large"]);
/** The register reads the clock to seconds, and a wait of exactly so long may come too early. */
const A_LITTLE = 0.3;
// A network that drops a request now and then often takes the next; what is sent twice is stored once.
const TRIES = 4;
const BREATH = 0.5;

/**
 * How sending stands: `why` it stopped last, or null; `until` when it goes on by itself.
 * @type {{why: import("./asking.js").Why | null, words: string, until: Date | null, busy: boolean, known: boolean, version: string}}
 */
export const now = { why: null, words: "", until: null, busy: false, known: false, version: "" };
/** Fires "changed" when `now` does. */
export const told = new EventTarget();

let failures = 0;
let timer = 0;
let queued = false;
let metAt = 0;

function tell(changes) {
  Object.assign(now, changes);
  told.dispatchEvent(new Event("changed"));
}

/** Ask, and ask again at once where no answer came. Raises NotDone. */
async function tried(address, how, left = TRIES - 1) {
  try {
    return await ask(address, how);
  } catch (wrong) {
    if (wrong.why !== "offline" || !left || !navigator.onLine) throw wrong;
    await new Promise((resolve) => setTimeout(resolve, BREATH * 1000));
    return tried(address, how, left - 1);
  }
}

/** Ask who is signed in, and have them work here. Raises NotDone. */
export async function meet() {
  const { person: id, name, prefers, version, now: there } = await tried(`${API}/who`);
  await setPerson({ id, name, prefers });
  await noteClock(Date.parse(there) - Date.now());
  metAt = Date.now();
  now.version = version;
  return { id, name };
}

/** Send now and whenever there is reason to. */
export function start() {
  addEventListener("online", () => sendNow());
  addEventListener("offline", () => tell({ why: "offline", words: new NotDone("offline").message, known: true }));
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && sendSoon());
  changed.addEventListener("changed", sendSoon);
  setInterval(sendSoon, EVERY * 1000);
  return sendNow();
}

/** Send unless it is too early to try again. */
export function sendSoon() {
  if (now.until && now.until > new Date()) return askToBeWoken();
  return sendNow();
}

/** Send what waits, after what another window sends; one more turn at most stands in line. */
export async function sendNow() {
  if (queued) return;
  queued = true;
  await alone(async () => {
    queued = false;
    clearTimeout(timer);
    await attempt();
  });
}

// What another window of this browser holds, this one waits for, so that nothing is sent twice at once.
const alone = (work) => (navigator.locks ? navigator.locks.request("stencilbook-field-sending", work) : work());

async function attempt() {
  tell({ busy: true });
  try {
    const fresh = now.why === null && Date.now() - metAt < MET_FOR * 1000;
    const { id } = (fresh && (await person())) || (await meet());
    await sendAll(id);
    failures = 0;
    tell({ why: null, words: "", until: null, busy: false, known: true });
  } catch (wrong) {
    if (!(wrong instanceof NotDone)) throw wrong;
    stopped(wrong);
  } finally {
    now.busy = false;
  }
}

function stopped({ why, message, seconds }) {
  failures += 1;
  const wait = Math.max(seconds + A_LITTLE, backOff(failures));
  tell({ why, words: message, until: new Date(Date.now() + wait * 1000), busy: false, known: true });
  timer = setTimeout(sendNow, wait * 1000);
  return askToBeWoken();
}

/** Seconds until the next try: twice as long each time, and never the same for many tablets. */
export const backOff = (failed, chance = Math.random()) =>
  Math.min(LONGEST_WAIT, FIRST_WAIT * 2 ** (failed - 1)) * (0.5 + chance / 2);

// Where the browser can wake the worker once there is a connection, though no page is open.
async function askToBeWoken() {
  const registration = await navigator.serviceWorker?.getRegistration("/field");
  await registration?.sync?.register("send").catch(() => {});
}

/** What the worker does when it is woken; raises what failed, so that the browser wakes it again. */
export const sendKept = () =>
  alone(async () => {
    await open();
    const { id } = await meetSame();
    await sendAll(id);
  });

async function meetSame() {
  const { person: id } = await tried(`${API}/who`);
  const here = await person();
  if (here?.id !== id) throw new NotDone("other_person");
  return here;
}

async function sendAll(personId) {
  let most = MOST;
  for (;;) {
    const batch = await sendable(personId, most);
    if (batch.length) most = await sendBatch(personId, batch);
    else if (!(await sendPhotograph(await nextPhotograph(personId)))) return;
  }
}

/** @returns {Promise<number>} how many to send at a time from now on */
async function sendBatch(personId, batch) {
  const body = { person: personId, entries: batch.map(asSent) };
  const results = await tried(`${API}/entries`, { method: "POST", body }).then(
    (answer) => answer.results,
    (wrong) => notTaken(wrong, personId, batch),
  );
  if (!results) return Math.ceil(batch.length / 2);
  failures = 0; // what moves on is no reason to wait longer and longer
  if (!(await took(batch, results))) await findLost(batch[0].report);
  return MOST;
}

const asSent = ({ key, report, place, kind, made_at, replaces, says }) => ({ key, report, place, kind, made_at, replaces, says });

// One entry that cannot be read must not keep all others: it is looked for by halves, and told as refused.
async function notTaken(wrong, personId, batch) {
  if (!UNREADABLE.has(wrong.why)) throw await whoElse(wrong, personId);
  if (batch.length > 1) return null;
  return [{ key: batch[0].key, state: "refused", faults: [{ path: "", problem: wrong.message }] }];
}

// The register waits for an earlier entry that was stored there once: it was brought back from a copy.
async function findLost(report) {
  const there = await tried(`${API}/reports/${report}`).then(
    (answer) => answer.entries.map((each) => each.key),
    (wrong) => (wrong.status === 404 ? [] : Promise.reject(wrong)),
  );
  if (!(await sendAgain(report, new Set(there)))) throw new NotDone("busy");
}

// Somebody else signed in since: from now on they work here.
async function whoElse(wrong, personId) {
  if (wrong.why !== "other_person") return wrong;
  const { id } = await meet();
  return id === personId ? new NotDone("busy") : wrong;
}

/** @returns {Promise<boolean>} whether there was one */
async function sendPhotograph(photograph) {
  if (!photograph) return false;
  try {
    await sendPieces(photograph);
    await notePhotograph(photograph, "sent");
  } catch (wrong) {
    if (!UNREADABLE.has(wrong.why)) throw await whoElse(wrong, photograph.person);
    await notePhotograph(photograph, "refused", wrong.message);
  }
  return true;
}

// Begins by asking how much has come, so that what was sent before the network broke is not sent again.
async function sendPieces({ digest, report, blob, bytes }) {
  const address = `${API}/photographs/${digest}`;
  let { received, whole } = await tried(`${address}?${new URLSearchParams({ report })}`);
  let piece = PIECE;
  while (!whole) {
    const body = blob.slice(received, received + piece);
    const at = `${address}?${new URLSearchParams({ at: received, bytes, report })}`;
    try {
      const came = await tried(at, { method: "PUT", body, type: "application/octet-stream", seconds: 60 });
      if (!came.whole && came.received <= received) throw new NotDone("busy");
      ({ received, whole } = came);
      failures = 0;
    } catch (wrong) {
      if (wrong.why !== "too_large" || piece <= LEAST_PIECE) throw wrong;
      piece /= 2;
    }
  }
}

/** What waits of whoever works here. */
export async function waiting() {
  const here = await person();
  return here ? standing(here.id) : { entries: 0, photographs: 0, refused: 0, conflicts: 0 };
}
