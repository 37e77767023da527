/**
 * The two lines that are ours. The seeing line runs round the boat where the smallest thing cared about would still be
 * held, with lashes on its outer side: out there an eye sees nothing small. The stopping line lies ahead of the bow
 * where the boat would lie stopped. While the second stays inside the first, the speed goes with what is seen.
 */
import { affine, project } from "../../geo/camera";
import { css } from "../../look/table";
import { sayDistance } from "../../geo/units";
import { rangeAlong } from "./ground";
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

export function drawSeeing(view: View, overrun: boolean): void {
  const { ctx, ground, camera } = view;
  if (ground.seeing.length < 3) return;
  const m = affine(camera, ground.plane);
  const points = ground.seeing.map(([e, n]) => project(m, e, n));
  ctx.globalAlpha = view.fade;
  ctx.strokeStyle = ink(view, "speak", 0.9);
  ctx.lineWidth = 1.6;
  ctx.beginPath();
  points.forEach(([x, y], i) => (i === 0 ? ctx.moveTo(x, y) : ctx.lineTo(x, y)));
  ctx.closePath();
  ctx.stroke();

  // Lashes outward, evenly spaced along the line whatever its points.
  const [bx, by] = at(view, view.boat.latDeg, view.boat.lonDeg);
  const length = overrun ? LASH_PX + 4 : LASH_PX;
  ctx.lineWidth = 1.2;
  ctx.beginPath();
  let carried = 0;
  for (let i = 0; i < points.length; i++) {
    const p = points[i];
    const q = points[(i + 1) % points.length];
    if (p === undefined || q === undefined) continue;
    const [dx, dy] = [q[0] - p[0], q[1] - p[1]];
    const span = Math.hypot(dx, dy);
    if (span < 1e-6) continue;
    for (let d = LASH_EVERY_PX - carried; d <= span; d += LASH_EVERY_PX) {
      const x = p[0] + (dx * d) / span;
      const y = p[1] + (dy * d) / span;
      if (x < -20 || y < -20 || x > camera.width + 20 || y > camera.height + 20) continue;
      const away = Math.hypot(x - bx, y - by);
      if (away < 1) continue;
      ctx.moveTo(x, y);
      ctx.lineTo(x + ((x - bx) / away) * length, y + ((y - by) / away) * length);
    }
    carried = (carried + span) % LASH_EVERY_PX;
  }
  ctx.stroke();
  ctx.globalAlpha = 1;
}

/** Once, in small words on the quarter: what the line with lashes means. */
export function nameSeeing(view: View): void {
  const { ctx, ground, camera } = view;
  if (ground.seeing.length < 3) return;
  const turn = (view.state.settings.hand === "left" ? 118 : -118) * (Math.PI / 180);
  const bearing = camera.up + turn;
  const east = ground.plane.east(view.boat.lonDeg);
  const north = ground.plane.north(view.boat.latDeg);
  const range = rangeAlong(ground.seeing, east, north, bearing);
  if (range === null) return;
  const [x, y] = project(affine(camera, ground.plane), east + range * Math.sin(bearing), north + range * Math.cos(bearing));
  view.labels.write(ctx, "small things are seen to here", x, y, 16, 13, css2(view, "whisper"), css(view.inks.sheet));
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
    const m = affine(camera, ground.plane);
    const east = ground.plane.east(view.boat.lonDeg);
    const north = ground.plane.north(view.boat.latDeg);
    const seen = rangeAlong(ground.seeing, east, north, way);
    void m;
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
  const end = angle + half;
  view.labels.write(
    ctx, `stops in ${sayDistance(stoppingM, view.unit === "nm" && stoppingM < 500 ? "metres" : view.unit)}`,
    x + r * Math.cos(end), y + r * Math.sin(end), 10, 14, overrun ? ink(view, "shout") : css2(view, "speak"), css(view.inks.sheet),
    overrun ? 700 : 400,
  );
}
