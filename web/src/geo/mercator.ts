/** Web Mercator in units of the world's width, y down, as the map library counts; and a local plane of metres. */
import { RAD } from "./angles";

/** Equator of the sphere that Web Mercator is drawn on (EPSG:3857), metres. */
export const WORLD_M = 2 * Math.PI * 6378137;

export function mercatorX(lonDeg: number): number {
  return lonDeg / 360 + 0.5;
}

export function mercatorY(latDeg: number): number {
  const s = Math.sin(latDeg * RAD);
  return 0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI);
}

export function lonOf(x: number): number {
  return (x - 0.5) * 360;
}

export function latOf(y: number): number {
  return Math.atan(Math.sinh((0.5 - y) * 2 * Math.PI)) / RAD;
}

/** East/north metres about a place, true to Mercator's scale there; good for what one sheet shows. */
export class Plane {
  readonly x0: number;
  readonly y0: number;
  readonly metresPerUnit: number;

  constructor(readonly latDeg: number, readonly lonDeg: number) {
    this.x0 = mercatorX(lonDeg);
    this.y0 = mercatorY(latDeg);
    this.metresPerUnit = WORLD_M * Math.cos(latDeg * RAD);
  }

  east(lonDeg: number): number {
    return (mercatorX(lonDeg) - this.x0) * this.metresPerUnit;
  }

  north(latDeg: number): number {
    return (this.y0 - mercatorY(latDeg)) * this.metresPerUnit;
  }

  lat(north: number): number {
    return latOf(this.y0 - north / this.metresPerUnit);
  }

  lon(east: number): number {
    return lonOf(this.x0 + east / this.metresPerUnit);
  }
}

/** Metres and true bearing (degrees) between two near places, through the plane of the first. */
export function rangeBearing(latA: number, lonA: number, latB: number, lonB: number): { rangeM: number; bearingDeg: number } {
  // The plane at the middle: Mercator's scale there is the mean over the leg.
  const plane = new Plane((latA + latB) / 2, lonA);
  const east = plane.east(lonB) - plane.east(lonA);
  const north = plane.north(latB) - plane.north(latA);
  return { rangeM: Math.hypot(east, north), bearingDeg: (Math.atan2(east, north) / RAD + 360) % 360 };
}
