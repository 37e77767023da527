/** Water that the radar cannot see: diagonal hatching and its cause, never plain. */
import { project, affine } from "../../geo/camera";
import { css } from "../../look/table";
import { css2, isOnSheet, matrix, type View } from "./view";

const WORD: Readonly<Record<string, string>> = {
  land: "hidden by land",
  vessel: "hidden by a vessel",
  horizon: "below the horizon",
  "near range": "too near to see",
  "blind sector": "blind sector",
  clutter: "lost in clutter",
};

let pattern: { key: string; made: CanvasPattern } | undefined;

function hatch(view: View): CanvasPattern | null {
  const key = css(view.inks.whisper);
  if (pattern?.key === key) return pattern.made;
  const size = 14;
  const tile = document.createElement("canvas");
  tile.width = size;
  tile.height = size;
  const ctx = tile.getContext("2d");
  if (ctx === null) return null;
  ctx.strokeStyle = css(view.inks.whisper, 0.62);
  ctx.lineWidth = 1.1;
  // Three strokes, so that the corners join when tiled.
  for (const shift of [-size, 0, size]) {
    ctx.beginPath();
    ctx.moveTo(shift - 1, size + 1);
    ctx.lineTo(shift + size + 1, -1);
    ctx.stroke();
  }
  const made = view.ctx.createPattern(tile, "repeat");
  if (made !== null) pattern = { key, made };
  return made;
}

export function drawHidden(view: View): void {
  const { ctx, ground } = view;
  const fill = hatch(view);
  if (fill === null || ground.hidden.length === 0) return;
  const m = matrix(view, ground.plane);
  ctx.globalAlpha = view.fade;
  ctx.fillStyle = fill;
  for (const shape of ground.hidden) {
    const onSheet = new Path2D();
    onSheet.addPath(shape.path, m);
    ctx.fill(onSheet, "evenodd");
  }
  ctx.globalAlpha = 1;
}

/** The causes, after all words that matter more. */
export function nameHidden(view: View): void {
  const { ctx, ground, camera } = view;
  const m = affine(camera, ground.plane);
  const bySize = [...ground.hidden].sort((a, b) => b.areaM2 - a.areaM2).slice(0, 10);
  for (const shape of bySize) {
    if (shape.areaM2 * camera.pxPerM ** 2 < 9000) continue;
    const [x, y] = project(m, shape.east, shape.north);
    if (!isOnSheet(view, x, y, -30) || y > view.footTop - 20) continue;
    view.labels.write(ctx, WORD[shape.by] ?? `hidden: ${shape.by}`, x, y, -40, 13, css2(view, "whisper"), css(view.inks.sheet));
  }
}
