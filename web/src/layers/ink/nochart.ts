/** Where the chart ends it is said in words, beside the hatching that shows through the map there. */
import type { ChartData } from "../../state/types";
import { unproject } from "../../geo/camera";
import { css } from "../../look/table";
import { css2, type View } from "./view";

/** Places on the sheet that are asked, as shares of its width and height. */
const ASKED: readonly (readonly [number, number])[] = [[0.5, 0.3], [0.2, 0.2], [0.8, 0.2], [0.2, 0.55], [0.8, 0.55]];

export function nameNoChart(view: View): void {
  const { chart } = view.state;
  for (const [fx, fy] of chart === null ? ASKED.slice(0, 1) : ASKED) {
    const x = fx * view.camera.width;
    const y = fy * Math.min(view.footTop, view.camera.height);
    const { latDeg, lonDeg } = unproject(view.camera, x, y);
    if (isCharted(chart, latDeg, lonDeg)) continue;
    view.labels.write(view.ctx, "no chart", x, y, -20, 13, css2(view, "whisper"), css(view.inks.sheet));
  }
}

/** Whether any cell covers a place; the outline is good to some twenty metres. */
export function isCharted(chart: ChartData | null, latDeg: number, lonDeg: number): boolean {
  const shape = chart?.coverage;
  const polygons = shape?.type === "Polygon" ? [shape.coordinates] : shape?.type === "MultiPolygon" ? shape.coordinates : [];
  return polygons.some((rings) => rings.reduce((inside, ring) => inside !== isInside(ring, lonDeg, latDeg), false));
}

function isInside(ring: readonly GeoJSON.Position[], x: number, y: number): boolean {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const [xi, yi] = [ring[i]?.[0] ?? 0, ring[i]?.[1] ?? 0];
    const [xj, yj] = [ring[j]?.[0] ?? 0, ring[j]?.[1] ?? 0];
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}
