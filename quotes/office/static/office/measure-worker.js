// Keeps the measure sheets that were opened, and what they are made of, so that one opens again without a connection.
// Nothing else is ever kept: no API answer, no other page. Signing out takes the cache away.
// A page is asked for first, and names its scripts by a hash of their content: a new version runs with the next load.
"use strict";
const CACHE = "measure-1";
const isSheet = (url) => /^\/measures\/[0-9A-Za-z]+$/.test(url.pathname);
const isStatic = (url) => url.pathname.startsWith("/static/");
const isHashed = (url) => /\.[0-9a-f]{12}\.[^./]+$/.test(url.pathname);

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const keep = async (request, response) => {
  if (response.ok && !response.redirected && response.type === "basic") {
    const cache = await caches.open(CACHE);
    await cache.put(request, response.clone());
  }
  return response;
};
// what has a hash in its name never changes
const keptOrFetched = async (request) => (await caches.match(request)) || keep(request, await fetch(request));
const freshOrKept = async (request) => {
  try {
    return await keep(request.url.split("?")[0], await fetch(request));
  } catch (error) {
    const kept = await caches.match(request.url.split("?")[0]);
    if (kept) return kept;
    throw error;
  }
};
// every file that a kept sheet names is kept with it; scripts and styles of earlier versions go once no sheet names them
const complete = async () => {
  const cache = await caches.open(CACHE), kept = await cache.keys(), named = new Set();
  for (const one of kept.filter(({ url }) => isSheet(new URL(url)))) {
    for (const [path] of (await (await cache.match(one)).text()).matchAll(/\/static\/[^"'\s]+/g)) named.add(path);
  }
  for (const one of kept) {
    const url = new URL(one.url);
    if (isStatic(url) && isHashed(url) && /\.(js|css)$/.test(url.pathname) && !named.has(url.pathname)) await cache.delete(one);
  }
  await Promise.allSettled([...named].map(async (path) => (await cache.match(path)) || keep(path, await fetch(path))));
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (isSheet(url)) {
    const answer = freshOrKept(event.request);
    event.respondWith(answer);
    event.waitUntil(answer.then(complete).catch(() => {}));
  } else if (isStatic(url)) event.respondWith(isHashed(url) ? keptOrFetched(event.request) : freshOrKept(event.request));
});
