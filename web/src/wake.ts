/** Keeps the tablet's screen from sleeping while the helm is open; asked again whenever the page comes back. */
let held: WakeLockSentinel | undefined;

export function keepAwake(): void {
  if (held !== undefined || !("wakeLock" in navigator) || document.visibilityState !== "visible") return;
  navigator.wakeLock.request("screen").then(
    (lock) => {
      held = lock;
      lock.addEventListener("release", () => (held = undefined));
    },
    // A device that refuses (low battery) still shows the helm.
    () => undefined,
  );
}

document.addEventListener("visibilitychange", keepAwake);
keepAwake();
