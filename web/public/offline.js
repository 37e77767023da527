// Keeps the helm's own files, so that the sheet opens and says "link lost" even when the helm is not answering.
// Never keeps what the helm tells: the present is not for keeping.
const KEPT = "moonless-1";
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.endsWith("/live") || url.pathname.includes("/chart/")) return;
  event.respondWith(
    fetch(event.request)
      .then(async (answer) => {
        if (answer.ok) (await caches.open(KEPT)).put(event.request, answer.clone());
        return answer;
      })
      .catch(async () => (await caches.match(event.request)) ?? Response.error()),
  );
});
