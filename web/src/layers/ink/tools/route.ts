/** The route of the plan: a fine line of long strokes, a small ring at each waypoint, the leg being run a little stronger. */
import { at, ink, type View } from "../view";

export function drawRoute(view: View): void {
  const plan = view.state.reading?.plan;
  if (plan == null || plan.route.length < 2) return;
  const { ctx } = view;
  const places = plan.route.map(([lat, lon]) => at(view, lat, lon));
  ctx.setLineDash([16, 6]);
  for (let i = 1; i < places.length; i++) {
    const [p, q] = [places[i - 1], places[i]];
    if (p === undefined || q === undefined) continue;
    const isNow = plan.now?.leg === i;
    ctx.strokeStyle = ink(view, isNow ? "speak" : "whisper", isNow ? 0.7 : 0.9);
    ctx.lineWidth = isNow ? 1.5 : 1.1;
    ctx.beginPath();
    ctx.moveTo(p[0], p[1]);
    ctx.lineTo(q[0], q[1]);
    ctx.stroke();
  }
  ctx.setLineDash([]);
  ctx.strokeStyle = ink(view, "whisper");
  ctx.lineWidth = 1.2;
  for (const [x, y] of places) {
    ctx.beginPath();
    ctx.arc(x, y, 3, 0, 2 * Math.PI);
    ctx.stroke();
  }
}
