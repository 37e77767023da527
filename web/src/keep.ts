/** Offline use: a worker keeps what this page was made of, so that it opens and says "link lost" when no helm answers. */

/** By then the map library and the fonts have come in too, ms. */
const SETTLED_MS = 6000;

export function keepOffline(): void {
  if (!("serviceWorker" in navigator) || !window.isSecureContext) return;
  void navigator.serviceWorker.register("./offline.js").then(
    () =>
      window.setTimeout(() => {
        void navigator.serviceWorker.ready.then((registration) => {
          const made = performance.getEntriesByType("resource").map((entry) => entry.name.split("?")[0] ?? "");
          const page = window.location.origin + window.location.pathname;
          registration.active?.postMessage({ keep: [...new Set([page, new URL("manifest.webmanifest", page).href, new URL("icon.svg", page).href, ...made])] });
        });
      }, SETTLED_MS),
    // A browser that will not keep anything still shows the helm.
    () => undefined,
  );
}
