/**
 * Words on the sheet that never cover each other, nor the boat: who comes first stands beside its place; who finds no
 * room there and must be read is led aside by a line; who need not is silent.
 */
import type { Pane } from "../../map/panes";
import type { Rect } from "../../look/layout";

export interface Box {
  readonly x: number;
  readonly y: number;
  readonly w: number;
  readonly h: number;
}

/** Widths of words already measured: they are written again at every frame. */
const WIDTHS = new Map<string, number>();
const MOST_WIDTHS = 2000;

/** Where a text found room last time: it stays there while it can, so that no word hops from side to side. */
const STOOD = new Map<string, number>();

/** Width of a text in the font that is set, page pixels. */
export function widthOf(ctx: CanvasRenderingContext2D, text: string): number {
  const key = `${ctx.font}|${ctx.letterSpacing}|${text}`;
  let width = WIDTHS.get(key);
  if (width === undefined) {
    if (WIDTHS.size >= MOST_WIDTHS) WIDTHS.clear();
    width = ctx.measureText(text).width;
    // Not before the font has come: what stands in for it is of another width.
    if (document.fonts.status === "loaded") WIDTHS.set(key, width);
  }
  return width;
}

/** Distances and directions in which a line leads words aside. */
const LEADS_PX = [34, 62, 96, 140, 190] as const;
const DIRECTIONS = 12;

export class Labels {
  readonly #taken: Box[] = [];
  readonly #said = new Set<string>();
  readonly written: { readonly text: string; readonly box: Box }[] = [];

  constructor(private readonly width = Number.POSITIVE_INFINITY, private readonly height = Number.POSITIVE_INFINITY) {}

  /** True the first time a name is asked about: two echoes of one mark do not write its name twice. */
  isFirst(text: string): boolean {
    if (this.#said.has(text)) return false;
    this.#said.add(text);
    return true;
  }

  /** Keep words off a place. */
  block(x: number, y: number, w: number, h: number): void {
    this.#taken.push({ x, y, w, h });
  }

  /** Take a place for words that are drawn by someone else; false: there is no room. */
  take(text: string, box: Box): boolean {
    if (!this.isFree(box)) return false;
    this.#taken.push(box);
    this.written.push({ text, box });
    return true;
  }

  isFree(box: Box): boolean {
    // A word cut by the edge says nothing.
    if (box.x < 2 || box.y < 0 || box.x + box.w > this.width - 2 || box.y + box.h > this.height) return false;
    for (const t of this.#taken) {
      if (box.x < t.x + t.w && t.x < box.x + box.w && box.y < t.y + t.h && t.y < box.y + box.h) return false;
    }
    return true;
  }

  /**
   * Write beside a point, to the right, left, below or above, wherever there is room; `isLed`: else further off, with a
   * line that leads to it. Returns whether it was written.
   */
  write(
    ctx: CanvasRenderingContext2D, text: string, x: number, y: number, gap: number, sizePx: number, colour: string, halo: string,
    weight = 400, isLed = false,
  ): boolean {
    ctx.font = `${weight} ${sizePx}px "Atkinson Hyperlegible Next Variable", sans-serif`;
    const w = widthOf(ctx, text);
    const h = sizePx * 1.15;
    const found = this.#room(placesFor(x, y, w, h, gap, isLed), text);
    if (found === null) return false;
    const [box, isAside] = found;
    this.#taken.push(box);
    this.written.push({ text, box });
    if (isAside) lead(ctx, x, y, gap, box, colour, halo);
    ctx.textBaseline = "middle";
    ctx.textAlign = "left";
    ctx.lineJoin = "round";
    ctx.lineWidth = 4;
    ctx.strokeStyle = halo;
    ctx.strokeText(text, box.x, box.y + h / 2);
    ctx.fillStyle = colour;
    ctx.fillText(text, box.x, box.y + h / 2);
    return true;
  }

  #room(places: readonly Box[], text: string): [Box, boolean] | null {
    const stood = STOOD.get(text);
    const before = stood === undefined ? undefined : places[stood];
    if (stood !== undefined && before !== undefined && this.isFree(before)) return [before, stood >= 4];
    const i = places.findIndex((box) => this.isFree(box));
    const box = places[i];
    if (box === undefined) return null;
    if (STOOD.size >= MOST_WIDTHS) STOOD.clear();
    STOOD.set(text, i);
    return [box, i >= 4];
  }
}

function placesFor(x: number, y: number, w: number, h: number, gap: number, isLed: boolean): Box[] {
  const places: Box[] = [
    { x: x + gap, y: y - h / 2, w, h },
    { x: x - gap - w, y: y - h / 2, w, h },
    { x: x - w / 2, y: y + gap, w, h },
    { x: x - w / 2, y: y - gap - h, w, h },
  ];
  if (!isLed) return places;
  for (const far of LEADS_PX) {
    for (let k = 0; k < DIRECTIONS; k++) {
      // Upwards first on either side: ahead there is more room than below.
      const a = (k % 2 === 0 ? 1 : -1) * (k + 1) * (Math.PI / DIRECTIONS);
      const [px, py] = [x + (gap + far) * Math.sin(a), y - (gap + far) * Math.cos(a)];
      places.push({ x: Math.sin(a) >= 0 ? px : px - w, y: py - h / 2, w, h });
    }
  }
  return places;
}

/** A fine line from what is meant to the nearer end of its words. */
function lead(ctx: CanvasRenderingContext2D, x: number, y: number, gap: number, box: Box, colour: string, halo: string): void {
  const ex = Math.min(Math.max(x, box.x), box.x + box.w);
  const ey = Math.min(Math.max(y, box.y), box.y + box.h);
  const away = Math.hypot(ex - x, ey - y);
  if (away <= gap) return;
  const from: [number, number] = [x + ((ex - x) / away) * Math.min(gap, 14), y + ((ey - y) / away) * Math.min(gap, 14)];
  ctx.setLineDash([]);
  for (const [style, width] of [[halo, 3], [colour, 1]] as const) {
    ctx.strokeStyle = style;
    ctx.lineWidth = width;
    ctx.beginPath();
    ctx.moveTo(from[0], from[1]);
    ctx.lineTo(ex, ey);
    ctx.stroke();
  }
}

/** What stands over the picture in words or buttons of the page's own, and what a drawer covers. */
export function paneOfLabels(pane: Pane, picture: Rect): Labels {
  const labels = new Labels(pane.width, pane.height);
  const { free } = pane;
  const far = 1e5;
  labels.block(-far, -far, far + free.x, 2 * far);
  labels.block(free.x + free.width, -far, far, 2 * far);
  labels.block(-far, free.y + free.height, 2 * far, far);
  for (const id of ["word", "also", "tool", "back"]) {
    const words = document.getElementById(id)?.getBoundingClientRect();
    if (words === undefined || words.width === 0) continue;
    labels.block(words.left - pane.x - picture.x - 6, words.top - pane.y - picture.y - 6, words.width + 12, words.height + 10);
  }
  return labels;
}
