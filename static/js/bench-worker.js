// Lets the bench start without a network: pages of the bench and what they are made of are kept as they last came.
// Nothing that is said passes through here; that is the queue's.

const CACHE = "bench-1";

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name.startsWith("bench-") && name !== CACHE) await caches.delete(name);
  await self.clients.claim();
})()));

// What came is kept once it is here to its last byte. A network that dies half-way leaves an answer without a body, or
// without a head; in the place of what lay here it would keep the bench from starting.
async function fresh(request) {
  const response = await fetch(request), { status, statusText, headers, ok, redirected } = response;
  const whole = await response.clone().arrayBuffer();
  if (ok && !(whole.byteLength && headers.has("Content-Type"))) throw new Error("cut off");
  if (ok && !redirected) {
    const cache = await caches.open(CACHE);
    await cache.put(request, new Response(whole, { status, statusText, headers }));
  }
  return response;
}

async function page(request) {
  try {
    return await Promise.race([fresh(request), new Promise((_, late) => setTimeout(() => late(new Error("late")), 4000))]);
  } catch {
    const cache = await caches.open(CACHE);
    return (await cache.match(request)) ?? (await cache.match(request, { ignoreSearch: true })) ?? Response.error();
  }
}

async function piece(request) {
  const cache = await caches.open(CACHE);
  const held = await cache.match(request);
  const later = fresh(request).catch(() => held ?? Response.error());
  return held ?? later;
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (request.mode === "navigate" && address.pathname.startsWith("/bench/")) event.respondWith(page(request));
  else if (["style", "script", "font", "image"].includes(request.destination) && address.pathname.startsWith("/static/")) event.respondWith(piece(request));
});

// The page tells which files it uses, so that they are here before they are missed.
self.addEventListener("message", (event) => {
  if (event.data?.keep) event.waitUntil((async () => {
    await Promise.allSettled(event.data.keep.map((address) => fresh(new Request(address, { cache: "reload" }))));
    event.source?.postMessage({ kept: event.data.keep.length });
  })());
});
