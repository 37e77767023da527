/** Range and bearing by finger, and parallel index lines. */
import { affine, project } from "../../../geo/camera";
import { threeFigures } from "../../../geo/angles";
import { rangeBearing } from "../../../geo/mercator";
import { sayDistance } from "../../../geo/units";
import { css } from "../../../look/table";
import { at, css2, ink, type View } from "../view";

export interface Place {
  readonly latDeg: number;
  readonly lonDeg: number;
}

/** From a place (null: the boat) to another. */
export interface Measure {
  readonly from: Place | null;
  readonly to: Place | null;
}

export function drawMeasure(view: View, measure: Measure | null): void {
  if (measure?.to == null) return;
  const { ctx } = view;
  const from = measure.from ?? view.boat;
  const [x1, y1] = at(view, from.latDeg, from.lonDeg);
  const [x2, y2] = at(view, measure.to.latDeg, measure.to.lonDeg);
  ctx.strokeStyle = ink(view, "speak");
  ctx.lineWidth = 1.4;
  ctx.setLineDash([10, 4, 2, 4]);
  ctx.beginPath();
  ctx.moveTo(x1, y1);
  ctx.lineTo(x2, y2);
  ctx.stroke();
  ctx.setLineDash([]);
  for (const [x, y] of [[x1, y1], [x2, y2]] as const) {
    ctx.beginPath();
    ctx.moveTo(x - 7, y);
    ctx.lineTo(x + 7, y);
    ctx.moveTo(x, y - 7);
    ctx.lineTo(x, y + 7);
    ctx.stroke();
  }
  const { rangeM, bearingDeg } = rangeBearing(from.latDeg, from.lonDeg, measure.to.latDeg, measure.to.lonDeg);
  view.labels.write(
    ctx, `${sayDistance(rangeM, view.unit)}, ${threeFigures(bearingDeg)}°`, x2, y2, 14, 17, css2(view, "speak"), css(view.inks.sheet), 600, true,
  );
}

/** A line parallel to a bearing at a distance to one side of the boat, and, where both are wanted, its twin on the other. */
export function drawParallel(view: View): void {
  const line = view.state.settings.parallel;
  if (line === null) return;
  const { ctx, camera, boat } = view;
  const plane = camera.plane;
  const m = affine(camera, plane);
  const b = (line.bearingDeg * Math.PI) / 180;
  const reach = Math.hypot(camera.width, camera.height) / camera.pxPerM;
  for (const side of line.isBoth === false ? [1] : [-1, 1]) {
    const e = plane.east(boat.lonDeg) + side * line.offM * Math.cos(b);
    const n = plane.north(boat.latDeg) - side * line.offM * Math.sin(b);
    const p = project(m, e - reach * Math.sin(b), n - reach * Math.cos(b));
    const q = project(m, e + reach * Math.sin(b), n + reach * Math.cos(b));
    // Set for each: the words beside the one before changed it.
    ctx.strokeStyle = ink(view, "speak", 0.7);
    ctx.lineWidth = 1.2;
    ctx.setLineDash([18, 8]);
    ctx.beginPath();
    ctx.moveTo(p[0], p[1]);
    ctx.lineTo(q[0], q[1]);
    ctx.stroke();
    ctx.setLineDash([]);
    const [x, y] = project(m, plane.east(boat.lonDeg) + side * line.offM * Math.cos(b), plane.north(boat.latDeg) - side * line.offM * Math.sin(b));
    view.labels.write(ctx, sayDistance(Math.abs(line.offM), view.unit), x, y, 8, 13, css2(view, "speak"), css(view.inks.sheet));
  }
}
