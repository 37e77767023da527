/** Which water the charts cover, drawn: each cell's outline, heavier the larger its scale, dashed where it is old. */
import { RAD } from "../../geo/angles";
import { mercatorX, mercatorY, WORLD_M } from "../../geo/mercator";
import { css, LOOKS, type Inks } from "../../look/table";
import { ageWords, scaleWords } from "../figures";
import type { CellCovered } from "../types";

/** As `NEAR_M` of `src/moonless/helm/setup/coverage.py`, a little over five miles. */
const NEAR_M = 10_000;

type Ring = readonly (readonly number[])[];

export interface Frame {
  readonly x0: number;
  readonly y0: number;
  readonly perPx: number;
  readonly width: number;
  readonly height: number;
}

function rings(cell: CellCovered): Ring[] {
  const { coverage } = cell;
  return coverage.type === "Polygon" ? [...coverage.coordinates] : coverage.coordinates.flat();
}

/** The part of the world that shows every cell and the boat, in Mercator's units. */
export function frameOf(cells: readonly CellCovered[], place: readonly [number, number] | null, width: number, height: number, margin = 26): Frame | null {
  const points = cells.flatMap((cell) => rings(cell).flat());
  const xs = points.map((p) => mercatorX(p[0] ?? 0));
  const ys = points.map((p) => mercatorY(p[1] ?? 0));
  if (place !== null) {
    xs.push(mercatorX(place[1]));
    ys.push(mercatorY(place[0]));
  }
  if (xs.length === 0) return null;
  if (place !== null) {
    // With the water about the boat, so that gaps near her are seen.
    const near = NEAR_M / (WORLD_M * Math.cos(place[0] * RAD));
    for (const s of [-near, near]) {
      xs.push(mercatorX(place[1]) + s);
      ys.push(mercatorY(place[0]) + s);
    }
  }
  const [left, right] = [Math.min(...xs), Math.max(...xs)];
  const [top, bottom] = [Math.min(...ys), Math.max(...ys)];
  const perPx = Math.max((right - left) / (width - 2 * margin), (bottom - top) / (height - 2 * margin), 1e-7);
  return { x0: (left + right) / 2 - (perPx * width) / 2, y0: (top + bottom) / 2 - (perPx * height) / 2, perPx, width, height };
}

/** Heavier for a larger scale: 1:5 000 three strokes' width, 1:1 000 000 a hair. */
export function weight(scale: number): number {
  return Math.min(Math.max(4.2 - Math.log10(scale / 2000) * 1.3, 0.8), 4);
}

/** The words at a cell: what a skipper asks of a chart. */
export function cellWords(cell: CellCovered): string[] {
  const edition = cell.update > 0 ? `edition ${cell.edition}, update ${cell.update}` : `edition ${cell.edition}`;
  const issued = cell.issued === "" ? "no date of issue" : `issued ${cell.issued}`;
  const old = cell.age_days === null || !cell.is_old ? "" : `, ${ageWords(cell.age_days)} old`;
  return [`${cell.name}  ${scaleWords(cell.scale)}`, `${edition}, ${issued}${old}`];
}

export class CoverMap {
  readonly element = document.createElement("canvas");

  constructor() {
    this.element.className = "covermap";
    this.element.setAttribute("role", "img");
  }

