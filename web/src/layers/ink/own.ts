/** The boat: a hull open at the stern, her heading line, and where her course over the ground takes her. */
import { css } from "../../look/table";
import type { Reading } from "../../state/types";
import { KNOT_MPS } from "./echoes";
import { at, ink, screenAngle, type View } from "./view";

/** Ticks a minute apart along the course over the ground. */
const COURSE_MINUTES = 6;

export function drawHeading(view: View): void {
  const { ctx, camera, boat } = view;
  const [x, y] = at(view, boat.latDeg, boat.lonDeg);
  if (!Number.isNaN(boat.headingDeg)) {
    const a = screenAngle(view, boat.headingDeg);
    const reach = Math.hypot(camera.width, camera.height);
    ctx.strokeStyle = ink(view, "whisper", 0.9);
    ctx.lineWidth = 1;
    ctx.beginPath();
    ctx.moveTo(x + 16 * Math.cos(a), y + 16 * Math.sin(a));
    ctx.lineTo(x + reach * Math.cos(a), y + reach * Math.sin(a));
    ctx.stroke();
  }
  if (view.isNow && !Number.isNaN(boat.cogDeg) && boat.sogKn > 0.5) {
    const a = screenAngle(view, boat.cogDeg);
    const step = boat.sogKn * KNOT_MPS * 60 * camera.pxPerM;
    ctx.strokeStyle = ink(view, "speak", 0.8);
    ctx.lineWidth = 1.4;
    ctx.setLineDash([7, 5]);
    ctx.beginPath();
    ctx.moveTo(x + 16 * Math.cos(a), y + 16 * Math.sin(a));
    ctx.lineTo(x + COURSE_MINUTES * step * Math.cos(a), y + COURSE_MINUTES * step * Math.sin(a));
    ctx.stroke();
    ctx.setLineDash([]);
    if (step > 9) {
      ctx.beginPath();
      for (let k = 1; k <= COURSE_MINUTES; k++) {
        const t = k === 3 || k === 6 ? 7 : 4;
        const [tx, ty] = [x + k * step * Math.cos(a), y + k * step * Math.sin(a)];
        ctx.moveTo(tx - t * Math.sin(a), ty + t * Math.cos(a));
        ctx.lineTo(tx + t * Math.sin(a), ty - t * Math.cos(a));
      }
      ctx.stroke();
    }
  }
}

/** A gap in what is known of where she was is a gap in the line, seconds. */
const GAP_S = 25;

/** Where she has been: dots along her way, a bar across each minute; never a line that one could take for another boat's. */
export function drawOwnTrack(view: View): void {
  const points = view.state.reading?.own_track;
  if (points === undefined || points.length === 0) return;
  const { ctx, boat } = view;
  const all = [...points.map(([lat, lon, ago]) => ({ at: at(view, lat, lon), ago })), { at: at(view, boat.latDeg, boat.lonDeg), ago: 0 }];
  ctx.strokeStyle = ink(view, "speak", 0.65);
  ctx.lineWidth = 1.6;
  ctx.lineCap = "round";
  ctx.setLineDash([0.1, 5]);
  ctx.beginPath();
  all.forEach(({ at: [x, y], ago }, i) => {
    const before = all[i - 1];
    if (before === undefined || before.ago - ago > GAP_S) ctx.moveTo(x, y);
    else ctx.lineTo(x, y);
  });
  ctx.stroke();
  ctx.setLineDash([]);
  ctx.lineCap = "butt";
  ctx.lineWidth = 1.2;
  ctx.beginPath();
  for (let i = 1; i < all.length - 1; i++) {
    const [p, q] = [all[i - 1], all[i]];
    if (p === undefined || q === undefined || Math.floor(p.ago / 60) === Math.floor(q.ago / 60)) continue;
    const span = Math.hypot(q.at[0] - p.at[0], q.at[1] - p.at[1]);
    if (span < 2) continue;
    const [nx, ny] = [-(q.at[1] - p.at[1]) / span, (q.at[0] - p.at[0]) / span];
    ctx.moveTo(q.at[0] - 3.5 * nx, q.at[1] - 3.5 * ny);
    ctx.lineTo(q.at[0] + 3.5 * nx, q.at[1] + 3.5 * ny);
  }
  ctx.stroke();
}

/** Two sigma of a position that radar and chart carry on, in metres; null while the receiver gives it, or nothing does. */
export function doubtM(reading: Reading | null): number | null {
  const own = reading?.own;
  if (own?.position_from !== "radar and chart" || own.position_sigma_m == null) return null;
  return 2 * own.position_sigma_m;
}

/** The ring in which she lies while no receiver says where; never so small that the hull hides it. */
function drawDoubt(view: View, x: number, y: number, doubt: number): void {
  const { ctx, camera } = view;
  const r = Math.max(24, doubt * camera.pxPerM);
  ctx.strokeStyle = ink(view, "shout");
  ctx.lineWidth = 1.6;
  ctx.setLineDash([3, 5]);
  ctx.beginPath();
  ctx.arc(x, y, r, 0, 2 * Math.PI);
  ctx.stroke();
  const words = `no receiver: by radar and chart, within ${Math.max(5, Math.ceil(doubt / 5) * 5)} m`;
  view.labels.write(ctx, words, x, y, r + 6, 14, css(view.inks.shout), css(view.inks.sheet), 600, true);
}

export function drawBoat(view: View): void {
  const { ctx, boat } = view;
  const [x, y] = at(view, boat.latDeg, boat.lonDeg);
  const doubt = doubtM(view.state.reading);
  if (doubt !== null) drawDoubt(view, x, y, doubt);
  ctx.save();
  ctx.translate(x, y);
  ctx.lineJoin = "round";
  // A place that is reckoned is not drawn as one that is measured.
  ctx.setLineDash(doubt === null ? [] : [4, 4]);
  ctx.beginPath();
  if (Number.isNaN(boat.headingDeg)) {
    // Which way she points is not known, so no bow is drawn.
    ctx.arc(0, 0, 8, 0, 2 * Math.PI);
  } else {
    ctx.rotate(screenAngle(view, boat.headingDeg) + Math.PI / 2);
    ctx.moveTo(-5.5, 12);
    ctx.quadraticCurveTo(-8, -2, 0, -16);
    ctx.quadraticCurveTo(8, -2, 5.5, 12);
  }
  // A dark edge: she is told from what lies beneath her.
  ctx.lineWidth = 5;
  ctx.strokeStyle = css(view.inks.sheet);
  ctx.stroke();
  ctx.lineWidth = 2.4;
  ctx.strokeStyle = ink(view, "shout");
  ctx.stroke();
  ctx.restore();
}
