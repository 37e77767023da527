/** A thread from the sentence at the foot to what it speaks of: no one has to look for it. */
import { at, ink, isOnSheet, type View } from "./view";

const STROKES = 28;

export function drawThread(view: View, echoId: number | null, urgency: number): void {
  if (echoId === null) return;
  const echo = view.state.reading?.echoes.find((e) => e.id === echoId);
  if (echo === undefined) return;
  const { ctx, camera } = view;
  const [x, y] = at(view, echo.lat, echo.lon);
  const strength = urgency >= 3 ? "shout" : "speak";
  // It leaves the foot on the side of what it leads to, clear of the boat and her heading line in the middle.
  const side = x < camera.width / 2 ? -1 : 1;
  const from: [number, number] = [camera.width / 2 + side * Math.min(200, camera.width * 0.3), view.footTop + 6];
  ctx.strokeStyle = ink(view, strength, 0.75);
  ctx.lineWidth = urgency >= 3 ? 1.8 : 1.1;
  const shown = isOnSheet(view, x, y) && y < view.footTop;
  // Off the sheet, the thread still leads the eye to the edge it lies behind.
  const ex = Math.min(Math.max(x, 14), camera.width - 14);
  const ey = Math.min(Math.max(y, 14), view.footTop - 8);
  const away = Math.hypot(ex - from[0], ey - from[1]);
  if (away < 40) return;
  const gap = shown ? 24 : 0;
  const [cx, cy] = [from[0] + side * 30, ey + (from[1] - ey) * 0.42];
  const last = Math.hypot(ex - cx, ey - cy) || 1;
  const tx = ex - ((ex - cx) / last) * gap;
  const ty = ey - ((ey - cy) / last) * gap;
  // It swells towards what it leads to: no vessel's line, no track and no chart line does.
  const full = ctx.lineWidth;
  let [px, py] = from;
  for (let k = 1; k <= STROKES; k++) {
    const t = k / STROKES;
    const x2 = (1 - t) ** 2 * from[0] + 2 * t * (1 - t) * cx + t * t * tx;
    const y2 = (1 - t) ** 2 * from[1] + 2 * t * (1 - t) * cy + t * t * ty;
    ctx.lineWidth = full * (0.35 + 1.5 * t * t);
    ctx.beginPath();
    ctx.moveTo(px, py);
    ctx.lineTo(x2, y2);
    ctx.stroke();
    [px, py] = [x2, y2];
  }
  ctx.lineWidth = full;
  ctx.beginPath();
  if (shown) ctx.arc(ex, ey, gap, 0, 2 * Math.PI);
  else ctx.arc(ex, ey, 4, 0, 2 * Math.PI);
  ctx.stroke();
}
