/** Shapes of a reading laid once into metres, so that drawing them each frame is one affine. */
import { Plane } from "../../geo/mercator";
import type { Reading } from "../../state/types";

export interface HiddenShape {
  readonly path: Path2D;
  readonly by: string;
  /** A place inside, for the word; metres. */
  readonly east: number;
  readonly north: number;
  readonly areaM2: number;
}

export interface Ground {
  readonly plane: Plane;
  readonly hidden: readonly HiddenShape[];
  readonly seeing: readonly (readonly [number, number])[];
}

type Ring = readonly GeoJSON.Position[];

function ringPath(path: Path2D, plane: Plane, ring: Ring): { area: number; east: number; north: number } {
  let area = 0;
  let east = 0;
  let north = 0;
  let before: [number, number] | undefined;
  for (const position of ring) {
    const e = plane.east(position[0] ?? 0);
    const n = plane.north(position[1] ?? 0);
    if (before === undefined) path.moveTo(e, n);
    else {
      path.lineTo(e, n);
      const cross = before[0] * n - e * before[1];
      area += cross / 2;
      east += (before[0] + e) * cross;
      north += (before[1] + n) * cross;
    }
    before = [e, n];
  }
  path.closePath();
  return area === 0 ? { area: 0, east: 0, north: 0 } : { area, east: east / (6 * area), north: north / (6 * area) };
}

export function groundOf(reading: Reading | null, latDeg: number, lonDeg: number): Ground {
  const plane = new Plane(latDeg, lonDeg);
  const hidden: HiddenShape[] = [];
  for (const feature of reading?.hidden?.features ?? []) {
    const shape = feature.geometry;
    const polygons = shape.type === "Polygon" ? [shape.coordinates] : shape.type === "MultiPolygon" ? shape.coordinates : [];
    const by: unknown = feature.properties?.["by"];
    for (const polygon of polygons) {
      const path = new Path2D();
      let outer = { area: 0, east: 0, north: 0 };
      polygon.forEach((ring, i) => {
        const found = ringPath(path, plane, ring);
        if (i === 0) outer = found;
      });
      hidden.push({ path, by: typeof by === "string" ? by : "unknown", east: outer.east, north: outer.north, areaM2: Math.abs(outer.area) });
    }
  }
  const ring = reading?.seeing_line?.coordinates[0] ?? [];
  const points = ring.map((p): [number, number] => [plane.east(p[0] ?? 0), plane.north(p[1] ?? 0)]);
  const own = reading?.own;
  const east = own?.lon == null ? 0 : plane.east(own.lon);
  const north = own?.lat == null ? 0 : plane.north(own.lat);
  return { plane, hidden, seeing: smoothed(points, east, north) };
}

/** Bearings the line is held on. */
export const STEPS = 180;

/**
 * The line as one stroke of a pen: on each of 180 bearings the least range within two steps, then eased over its
 * neighbours. Least first, so that smoothing never promises more than was read but for the easing of a corner.
 */
export function smoothed(line: readonly (readonly [number, number])[], east: number, north: number): [number, number][] {
  if (line.length < 3) return [];
  const step = (2 * Math.PI) / STEPS;
  const range: number[] = [];
  for (let k = 0; k < STEPS; k++) {
    const found = rangeAlong(line, east, north, k * step);
    if (found === null) return line.map(([e, n]) => [e, n]);
    range.push(found);
  }
  const of = (list: readonly number[], k: number): number => list[(k + STEPS) % STEPS] ?? 0;
  const least = range.map((_, k) => Math.min(of(range, k - 2), of(range, k - 1), of(range, k), of(range, k + 1), of(range, k + 2)));
  const weights = [1, 3, 4, 3, 1] as const;
  return least.map((_, k) => {
    let sum = 0;
    weights.forEach((w, i) => (sum += (w / 12) * of(least, k + i - 2)));
    const r = Math.min(sum, of(range, k));
    return [east + r * Math.sin(k * step), north + r * Math.cos(k * step)];
  });
}

/** Range from a point to a closed line along a bearing (radians, true); null when the line is not met. The nearest crossing: the cautious one. */
export function rangeAlong(line: readonly (readonly [number, number])[], east: number, north: number, bearing: number): number | null {
  const dx = Math.sin(bearing);
  const dy = Math.cos(bearing);
  let best: number | null = null;
  for (let i = 0; i < line.length; i++) {
    const p = line[i];
    const q = line[(i + 1) % line.length];
    if (p === undefined || q === undefined) continue;
    const ax = p[0] - east;
    const ay = p[1] - north;
    const bx = q[0] - p[0];
    const by = q[1] - p[1];
    const det = bx * dy - by * dx;
    if (Math.abs(det) < 1e-12) continue;
    const u = (ay * dx - ax * dy) / det;
    const t = (bx * ay - by * ax) / det;
    if (u >= -1e-9 && u <= 1 + 1e-9 && t >= 0 && (best === null || t < best)) best = t;
  }
  return best;
}
