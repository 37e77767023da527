// Keeps the helm's own files, so that the sheet opens and says "link lost" even when the helm is not answering.
// Never keeps what the helm tells: the present is not for keeping.
const KEPT = "moonless-2";
// A network that swallows requests must not hold the sheet back for longer, ms.
const WAIT_MS = 3000;

function isOurs(url) {
  if (url.origin !== self.location.origin) return false;
  return url.pathname === "/" || /\.(html|js|css|woff2|svg|webmanifest|png)$/.test(url.pathname);
}

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) =>
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((name) => name !== KEPT).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  ),
);

// The page tells what it was made of: on the very first visit this worker came too late to see it load. What an older
// build left is dropped then.
self.addEventListener("message", (event) => {
  const urls = (Array.isArray(event.data?.keep) ? event.data.keep : []).map((text) => new URL(text)).filter(isOurs);
  event.waitUntil(
    caches.open(KEPT).then(async (kept) => {
      const wanted = new Set(urls.map((url) => url.href));
      for (const request of await kept.keys()) if (!wanted.has(request.url)) await kept.delete(request);
      await Promise.all(
        [...wanted].map(async (href) => {
          const answer = await fetch(href);
          if (answer.ok) await kept.put(href, answer);
        }),
      );
    }),
  );
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || !isOurs(url)) return;
  // A key in the address is for the helm alone: what is kept goes by the address without it.
  const plain = url.origin + url.pathname;
  event.respondWith(
    Promise.race([
      fetch(event.request),
      new Promise((_, late) => setTimeout(() => late(new Error("late")), WAIT_MS)),
    ]).catch(async () => (await caches.match(plain)) ?? fetch(event.request)),
  );
});
