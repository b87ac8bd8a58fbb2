// Keeps the crew's sheet readable without a connection: the network first, what was last seen otherwise. Only pages of this
// scope and our own files are kept; never an answer of the API, never anything that was sent.
"use strict";
const KEPT = "build-sheets";
const mayKeep = (url) => url.origin === location.origin && (/^\/jobs\/[0-9A-Za-z]+\/build$/.test(url.pathname) || url.pathname.startsWith("/static/"));

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const request = event.request;
  if (request.method !== "GET" || !mayKeep(new URL(request.url))) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    try {
      const answer = await fetch(request);
      if (answer.ok && !answer.redirected) await kept.put(request.url, answer.clone());
      return answer;
    } catch (fault) {
      const before = await kept.match(request.url);
      if (before) return before;
      throw fault;
    }
  })());
});
