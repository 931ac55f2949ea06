/* Keeps the page at the rig usable without a network: what was fetched last answers then. */
"use strict";

const KEPT = "at-the-rig";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (address.pathname.startsWith("/api/")) return;
  event.respondWith(freshOrKept(request));
});

async function freshOrKept(request) {
  const kept = await caches.open(KEPT);
  try {
    const fresh = await fetch(request);
    if (fresh.ok && !fresh.redirected && (await kept.match(request))) {
      await kept.put(request, fresh.clone());
    }
    return fresh;
  } catch (failure) {
    /* A label's code stands behind the address of the page that was kept. */
    const answer = await kept.match(request, { ignoreSearch: request.mode === "navigate" });
    if (answer) return answer;
    throw failure;
  }
}
