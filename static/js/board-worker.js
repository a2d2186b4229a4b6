/* Keeps the sheets of a build day readable with no signal: what was fetched last is shown when the net does not answer.
   It sends nothing by itself; marks are queued and sent by the page. */
"use strict";
const SHELF = "buildout-board-1";
const PATIENCE = 6000;

self.addEventListener("install", event => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", event => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name.startsWith("buildout-board-") && name !== SHELF) await caches.delete(name);
  await self.clients.claim();
})()));

const put = async (request, answer) => {
  if (answer.ok && !answer.redirected) await (await caches.open(SHELF)).put(request, answer.clone());
  return answer;
};

self.addEventListener("message", event => {
  if (!event.data || !Array.isArray(event.data.keep)) return;
  event.waitUntil((async () => {
    for (const address of event.data.keep) {
      try { await put(address, await fetch(address)); } catch { /* next time */ }
    }
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
      const old = await caches.match(request, { ignoreVary: true });
      if (old) return old;
      if (request.mode !== "navigate") throw error;
      return new Response("No signal, and this page was not kept on this phone. Go back to the day's board.", {
        status: 503, headers: { "Content-Type": "text/plain; charset=utf-8" },
      });
    }
  })());
});