  draw(cells: readonly CellCovered[], place: readonly [number, number] | null, inks: Inks = LOOKS[(document.documentElement.dataset["look"] ?? "night") as keyof typeof LOOKS]): void {
    this.element.setAttribute("aria-label", cells.length === 0 ? "No chart is chosen yet" : `Coverage of ${cells.length} chart cells${place === null ? "" : ", and the boat"}`);
    const scale = Math.min(window.devicePixelRatio, 2);
    const [width, height] = [this.element.clientWidth, this.element.clientHeight];
    if (width === 0 || height === 0) return;
    this.element.width = Math.round(width * scale);
    this.element.height = Math.round(height * scale);
    const ctx = this.element.getContext("2d");
    if (ctx === null) return;
    ctx.scale(scale, scale);
    ctx.fillStyle = css(inks.sheet);
    ctx.fillRect(0, 0, width, height);
    const frame = frameOf(cells, place, width, height);
    if (frame === null) return;
    const at = (lon: number, lat: number): [number, number] => [(mercatorX(lon) - frame.x0) / frame.perPx, (mercatorY(lat) - frame.y0) / frame.perPx];
    ctx.lineJoin = "round";
    // The smaller scale first, so that the one that is used lies on top.
    for (const cell of [...cells].sort((a, b) => b.scale - a.scale)) {
      ctx.beginPath();
      for (const ring of rings(cell)) {
        ring.forEach((p, i) => {
          const [x, y] = at(p[0] ?? 0, p[1] ?? 0);
          if (i === 0) ctx.moveTo(x, y);
          else ctx.lineTo(x, y);
        });
        ctx.closePath();
      }
      ctx.fillStyle = css(inks.shoal);
      ctx.fill("evenodd");
      ctx.lineWidth = weight(cell.scale);
      ctx.strokeStyle = css(cell.is_old ? inks.whisper : inks.speak);
      ctx.setLineDash(cell.is_old ? [7, 5] : []);
      ctx.stroke();
    }
    ctx.setLineDash([]);
    this.#names(ctx, cells, at, inks, frame);
    if (place !== null) {
      const [x, y] = at(place[1], place[0]);
      ctx.strokeStyle = css(inks.shout);
      ctx.lineWidth = 2;
      ctx.beginPath();
      ctx.moveTo(x, y - 11);
      ctx.lineTo(x + 6, y + 8);
      ctx.lineTo(x, y + 4);
      ctx.lineTo(x - 6, y + 8);
      ctx.closePath();
      ctx.stroke();
      this.#near(ctx, place, x, y, inks, frame);
    }
  }

  /** A ring as far as the reading looks: where the charts end inside it, they end too soon. */
  #near(ctx: CanvasRenderingContext2D, place: readonly [number, number], x: number, y: number, inks: Inks, frame: Frame): void {
    const r = NEAR_M / (WORLD_M * Math.cos(place[0] * RAD) * frame.perPx);
    if (r < 12) return;
    ctx.strokeStyle = css(inks.whisper);
    ctx.lineWidth = 1.2;
    ctx.setLineDash([2, 5]);
    ctx.beginPath();
    ctx.arc(x, y, r, 0, 2 * Math.PI);
    ctx.stroke();
    ctx.setLineDash([]);
    ctx.fillStyle = css(inks.speak);
    ctx.font = "14px 'Atkinson Hyperlegible Next Variable', sans-serif";
    ctx.textBaseline = "bottom";
    ctx.textAlign = "center";
    ctx.fillText("5 miles", x, Math.max(y - r - 3, 16));
    ctx.textAlign = "start";
  }

  /** Names where there is room for them, the larger scale first. */
  #names(ctx: CanvasRenderingContext2D, cells: readonly CellCovered[], at: (lon: number, lat: number) => [number, number], inks: Inks, frame: Frame): void {
    const taken: [number, number, number, number][] = [];
    ctx.font = "14px 'Atkinson Hyperlegible Next Variable', sans-serif";
    ctx.textBaseline = "top";
    for (const cell of cells) {
      const points = rings(cell).flat();
      const xs = points.map((p) => at(p[0] ?? 0, p[1] ?? 0)[0]);
      const ys = points.map((p) => at(p[0] ?? 0, p[1] ?? 0)[1]);
      const [left, top, right, bottom] = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
      const text = `${cell.name}  ${scaleWords(cell.scale)}`;
      const wide = ctx.measureText(text).width;
      const inside = right - left > wide + 12 && bottom - top > 28;
      const x = Math.min(Math.max(inside ? left + 7 : (left + right) / 2 - wide / 2, 4), frame.width - wide - 4);
      const y = Math.min(inside ? top + 6 : bottom + 4, frame.height - 18);
      const box: [number, number, number, number] = [x - 3, y - 2, x + wide + 3, y + 18];
      if (taken.some(([l, t, r, b]) => box[0] < r && box[2] > l && box[1] < b && box[3] > t)) continue;
      taken.push(box);
      ctx.fillStyle = css(inks.speak);
      ctx.fillText(text, x, y);
    }
  }
}
