// Keeps opened measure and build pages, and the files they name, so that they open without a connection.
// Nothing else is cached: no API response and no other page. Signing out deletes the cache.
// A page is requested from the server first and names its scripts by a hash of their content, so a new version runs
// with the next load. Files of earlier versions are deleted when no cached page names them any more.
"use strict";
const CACHE = "offline-pages";
const isPage = (url) => /^\/(measures\/[0-9A-Za-z]+|jobs\/[0-9A-Za-z]+\/build)$/.test(url.pathname);
const isStatic = (url) => url.pathname.startsWith("/static/");
const isHashed = (url) => /\.[0-9a-f]{12}\.[^./]+$/.test(url.pathname);
const isVersioned = (url) => isStatic(url) && isHashed(url) && /\.(js|css)$/.test(url.pathname);
const withoutQuery = (address) => address.split(/[?#]/)[0];

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const save = async (address, response) => {
  if (response.ok && !response.redirected && response.type === "basic") {
    const cache = await caches.open(CACHE);
    await cache.put(address, response.clone());
  }
  return response;
};
const cachedFirst = async (request) => (await caches.match(request)) || save(request, await fetch(request));
const networkFirst = async (request) => {
  const address = withoutQuery(request.url);
  try {
    return await save(address, await fetch(request));
  } catch (error) {
    const cached = await caches.match(address);
    if (cached) return cached;
    throw error;
  }
};
const cachedOrSaved = async (path) => (await caches.match(path)) || save(path, await fetch(path));
// adds the modules that a script imports, and those that they import
const IMPORT = /^import\s(?:[^"']*\sfrom\s+)?["'](\.[^"']+)["']/gm;
const addImports = async (path, named) => {
  const text = await (await cachedOrSaved(path)).clone().text();
  for (const [, name] of text.matchAll(IMPORT)) {
    const module = new URL(name, new URL(path, self.location)).pathname;
    if (named.has(module)) continue;
    named.add(module);
    await addImports(module, named);
  }
};
// saves every file that a cached page names, and deletes scripts and styles that none names
const completeCache = async () => {
  const cache = await caches.open(CACHE), requests = await cache.keys(), named = new Set();
  for (const request of requests.filter(({ url }) => isPage(new URL(url)))) {
    const text = await (await cache.match(request)).text();
    for (const [path] of text.matchAll(/\/static\/[^"'\s]+/g)) named.add(path);
  }
  const scripts = [...named].filter((path) => path.endsWith(".js"));
  const read = await Promise.allSettled(scripts.map((path) => addImports(path, named)));
  // without a connection a script may not have been read, and what it imports is not known
  if (read.every(({ status }) => status === "fulfilled")) {
    for (const request of requests) {
      const url = new URL(request.url);
      if (isVersioned(url) && !named.has(url.pathname)) await cache.delete(request);
    }
  }
  await Promise.allSettled([...named].map(cachedOrSaved));
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (isPage(url)) {
    const response = networkFirst(event.request);
    event.respondWith(response);
    event.waitUntil(response.then(completeCache).catch(() => {}));
  } else if (isStatic(url)) event.respondWith(isHashed(url) ? cachedFirst(event.request) : networkFirst(event.request));
});
// a page that was loaded before this worker was installed sends its addresses: itself and its files
self.addEventListener("message", (event) => {
  const saveAll = async () => {
    const own = event.data.map((address) => new URL(address)).filter((url) => url.origin === self.location.origin);
    const kept = own.filter((url) => isPage(url) || isStatic(url)).map((url) => withoutQuery(url.href));
    await Promise.allSettled(kept.map(async (address) => save(address, await fetch(address))));
    await completeCache();
    event.source.postMessage("saved");
  };
  event.waitUntil(saveAll().catch(() => {}));
});
