// The program on the tablet: kept by a worker as one set, renewed only when a person says so or no page is open.

/** How the program stands: a newer set `waits`, or another window has taken it already (`elsewhere`). */
export const renewal = { waits: false, elsewhere: false };
/** Fires "changed" when `renewal` does. */
export const renewed = new EventTarget();
/** The version that this page runs: it stands in the address of each of its files. */
export const VERSION = new URL(import.meta.url).pathname.split("/")[3];

const EVERY = 30 * 60 * 1000;
const wakes = "SyncManager" in globalThis;
let asked = false;

function tell(change) {
  Object.assign(renewal, change);
  renewed.dispatchEvent(new Event("changed"));
}

/** Have a worker keep this program, so that it opens without a connection. */
export async function keepProgram() {
  const workers = navigator.serviceWorker;
  if (!workers) return;
  const hadOne = Boolean(workers.controller);
  workers.addEventListener("controllerchange", () => taken(hadOne));
  // Only a worker that is a module can send; only browsers that wake workers need one.
  const [address, type] = wakes ? ["/field/worker.js?sends=true", "module"] : ["/field/worker.js", "classic"];
  const registration = await workers.register(address, { scope: "/field", type, updateViaCache: "none" }).catch(() => null);
  if (!registration) return; // no connection, and an earlier worker goes on
  if (registration.waiting && workers.controller) tell({ waits: true });
  registration.addEventListener("updatefound", () => watch(registration.installing, workers));
  setInterval(look, EVERY);
}

const PATIENCE = 60 * 1000;

/** Whether a worker keeps the program, so that this page opens out of reach too; waits for it a while. */
export async function programKept() {
  const late = new Promise((tell) => { setTimeout(tell, PATIENCE, false); });
  return Promise.race([navigator.serviceWorker?.ready.then(() => true) ?? false, late]);
}

function watch(worker, workers) {
  worker?.addEventListener("statechange", () => {
    if (worker.state === "installed" && workers.controller) tell({ waits: true });
  });
}

function taken(hadOne) {
  if (asked) location.reload();
  else if (hadOne) tell({ waits: false, elsewhere: true });
}

/** See whether the register has a newer program; nothing happens without a connection. */
export async function look() {
  const registration = await navigator.serviceWorker?.getRegistration("/field");
  await registration?.update().catch(() => {});
}

/** The register told which program it has now. */
export function heard(version) {
  if (version && version !== VERSION && !renewal.waits) look();
}

/** Take the newer program. Drafts are in the tablet's store, which each version leads on. */
export async function takeNew() {
  const registration = await navigator.serviceWorker.getRegistration("/field");
  asked = true;
  if (registration?.waiting) registration.waiting.postMessage("take over");
  else location.reload();
}
