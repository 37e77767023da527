/**
 * The two lines that are ours. What is not seen is shaded: hatching that thickens where the smallest thing cared about
 * would no longer be held, and ahead, where it matters, a line with lashes on its outer side. The stopping line lies
 * where the boat would lie stopped. While the second stays inside the first, the speed goes with what is seen.
 */
import { css } from "../../look/table";
import { sayDistance } from "../../geo/units";
import { rangeAlong } from "./ground";
import { rangeOn } from "./seen";
import { at, css2, ink, screenAngle, type View } from "./view";

const LASH_EVERY_PX = 15;
const LASH_PX = 8;
/** The stopping line spans this to either side of the way the boat goes. */
const HALF_SPAN = (9 * Math.PI) / 180;

/** Whether the stopping line crosses the seeing line anywhere in its span; null when either is not known. */
export function isOverrun(
  line: readonly (readonly [number, number])[], east: number, north: number, stoppingM: number | null, courseRad: number,
): boolean | null {
  if (stoppingM === null || line.length < 3 || Number.isNaN(courseRad)) return null;
  for (let k = -2; k <= 2; k++) {
    const range = rangeAlong(line, east, north, courseRad + (k * HALF_SPAN) / 2);
    if (range !== null && stoppingM > range) return true;
  }
  return false;
}

/** The way the boat goes: over the ground when it makes way, else where it points. Radians true; NaN unknown. */
export function wayAhead(view: View): number {
  const { headingDeg, cogDeg, sogKn } = view.boat;
  const deg = sogKn > 1 && !Number.isNaN(cogDeg) ? cogDeg : headingDeg;
  return (deg * Math.PI) / 180;
}

/** Hatching: as that of hidden water, so that the strokes of both fall together. */
const HATCH_PX = 14;
const SAMPLE_PX = 12;
/** Seen wholly within this share of the range, not at all beyond that one. */
const SOFT: readonly [number, number] = [0.9, 1.25];
const LEVELS = 4;
const STRONGEST = 0.42;

/** Shade what is not seen: strokes that begin faint at the edge and are whole further out. */
export function drawUnseen(view: View): void {
  const { ctx, camera, seen } = view;
  if (seen.length === 0) return;
  const [bx, by] = at(view, view.boat.latDeg, view.boat.lonDeg);
  const { width, height } = camera;
  const levels = Array.from({ length: LEVELS }, (): number[] => []);
  for (let c = HATCH_PX * Math.ceil(1 / HATCH_PX); c < width + height; c += HATCH_PX) {
    // A stroke rises to the right: x + y = c.
    const [x0, x1] = [Math.max(0, c - height), Math.min(width, c)];
    let from = x0;
    let level = -1;
    for (let x = x0; ; x += SAMPLE_PX) {
      const end = x >= x1;
      const px = end ? x1 : x;
      const now = end ? -1 : levelAt(seen, camera, px - bx, c - px - by);
      if (now !== level) {
        if (level >= 0 && px > from) levels[level]?.push(from, c - from, px, c - px);
        level = now;
        from = px;
      }
      if (end) break;
    }
  }
  ctx.globalAlpha = view.fade;
  ctx.lineWidth = 1;
  levels.forEach((strokes, i) => {
    ctx.strokeStyle = ink(view, "whisper", (STRONGEST * (i + 1)) / LEVELS);
    ctx.beginPath();
    for (let k = 0; k < strokes.length; k += 4) {
      ctx.moveTo(strokes[k] ?? 0, strokes[k + 1] ?? 0);
      ctx.lineTo(strokes[k + 2] ?? 0, strokes[k + 3] ?? 0);
    }
    ctx.stroke();
  });
  ctx.globalAlpha = 1;
}

/** How thick the shade is there, -1 none; pixels from the boat. */
function levelAt(seen: readonly number[], camera: View["camera"], dx: number, dy: number): number {
  const range = rangeOn(seen, Math.atan2(dx, -dy) + camera.up) * camera.pxPerM;
  const share = (Math.hypot(dx, dy) / Math.max(range, 1) - SOFT[0]) / (SOFT[1] - SOFT[0]);
  return share <= 0 ? -1 : Math.min(Math.floor(share * LEVELS), LEVELS - 1);
}

/** Ahead, to either side of the way she goes. */
const AHEAD = (42 * Math.PI) / 180;
/** Where the range leaps, the line is broken: no stroke runs to the middle. Pixels outward or inward for one along. */
const LEAP = 1.1;

export function drawSeeing(view: View, overrun: boolean): void {
  const { ctx, camera, seen } = view;
  const way = wayAhead(view);
  if (seen.length === 0 || Number.isNaN(way)) return;
  const [bx, by] = at(view, view.boat.latDeg, view.boat.lonDeg);
  ctx.globalAlpha = view.fade;
  ctx.strokeStyle = ink(view, overrun ? "shout" : "speak", 0.9);
  ctx.lineWidth = 1.8;
  const lash = overrun ? LASH_PX + 4 : LASH_PX;
  ctx.beginPath();
  for (const run of runsAhead(seen, way, camera.pxPerM)) {
    let carried = 0;
    run.forEach(([a, r], i) => {
      const angle = a - camera.up - Math.PI / 2;
      const [ux, uy] = [Math.cos(angle), Math.sin(angle)];
      if (i === 0) ctx.moveTo(bx + r * ux, by + r * uy);
      else ctx.lineTo(bx + r * ux, by + r * uy);
      carried += r * STEP;
      if (carried < LASH_EVERY_PX) return;
      carried = 0;
      ctx.lineTo(bx + (r + lash) * ux, by + (r + lash) * uy);
      ctx.moveTo(bx + r * ux, by + r * uy);
    });
  }
  ctx.stroke();
  ctx.globalAlpha = 1;
}

