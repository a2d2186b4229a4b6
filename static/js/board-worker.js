/* Keeps the sheets of a build day readable with no signal: what was fetched last is shown when the net does not answer.
   It sends nothing by itself; marks are queued and sent by the page. */
"use strict";
const SHELF = "buildout-board-1";
const PATIENCE = 6000;
const DAYS = 30; // so long a page is kept that is not looked at any more

self.addEventListener("install", event => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", event => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name.startsWith("buildout-board-") && name !== SHELF) await caches.delete(name);
  await self.clients.claim();
})()));

const put = async (request, answer) => {
  const shelf = await caches.open(SHELF), address = typeof request === "string" ? request : request.url;
  if (answer.ok && !answer.redirected) {
    await shelf.put(request, answer.clone());
    return answer;
  }
  const ended = answer.redirected || answer.type === "opaqueredirect" || answer.status === 410;
  const top = new URL(address, location.origin).href === self.registration.scope;
  if (ended || (top && answer.status === 404)) await drop(shelf, () => true); // signed out, or the link opens nothing more
  else if (answer.status === 404) await shelf.delete(request, { ignoreVary: true });
  return answer;
};

const drop = async (shelf, which) => {
  for (const one of await shelf.keys())
    if (one.url.startsWith(self.registration.scope) && which(await shelf.match(one))) await shelf.delete(one);
};
const old = answer => Date.now() - Date.parse(answer && answer.headers.get("Date")) > DAYS * 24 * 3600 * 1000;

self.addEventListener("message", event => {
  if (!event.data || !Array.isArray(event.data.keep)) return;
  event.waitUntil((async () => {
    for (const address of event.data.keep) {
      try { await put(address, await fetch(address)); } catch { /* next time */ }
    }
    await drop(await caches.open(SHELF), old);
    if (event.source) event.source.postMessage("kept");
  })());
});

self.addEventListener("fetch", event => {
  const { request } = event;
  if (request.method !== "GET" || new URL(request.url).origin !== location.origin) return;
  event.respondWith((async () => {
    try {
      const answer = await Promise.race([
        fetch(request), new Promise((_, late) => setTimeout(() => late(new Error("no answer")), PATIENCE)),
      ]);
      event.waitUntil(put(request, answer.clone()).catch(() => {}));
      return answer;
    } catch (error) {
      const kept = await caches.match(request, { ignoreVary: true });
      if (kept && !old(kept)) return kept;
      if (kept) await drop(await caches.open(SHELF), old);
      if (request.mode !== "navigate") throw error;
      return new Response("No signal, and this page was not kept on this phone. Go back to the day's board.", {
        status: 503, headers: { "Content-Type": "text/plain; charset=utf-8" },
      });
    }
  })());
});
