// Keeps the build page readable offline: network first, then the cached copy. Only pages of this scope and our own static
// files are cached, never API responses or submitted data.
"use strict";
const KEPT = "build-sheets";
const isCacheable = (url) => url.origin === location.origin && (/^\/jobs\/[0-9A-Za-z]+\/build$/.test(url.pathname) || url.pathname.startsWith("/static/"));

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const request = event.request;
  if (request.method !== "GET" || !isCacheable(new URL(request.url))) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    try {
      const response = await fetch(request);
      if (response.ok && !response.redirected) await kept.put(request.url, response.clone());
      return response;
    } catch (fault) {
      const before = await kept.match(request.url);
      if (before) return before;
      throw fault;
    }
  })());
});