const STEP = Math.PI / 180;
/** A run of fewer degrees is no line but a scratch. */
const LEAST_STEPS = 6;

/** The line in pieces that nowhere run to the middle: bearing and range in pixels of each point. */
export function runsAhead(seen: readonly number[], way: number, pxPerM: number): (readonly [number, number])[][] {
  const runs: (readonly [number, number])[][] = [[]];
  for (let a = way - AHEAD; a <= way + AHEAD; a += STEP) {
    const r = rangeOn(seen, a) * pxPerM;
    const before = runs.at(-1)?.at(-1);
    if (before !== undefined && Math.abs(r - before[1]) > LEAP * r * STEP) runs.push([]);
    runs.at(-1)?.push([a, r]);
  }
  return runs.filter((run) => run.length >= LEAST_STEPS);
}

/** Once, in small words at the line's end: what it means. */
export function nameSeeing(view: View): void {
  const { ctx, camera, seen } = view;
  const way = wayAhead(view);
  if (seen.length === 0 || Number.isNaN(way)) return;
  const [bx, by] = at(view, view.boat.latDeg, view.boat.lonDeg);
  const a = way + (view.state.settings.hand === "left" ? 1 : -1) * (AHEAD - 0.06);
  const r = rangeOn(seen, a) * camera.pxPerM;
  const angle = a - camera.up - Math.PI / 2;
  view.labels.write(ctx, "small things are seen to here", bx + r * Math.cos(angle), by + r * Math.sin(angle), 14, 13, css2(view, "whisper"), css(view.inks.sheet));
}

export function drawStopping(view: View, overrun: boolean): void {
  const { ctx, camera, ground } = view;
  const stoppingM = view.state.reading?.stopping_m ?? null;
  const way = wayAhead(view);
  if (stoppingM === null || Number.isNaN(way)) return;
  const [x, y] = at(view, view.boat.latDeg, view.boat.lonDeg);
  const r = stoppingM * camera.pxPerM;
  if (r < 6) return;
  const angle = screenAngle(view, (way * 180) / Math.PI);
  const half = Math.max(HALF_SPAN, Math.min(26 / r, 0.6));
  ctx.globalAlpha = view.fade;
  ctx.lineCap = "round";
  // Two rails from the bow to where she stops, then the line itself.
  ctx.strokeStyle = ink(view, overrun ? "shout" : "speak", overrun ? 0.9 : 0.55);
  ctx.lineWidth = overrun ? 2 : 1;
  ctx.beginPath();
  for (const side of [-1, 1]) {
    const near = 18 / r;
    ctx.moveTo(x + near * r * Math.cos(angle + side * 0.3), y + near * r * Math.sin(angle + side * 0.3));
    ctx.lineTo(x + r * Math.cos(angle + side * half), y + r * Math.sin(angle + side * half));
  }
  ctx.stroke();
  ctx.strokeStyle = ink(view, overrun ? "shout" : "speak");
  ctx.lineWidth = overrun ? 8 : 4.5;
  ctx.beginPath();
  ctx.arc(x, y, r, angle - half, angle + half);
  ctx.stroke();
  if (overrun) {
    // The stretch run blind: from where seeing ends to where she stops.
    const east = ground.plane.east(view.boat.lonDeg);
    const north = ground.plane.north(view.boat.latDeg);
    const seen = rangeAlong(ground.seeing, east, north, way);
    if (seen !== null && seen < stoppingM) {
      ctx.lineWidth = 2.5;
      ctx.beginPath();
      for (let d = seen * camera.pxPerM + 6; d < r - 8; d += 11) {
        const w = half * 0.8;
        ctx.moveTo(x + d * Math.cos(angle - w), y + d * Math.sin(angle - w));
        ctx.lineTo(x + (d + 7) * Math.cos(angle), y + (d + 7) * Math.sin(angle));
        ctx.lineTo(x + d * Math.cos(angle + w), y + d * Math.sin(angle + w));
      }
      ctx.stroke();
    }
  }
  ctx.lineCap = "butt";
  ctx.globalAlpha = 1;
}

export function nameStopping(view: View, overrun: boolean): void {
  const stoppingM = view.state.reading?.stopping_m ?? null;
  const way = wayAhead(view);
  if (stoppingM === null || Number.isNaN(way)) return;
  const r = stoppingM * view.camera.pxPerM;
  if (r < 6) return;
  const [x, y] = at(view, view.boat.latDeg, view.boat.lonDeg);
  const end = screenAngle(view, (way * 180) / Math.PI) + Math.max(HALF_SPAN, Math.min(26 / r, 0.6));
  view.labels.write(
    view.ctx, `stops in ${sayDistance(stoppingM, view.unit)}`, x + r * Math.cos(end), y + r * Math.sin(end), 10, 14,
    overrun ? ink(view, "shout") : css2(view, "speak"), css(view.inks.sheet), overrun ? 700 : 400,
  );
}
