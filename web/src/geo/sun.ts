/** The sun's altitude, well enough to choose a look by. */
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
