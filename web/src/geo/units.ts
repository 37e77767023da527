/** Distances as the skipper wants them said. */
export type DistanceUnit = "nm" | "cables" | "yards" | "metres";

export const NM_M = 1852;
const IN_M: Record<DistanceUnit, number> = { nm: NM_M, cables: NM_M / 10, yards: 0.9144, metres: 1 };
const WORD: Record<DistanceUnit, string> = { nm: "mile", cables: "cable", yards: "yard", metres: "metre" };
const SHORT: Record<DistanceUnit, string> = { nm: "M", cables: "c", yards: "yd", metres: "m" };

/** Half-steps: each a half or a third more than the one before. Nautical miles from the boat to the sheet's edge. */
export const RANGES_NM: readonly number[] = [0.125, 0.1875, 0.25, 0.375, 0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8, 12, 16, 24];

/** Rings on a range: thirds of a 3-series range, quarters of the others. */
export function ringStepNm(rangeNm: number): number {
  const thirds = RANGES_NM.indexOf(rangeNm) % 2 === 1;
  return rangeNm / (thirds ? 3 : 4);
}

/** A figure never more than it is: water and room that there is. What a computer rounds by itself is no loss. */
export function down(value: number, digits: number): string {
  const step = 10 ** digits;
  return (Math.floor(value * step + 1e-6 * step) / step + 0).toFixed(digits);
}

function trimmed(value: number, digits: number): string {
  const text = value.toFixed(digits);
  // Only what stands behind a point is left out: 760 must not become 76.
  return digits === 0 ? text : text.replace(/\.?0+$/, "");
}

/** What a distance is counted in: of a skipper who counts in miles, cables below one of them. */
function counted(m: number, unit: DistanceUnit): DistanceUnit {
  return unit === "nm" && m < 0.95 * NM_M ? "cables" : unit;
}

function rounded(m: number, unit: DistanceUnit): { readonly text: string; readonly value: number; readonly in: DistanceUnit } {
  const counts = counted(m, unit);
  const value = m / IN_M[counts];
  if (counts === "nm" || counts === "cables") {
    const shown = Number(value.toFixed(1));
    return { text: trimmed(shown, 1), value: shown, in: counts };
  }
  const step = value < 1000 ? 10 : 50;
  const shown = Math.round(value / step) * step;
  return { text: String(shown), value: shown, in: counts };
}

/** "4.2 cables", "1.5 miles", "310 metres": no more figures than a radar can say, and one system on one screen. */
export function sayDistance(m: number, unit: DistanceUnit): string {
  const { text, value, in: counts } = rounded(m, unit);
  return `${text} ${WORD[counts]}${value === 1 || (value > 0 && value < 1) ? "" : "s"}`;
}

/** How far off a thing is passed, never more than it is. */
export function sayRoom(m: number, unit: DistanceUnit): string {
  const counts = counted(m, unit);
  const miles = counts === "nm" || counts === "cables";
  const step = (miles ? 0.1 : 10) * IN_M[counts];
  const whole = Math.floor(m / step + 1e-6);
  // Within the least step there is no figure in that system: it is said as what it is less than.
  return whole === 0 ? `under ${sayDistance(step, unit)}` : sayDistance(whole * step, unit);
}

/** The same in short: "4.2 c", "1.5 M", "310 m". */
export function shortDistance(m: number, unit: DistanceUnit): string {
  const { text, in: counts } = rounded(m, unit);
  return `${text} ${SHORT[counts]}`;
}

/** A sentence of the plan's, whose paper counts in nautical miles and metres, in the skipper's own count; a light's "3M" stays. */
export function inOneSystem(text: string, unit: DistanceUnit): string {
  return text
    .replace(/(\d+(?:\.\d+)?) N?M\b/g, (_, nm: string) => sayDistance(Number(nm) * NM_M, unit))
    .replace(/(\d+) m (?=to (?:port|starboard)\b)/g, (_, m: string) => `${sayRoom(Number(m), unit)} `);
}

/** A ring's label: the number and, short, its unit. */
export function ringLabel(m: number, unit: DistanceUnit): string {
  const counts = counted(m, unit);
  const value = m / IN_M[counts];
  return `${trimmed(value, counts === "nm" ? 2 : counts === "cables" ? 2 : 0)} ${SHORT[counts]}`;
}

/** "3 min 10 s", "45 s", "12 min", "3 h". */
export function sayTime(s: number): string {
  const whole = Math.max(0, Math.round(s));
  if (whole < 60) return `${whole} s`;
  const min = Math.floor(whole / 60);
  const rest = Math.round((whole % 60) / 10) * 10;
  if (min >= 120) return `${Math.round(min / 60)} h`;
  if (min >= 10) return `${Math.round(whole / 60)} min`;
  if (rest === 0) return `${min} min`;
  return rest === 60 ? `${min + 1} min` : `${min} min ${rest} s`;
}

export function sayKnots(kn: number): string {
  return kn < 10 ? trimmed(kn, 1) : String(Math.round(kn));
}
