/** True courses as the compass at the wheel shows them. */
import { threeFigures } from "../geo/angles";
import type { Reading } from "./types";

/** "179° compass" by the deviation card, "179° magnetic" without one; "" where it is not known. */
export function byCompass(reading: Reading | null, trueDeg: number | undefined): string {
  const compass = reading?.compass ?? null;
  if (compass === null || trueDeg === undefined || Number.isNaN(trueDeg)) return "";
  return `${threeFigures(shownFor(compass.shows_deg, trueDeg))}° ${compass.by === "card" ? "compass" : "magnetic"}`;
}

/** What it shows for a true course: between the courses it is told for, their differences from true change evenly. */
export function shownFor(showsDeg: readonly number[], trueDeg: number): number {
  const step = 360 / showsDeg.length;
  const at = (((trueDeg % 360) + 360) % 360) / step;
  const before = Math.floor(at) % showsDeg.length;
  const off = (k: number): number => (((showsDeg[k] ?? 0) - k * step + 540) % 360) - 180;
  const after = (before + 1) % showsDeg.length;
  const share = at - Math.floor(at);
  // Round the end of the table the course goes on past 360 as it came.
  return trueDeg + off(before) + share * ((((off(after) - off(before) + 540) % 360) + 360) % 360 - 180);
}
