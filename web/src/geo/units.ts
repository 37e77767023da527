/** Distances as the skipper wants them said. */
export type DistanceUnit = "nm" | "cables" | "yards" | "metres";

export const NM_M = 1852;
const IN_M: Record<DistanceUnit, number> = { nm: NM_M, cables: NM_M / 10, yards: 0.9144, metres: 1 };
const WORD: Record<DistanceUnit, string> = { nm: "mile", cables: "cable", yards: "yard", metres: "metre" };

/** Half-steps: each a half or a third more than the one before. Nautical miles from the boat to the sheet's edge. */
export const RANGES_NM: readonly number[] = [0.125, 0.1875, 0.25, 0.375, 0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8, 12, 16, 24];

/** Rings on a range: thirds of a 3-series range, quarters of the others. */
export function ringStepNm(rangeNm: number): number {
  const thirds = RANGES_NM.indexOf(rangeNm) % 2 === 1;
  return rangeNm / (thirds ? 3 : 4);
}

function trimmed(value: number, digits: number): string {
  return value.toFixed(digits).replace(/\.?0+$/, "");
}

/** "0.42 mile", "310 metres": two or three figures, no more than a radar can say. */
export function sayDistance(m: number, unit: DistanceUnit): string {
  // Under a tenth of a mile people think in metres.
  if (unit === "nm" && m < NM_M / 10) return sayDistance(m, "metres");
  const value = m / IN_M[unit];
  const step = unit === "nm" ? (value < 1 ? 2 : 1) : unit === "cables" ? 1 : -1;
  const rounded = step >= 0 ? Number(value.toFixed(step)) : Math.round(value / 10) * 10;
  const text = step >= 0 ? trimmed(value, step) : String(rounded);
  return `${text} ${WORD[unit]}${rounded === 1 || (unit === "nm" && rounded < 1) ? "" : "s"}`;
}

/** A ring's label: the number and, short, its unit. */
export function ringLabel(m: number, unit: DistanceUnit): string {
  const short: Record<DistanceUnit, string> = { nm: "M", cables: "c", yards: "yd", metres: "m" };
  const value = m / IN_M[unit];
  return `${trimmed(value, unit === "nm" ? 4 : unit === "cables" ? 1 : 0)} ${short[unit]}`;
}

/** "3 min 10 s", "45 s", "12 min". */
export function sayTime(s: number): string {
  const whole = Math.max(0, Math.round(s));
  if (whole < 60) return `${whole} s`;
  const min = Math.floor(whole / 60);
  const rest = Math.round((whole % 60) / 10) * 10;
  if (min >= 10) return `${Math.round(whole / 60)} min`;
  if (rest === 0) return `${min} min`;
  return rest === 60 ? `${min + 1} min` : `${min} min ${rest} s`;
}

export function sayKnots(kn: number): string {
  return kn < 10 ? trimmed(kn, 1) : String(Math.round(kn));
}
