/** The sun's altitude, and whether it is surely up: well enough to choose a look by. */
import { RAD } from "./angles";

/**
 * Degrees above the horizon, without refraction.
 * Source: Astronomical Almanac, "Low precision formulas for the Sun" (page C5): good to 0.01 degree 1950 to 2050.
 */
export function sunAltitudeDeg(unixMs: number, latDeg: number, lonDeg: number): number {
  const n = unixMs / 86400000 + 2440587.5 - 2451545.0;
  const meanLongitude = 280.46 + 0.9856474 * n;
  const g = (357.528 + 0.9856003 * n) * RAD;
  const lambda = (meanLongitude + 1.915 * Math.sin(g) + 0.02 * Math.sin(2 * g)) * RAD;
  const epsilon = (23.439 - 0.0000004 * n) * RAD;
  const ra = Math.atan2(Math.cos(epsilon) * Math.sin(lambda), Math.cos(lambda));
  const dec = Math.asin(Math.sin(epsilon) * Math.sin(lambda));
  // Greenwich mean sidereal time, IAU 1982, first-order terms.
  const gmst = (280.46061837 + 360.98564736629 * n) * RAD;
  const hour = gmst + lonDeg * RAD - ra;
  return Math.asin(Math.sin(latDeg * RAD) * Math.sin(dec) + Math.cos(latDeg * RAD) * Math.cos(dec) * Math.cos(hour)) / RAD;
}

/** Small boats go out between these latitudes; its figures are an own choice. */
const LATITUDES_DEG = [-60, -45, -30, -15, 0, 15, 30, 45, 60] as const;

/**
 * Whether the sun is up wherever a clock shows this time: nobody has said where the boat is, and a light screen in the
 * dark costs the night.
 *
 * @param behindMin Minutes that local time is behind UTC, as `Date.getTimezoneOffset` has it; a clock may lead the sun by
 *     two hours (summer time, wide zones).
 */
export function isSurelyDay(unixMs: number, behindMin: number): boolean {
  const lonDeg = -behindMin / 4;
  return LATITUDES_DEG.every((lat) => [-30, 0].every((by) => sunAltitudeDeg(unixMs, lat, lonDeg + by) > 0));
}
