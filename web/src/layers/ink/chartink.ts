/** What the chart writes on the sheet: marks no echo has explained, names, bridges, soundings. All in a whisper. */
import { css } from "../../look/table";
import type { State } from "../../state/store";
import { at, css2, ink, isOnSheet, type View } from "./view";

/** Marks now held by an echo are drawn by it; their names come with it. */
function explained(state: State): Set<string> {
  const names = new Set<string>();
  for (const echo of state.reading?.echoes ?? []) if (echo.charted_as?.name != null) names.add(echo.charted_as.name);
  for (const mark of state.reading?.missing ?? []) if (mark.name !== null) names.add(mark.name);
  return names;
}

export function drawChartMarks(view: View): void {
  const chart = view.state.chart;
  if (chart === null) return;
  const { ctx } = view;
  const names = explained(view.state);
  ctx.lineWidth = 1;
  ctx.strokeStyle = ink(view, "whisper", 0.85);
  for (const mark of chart.marks) {
    if (mark.n !== null && names.has(mark.n)) continue;
    const [x, y] = at(view, mark.lat, mark.lon);
    if (!isOnSheet(view, x, y, 10)) continue;
    ctx.beginPath();
    ctx.moveTo(x, y - 4);
    ctx.lineTo(x, y + 4);
    ctx.moveTo(x - 4, y);
    ctx.lineTo(x + 4, y);
    if (mark.lit) ctx.moveTo(x + 3.4, y - 3.4), ctx.lineTo(x + 7, y - 7);
    ctx.stroke();
  }
}

export function nameChart(view: View): void {
  const chart = view.state.chart;
  if (chart === null || view.rangeNm > 6) return;
  const { ctx } = view;
  const halo = css(view.inks.sheet, 0.7);
  for (const bridge of chart.bridges) {
    const [x, y] = at(view, bridge.lat, bridge.lon);
    if (!isOnSheet(view, x, y) || y > view.footTop) continue;
    const clear = bridge.clear_m === null ? "clearance not charted" : `${bridge.clear_m} m clear`;
    view.labels.write(ctx, `${bridge.n ?? "bridge"}, ${clear}${bridge.opens ? ", opens" : ""}`, x, y, 14, 13, css2(view, "whisper"), halo);
  }
  const names = explained(view.state);
  if (view.rangeNm <= 3) {
    for (const mark of chart.marks) {
      if (mark.n === null || names.has(mark.n)) continue;
      const [x, y] = at(view, mark.lat, mark.lon);
      if (!isOnSheet(view, x, y, -8) || y > view.footTop || !view.labels.isFirst(mark.n)) continue;
      view.labels.write(ctx, mark.n, x, y, 9, 12, css2(view, "whisper"), halo);
    }
  }
}

export function drawSoundings(view: View): void {
  const chart = view.state.chart;
  if (chart === null || view.rangeNm > 1.5 || !view.hasChart) return;
  const { ctx } = view;
  for (const [lat, lon, depth] of chart.soundings) {
    const [x, y] = at(view, lat, lon);
    if (!isOnSheet(view, x, y, -12) || y > view.footTop) continue;
    const whole = depth >= 10 ? Math.round(depth) : Math.floor(depth);
    const text = depth >= 10 ? String(whole) : `${whole}.${Math.round((depth - whole) * 10)}`;
    const size = 11;
    ctx.font = `400 ${size}px "Atkinson Hyperlegible Next Variable", sans-serif`;
    const w = ctx.measureText(text).width;
    const box = { x: x - w / 2 - 4, y: y - 8, w: w + 8, h: 16 };
    if (!view.labels.isFree(box)) continue;
    // Few: the next one must stand well away.
    view.labels.block(x - 46, y - 36, 92, 72);
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.fillStyle = ink(view, "whisper");
    ctx.fillText(text, x, y);
  }
}
