/** What every stroke of the ink layer is drawn from. */
import { affine, project, type Affine, type Camera } from "../../geo/camera";
import type { Plane } from "../../geo/mercator";
import type { DistanceUnit } from "../../geo/units";
import type { Rect } from "../../look/layout";
import { css, type Inks } from "../../look/table";
import type { Things } from "../../map/things";
import type { State } from "../../state/store";
import type { Labels } from "./labels";
import type { Ground } from "./ground";

export interface Boat {
  readonly latDeg: number;
  readonly lonDeg: number;
  /** NaN: not known. */
  readonly headingDeg: number;
  readonly cogDeg: number;
  readonly sogKn: number;
}

export interface View {
  readonly ctx: CanvasRenderingContext2D;
  readonly camera: Camera;
  readonly inks: Inks;
  readonly state: State;
  readonly boat: Boat;
  readonly unit: DistanceUnit;
  readonly labels: Labels;
  readonly ground: Ground;
  /** How far small things are seen on each of some bearings from north, metres; empty: it cannot be said. */
  readonly seen: readonly number[];
  /** False: the link or the watch is lost, and what was read is the past. */
  readonly isNow: boolean;
  /** Strength of what was read: 1 now, less when it is old. */
  readonly fade: number;
  readonly rangeNm: number;
  /** Lower edge of what no drawer covers. */
  readonly footTop: number;
  /** What no drawer covers of the pane. */
  readonly free: Rect;
  readonly nowMs: number;
  readonly hasChart: boolean;
  readonly hasRadar: boolean;
  readonly things: Things;
  /** As the map counts it: one more is twice as near. */
  readonly zoom: number;
  /** Water shoaler than this is not for this boat; metres below chart datum. */
  readonly safetyM: number;
}

export type Strength = "whisper" | "speak" | "shout";

export function ink(view: View, strength: Strength, alpha = 1): string {
  return css(view.inks[strength], alpha);
}

export function at(view: View, latDeg: number, lonDeg: number): [number, number] {
  const plane = view.camera.plane;
  return project(affine(view.camera, plane), plane.east(lonDeg), plane.north(latDeg));
}

/** Pixel of a place given in units of the world's width. */
export function atUnit(view: View, place: { readonly ux: number; readonly uy: number }): [number, number] {
  const { plane } = view.camera;
  return project(affine(view.camera, plane), (place.ux - plane.x0) * plane.metresPerUnit, (plane.y0 - place.uy) * plane.metresPerUnit);
}

export function matrix(view: View, plane: Plane): DOMMatrix {
  const m: Affine = affine(view.camera, plane);
  return new DOMMatrix([m[0], m[1], m[2], m[3], m[4], m[5]]);
}

/** Canvas angle (clockwise from x right) of a true bearing on this sheet. */
export function screenAngle(view: View, bearingDeg: number): number {
  return (bearingDeg * Math.PI) / 180 - view.camera.up - Math.PI / 2;
}

export function isOnSheet(view: View, x: number, y: number, margin = 0): boolean {
  return x >= -margin && y >= -margin && x <= view.camera.width + margin && y <= view.camera.height + margin;
}

/** Ink for small words: a whisper must still be read, so words in it are a little stronger than its lines. */
export function css2(view: View, strength: Strength): string {
  if (strength !== "whisper") return css(view.inks[strength]);
  const [a, b] = [view.inks.whisper, view.inks.speak];
  return css([Math.round(a[0] * 0.6 + b[0] * 0.4), Math.round(a[1] * 0.6 + b[1] * 0.4), Math.round(a[2] * 0.6 + b[2] * 0.4)]);
}
