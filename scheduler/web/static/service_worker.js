"use strict";
// Keeps pages and their parts on this phone. The network comes first; what is kept is shown where
// the network does not answer. A page that is shown from the phone says when it was loaded
// (data-stored). Entries are kept by offline.js, not here.
const PAGES = "pages";
const PARTS = "parts-1";
const PATIENCE_MS = 6000; // assumed, because a driver waits no longer for a page
const SHELL = [
  "/offline",
  "/shades.css",
  "/static/page.css",
  "/static/offline.css",
  "/static/page.js",
  "/static/offline.js",
  "/static/map.css",
  "/static/map.js",
  "/static/icon.svg",
  "/static/icon-192.png",
];

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(PARTS).then((kept) => kept.addAll(SHELL)).then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  async function tidy() {
    const names = await caches.keys();
    await Promise.all(names.filter((n) => n !== PAGES && n !== PARTS).map((n) => caches.delete(n)));
    await self.clients.claim();
  }
  event.waitUntil(tidy());
});

async function store(address, answer) {
  const headers = new Headers(answer.headers);
  headers.set("X-Stored", String(Date.now()));
  const copy = new Response(await answer.blob(), { status: 200, headers });
  await (await caches.open(PAGES)).put(address, copy);
}

async function keep(address) {
  const answer = await fetch(address, { credentials: "same-origin", redirect: "manual" });
  if (answer.ok) await store(address, answer);
}

self.addEventListener("message", (event) => {
  if (!Array.isArray(event.data.keep)) return;
  const own = event.data.keep.filter((a) => new URL(a, location.origin).origin === location.origin);
  event.waitUntil(Promise.allSettled(own.map(keep)));
});

async function stored(address) {
  const answer = await (await caches.open(PAGES)).match(address, { ignoreVary: true });
  if (!answer) return (await caches.open(PARTS)).match("/offline", { ignoreVary: true });
  const at = Number(answer.headers.get("X-Stored"));
  const text = (await answer.text()).replace("<html ", `<html data-stored="${at}" `);
  return new Response(text, { status: 200, headers: answer.headers });
}

async function page(request) {
  const address = request.url.split("#")[0];
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(request, { signal: patience.signal });
    if (answer.ok && !answer.redirected) await store(address, answer.clone());
    else if (answer.status === 410) await (await caches.open(PAGES)).delete(address);
    return answer;
  } catch {
    return (await stored(address)) || Response.error();
  } finally {
    clearTimeout(timer);
  }
}

async function part(request) {
  const kept = await caches.open(PARTS);
  try {
    const answer = await fetch(request);
    if (answer.ok) await kept.put(request, answer.clone());
    return answer;
  } catch {
    return (await kept.match(request, { ignoreVary: true })) || Response.error();
  }
}

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (url.pathname.startsWith("/static/") || url.pathname === "/shades.css")
    event.respondWith(part(request));
});
