// Serves the pages of the round with no signal. VERSION, PAGE and FILES stand above, put there by the site: a changed
// file makes a new version, which is taken whole or not at all.

const CACHE = `round-${VERSION}`;

self.addEventListener("install", (event) => {
  const wanted = [PAGE, ...FILES].map((address) => new Request(
    address, { cache: "reload", credentials: "same-origin" }
  ));
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(wanted)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((name) =>
      name.startsWith("round-") && name !== CACHE).map((name) => caches.delete(name))))
    .then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    // Pages other than the round's come from the site as ever; with no signal the round opens in their place.
    event.respondWith(address.pathname === PAGE ? kept(PAGE) : fetch(request).catch(() => instead(address.pathname)));
  } else if (FILES.includes(address.pathname)) {
    event.respondWith(kept(address.pathname));
  }
});

async function kept(address) {
  return (await (await caches.open(CACHE)).match(address)) ?? fetch(address);
}

function instead(path) {
  const label = /^\/d\/([0-9A-Za-z]+)\/?$/.exec(path);
  const page = label ? `#/d/${label[1]}` : path === "/" ? "#/" : "#/away";
  return Response.redirect(PAGE + page, 302);
}
