/** Angles in radians unless a name says degrees; bearings clockwise from north. */
export const TAU = 2 * Math.PI;
export const RAD = Math.PI / 180;

/** An angle in [0, 2 pi). */
export function wrapTau(angle: number): number {
  const wrapped = angle % TAU;
  return wrapped < 0 ? wrapped + TAU : wrapped;
}

/** An angle difference in [-pi, pi). */
export function wrapPi(angle: number): number {
  return wrapTau(angle + Math.PI) - Math.PI;
}

/** Degrees as three figures, "007"; 360 is 000. */
export function threeFigures(deg: number): string {
  return String(((Math.round(deg) % 360) + 360) % 360).padStart(3, "0");
}

/** Where something lies, in the words one would call across a cockpit. */
export function whereabouts(relativeDeg: number): string {
  const angle = ((relativeDeg + 180) % 360 + 360) % 360 - 180;
  const side = angle < 0 ? "port" : "starboard";
  const off = Math.abs(angle);
  if (off < 6) return "ahead";
  if (off < 32) return `fine on the ${side} bow`;
  if (off < 75) return `on the ${side} bow`;
  if (off < 105) return `on the ${side} beam`;
  if (off < 160) return `on the ${side} quarter`;
  return "astern";
}
