// Keeps the measure sheets that were opened, and what they are made of, so that one opens again without a connection.
// Nothing else is ever kept: no API answer, no other page. Signing out takes the cache away.
"use strict";
const CACHE = "measure-1";
const isSheet = (url) => /^\/measures\/[0-9A-Za-z]+$/.test(url.pathname);
const isStatic = (url) => url.pathname.startsWith("/static/");

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const keep = async (request, response) => {
  if (response.ok && !response.redirected && response.type === "basic") {
    const cache = await caches.open(CACHE);
    await cache.put(request, response.clone());
  }
  return response;
};
const freshOrKept = async (request) => {
  try {
    return await keep(request.url.split("?")[0], await fetch(request));
  } catch (error) {
    const kept = await caches.match(request.url.split("?")[0]);
    if (kept) return kept;
    throw error;
  }
};
const keptOrFresh = async (request) => {
  const kept = await caches.match(request);
  const fetched = fetch(request).then((response) => keep(request, response));
  if (!kept) return fetched;
  fetched.catch(() => {});
  return kept;
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (isSheet(url)) event.respondWith(freshOrKept(event.request));
  else if (isStatic(url)) event.respondWith(keptOrFresh(event.request));
});
