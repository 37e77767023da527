/** Range rings, each broken where it says its distance. */
import { threeFigures } from "../../geo/angles";
import { NM_M, ringLabel, ringStepNm } from "../../geo/units";
import { at, css2, ink, isOnSheet, type View } from "./view";

/** Where on a ring its distance stands, from up: clear of the heading line and of the thumb. */
const LABEL_AT = (-52 * Math.PI) / 180;
const LABEL_AT_OTHER = (52 * Math.PI) / 180;

export function drawRings(view: View): void {
  const { ctx, camera } = view;
  const [x, y] = at(view, view.boat.latDeg, view.boat.lonDeg);
  const step = ringStepNm(view.rangeNm) * NM_M;
  const reach = Math.hypot(camera.width, camera.height);
  const labelAt = view.state.settings.hand === "left" ? LABEL_AT_OTHER : LABEL_AT;
  ctx.lineWidth = 1;
  for (let k = 1; k <= 12 && k * step * camera.pxPerM < reach; k++) {
    const r = k * step * camera.pxPerM;
    ctx.strokeStyle = ink(view, "whisper", 0.75);
    const text = ringLabel(k * step, view.unit);
    const size = 13;
    ctx.font = `400 ${size}px "Atkinson Hyperlegible Next Variable", sans-serif`;
    const half = (ctx.measureText(text).width / 2 + 6) / r;
    const angle = labelAt - Math.PI / 2;
    const lx = x + r * Math.cos(angle);
    const ly = y + r * Math.sin(angle);
    const shows = isOnSheet(view, lx, ly, -20) && view.labels.take(text, { x: lx - 22, y: ly - 16, w: 44, h: 32 });
    ctx.beginPath();
    if (shows) ctx.arc(x, y, r, angle + half, angle - half + 2 * Math.PI);
    else ctx.arc(x, y, r, 0, 2 * Math.PI);
    ctx.stroke();
    if (!shows) continue;
    // The words lie along the ring.
    ctx.save();
    ctx.translate(lx, ly);
    ctx.rotate(angle + Math.PI / 2);
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.fillStyle = css2(view, "whisper");
    ctx.fillText(text, 0, 0);
    ctx.restore();
  }
}

const TICK_PX = 6;

/** Bearings round the boat, true: a tick each ten degrees, figures each thirty, a wedge at north. As large as fits ahead of her. */
export function drawBearings(view: View): void {
  const { ctx, free, camera } = view;
  const [x, y] = at(view, view.boat.latDeg, view.boat.lonDeg);
  const r = Math.min(y - free.y - 34, 0.5 * Math.min(free.width, 1.6 * free.height) - 26);
  if (r < 90 || !isOnSheet(view, x, y, r)) return;
  ctx.strokeStyle = ink(view, "whisper", 0.95);
  ctx.lineWidth = 1.2;
  ctx.beginPath();
  for (let deg = 0; deg < 360; deg += 10) {
    const a = (deg * Math.PI) / 180 - camera.up - Math.PI / 2;
    const long = deg % 30 === 0 ? 2 * TICK_PX : TICK_PX;
    ctx.moveTo(x + r * Math.cos(a), y + r * Math.sin(a));
    ctx.lineTo(x + (r - long) * Math.cos(a), y + (r - long) * Math.sin(a));
  }
  ctx.stroke();
  ctx.font = '400 12px "Atkinson Hyperlegible Next Variable", sans-serif';
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  for (let deg = 0; deg < 360; deg += 30) {
    const a = (deg * Math.PI) / 180 - camera.up - Math.PI / 2;
    const [tx, ty] = [x + (r + 13) * Math.cos(a), y + (r + 13) * Math.sin(a)];
    if (!isOnSheet(view, tx, ty, -14)) continue;
    const text = deg === 0 ? "N" : threeFigures(deg);
    if (!view.labels.take(text, { x: tx - 13, y: ty - 8, w: 26, h: 16 })) continue;
    ctx.fillStyle = css2(view, deg === 0 ? "speak" : "whisper");
    ctx.fillText(text, tx, ty);
  }
  // North by form as well: a wedge that points outward.
  const n = -camera.up - Math.PI / 2;
  ctx.fillStyle = ink(view, "speak", 0.9);
  ctx.beginPath();
  ctx.moveTo(x + r * Math.cos(n), y + r * Math.sin(n));
  for (const side of [-1, 1]) ctx.lineTo(x + (r - 13) * Math.cos(n) - side * 5 * Math.sin(n), y + (r - 13) * Math.sin(n) + side * 5 * Math.cos(n));
  ctx.closePath();
  ctx.fill();
}
