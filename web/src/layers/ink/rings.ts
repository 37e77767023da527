/** Range rings, each broken where it says its distance. */
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
    const shows = isOnSheet(view, lx, ly, -20) && ly < view.footTop;
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
    view.labels.block(lx - 30, ly - 22, 60, 44);
  }
}
