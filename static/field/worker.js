// Keeps one set of the program's files and serves it, with and without a connection. `kept` names the set, and
// `sends` sends what waits, where the browser wakes workers for that; both stand before this text when it is served.
// A new set waits until no page is open or a person takes it, so that nobody's program changes while they record.

const PREFIX = "field-";
const NAME = PREFIX + kept.version;

self.addEventListener("install", (event) => event.waitUntil(keepAll()));

async function keepAll() {
  const cache = await caches.open(NAME);
  await cache.addAll(kept.files);
}

self.addEventListener("activate", (event) => event.waitUntil(takeOver()));

async function takeOver() {
  const others = (await caches.keys()).filter((name) => name.startsWith(PREFIX) && name !== NAME);
  await Promise.all(others.map((name) => caches.delete(name)));
  await self.clients.claim();
}

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const { pathname, origin } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== self.location.origin) return;
  if (event.request.mode === "navigate" && pathname === "/field") event.respondWith(keptFile(kept.shell));
  else if (kept.files.includes(pathname)) event.respondWith(keptFile(pathname));
});

async function keptFile(address) {
  const cache = await caches.open(NAME);
  return (await cache.match(address)) ?? fetch(address);
}

self.addEventListener("sync", (event) => {
  if (event.tag === "send" && sends) event.waitUntil(sends());
});
