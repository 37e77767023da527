/** Where the sheet looks: one affine from the local plane (east, north metres) to the pane's pixels (x right, y down). */
import { Plane, mercatorX, mercatorY, lonOf, latOf } from "./mercator";

export interface Camera {
  /** Plane about the boat, or about where the sheet was dragged to. */
  readonly plane: Plane;
  /** Pixel that the plane's origin falls on. */
  readonly x: number;
  readonly y: number;
  /** True bearing that points up, radians. */
  readonly up: number;
  readonly pxPerM: number;
  readonly width: number;
  readonly height: number;
}

export type Affine = readonly [number, number, number, number, number, number];

/** Canvas order (a, b, c, d, e, f): x' = a e + c n + e0, y' = b e + d n + f0, for points of `plane`. */
export function affine(camera: Camera, plane: Plane): Affine {
  // Planes at nearby latitudes differ by Mercator's scale only.
  const ratio = camera.plane.metresPerUnit / plane.metresPerUnit;
  const k = camera.pxPerM * ratio;
  const c = Math.cos(camera.up) * k;
  const s = Math.sin(camera.up) * k;
  const e0 = (plane.x0 - camera.plane.x0) * camera.plane.metresPerUnit * camera.pxPerM;
  const n0 = (camera.plane.y0 - plane.y0) * camera.plane.metresPerUnit * camera.pxPerM;
  const cu = Math.cos(camera.up);
  const su = Math.sin(camera.up);
  return [c, -s, -s, -c, camera.x + cu * e0 - su * n0, camera.y - su * e0 - cu * n0];
}

export function project(m: Affine, east: number, north: number): [number, number] {
  return [m[0] * east + m[2] * north + m[4], m[1] * east + m[3] * north + m[5]];
}

/** Place under a pixel. */
export function unproject(camera: Camera, x: number, y: number): { latDeg: number; lonDeg: number } {
  const dx = (x - camera.x) / camera.pxPerM;
  const dy = (y - camera.y) / camera.pxPerM;
  const cu = Math.cos(camera.up);
  const su = Math.sin(camera.up);
  const east = cu * dx - su * dy;
  const north = -su * dx - cu * dy;
  const unit = camera.plane.metresPerUnit;
  return { latDeg: latOf(camera.plane.y0 - north / unit), lonDeg: lonOf(camera.plane.x0 + east / unit) };
}

/** What the map library wants: the place in the pane's middle, its zoom and its bearing. */
export function mapView(camera: Camera): { center: [number, number]; zoom: number; bearing: number } {
  const middle = unproject(camera, camera.width / 2, camera.height / 2);
  // The library's world is 512 px wide at zoom 0.
  const zoom = Math.log2((camera.pxPerM * camera.plane.metresPerUnit) / 512);
  return { center: [middle.lonDeg, middle.latDeg], zoom, bearing: (camera.up * 180) / Math.PI };
}

export { mercatorX, mercatorY };
