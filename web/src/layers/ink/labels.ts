/** Words on the sheet that never cover each other: who comes first stands, who finds no room is silent. */
export interface Box {
  readonly x: number;
  readonly y: number;
  readonly w: number;
  readonly h: number;
}

/** Widths of words already measured: they are written again at every frame. */
const WIDTHS = new Map<string, number>();
const MOST_WIDTHS = 2000;

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

export class Labels {
  readonly #taken: Box[] = [];

  constructor(private readonly width = Number.POSITIVE_INFINITY, private readonly height = Number.POSITIVE_INFINITY) {}

  readonly #said = new Set<string>();

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

  isFree(box: Box): boolean {
    // A word cut by the edge says nothing.
    if (box.x < 2 || box.y < 0 || box.x + box.w > this.width - 2 || box.y + box.h > this.height) return false;
    for (const t of this.#taken) {
      if (box.x < t.x + t.w && t.x < box.x + box.w && box.y < t.y + t.h && t.y < box.y + box.h) return false;
    }
    return true;
  }

  /** Write beside a point, to the right, left, below or above, wherever there is room. Returns whether it was written. */
  write(
    ctx: CanvasRenderingContext2D, text: string, x: number, y: number, gap: number, sizePx: number, colour: string, halo: string,
    weight = 400, must = false,
  ): boolean {
    ctx.font = `${weight} ${sizePx}px "Atkinson Hyperlegible Next Variable", sans-serif`;
    const w = widthOf(ctx, text);
    const h = sizePx * 1.15;
    const tries: Box[] = [
      { x: x + gap, y: y - h / 2, w, h },
      { x: x - gap - w, y: y - h / 2, w, h },
      { x: x - w / 2, y: y + gap, w, h },
      { x: x - w / 2, y: y - gap - h, w, h },
    ];
    const found = tries.find((box) => this.isFree(box)) ?? (must ? tries[0] : undefined);
    if (found === undefined) return false;
    this.#taken.push(found);
    ctx.textBaseline = "middle";
    ctx.textAlign = "left";
    ctx.lineJoin = "round";
    ctx.lineWidth = 4;
    ctx.strokeStyle = halo;
    ctx.strokeText(text, found.x, found.y + h / 2);
    ctx.fillStyle = colour;
    ctx.fillText(text, found.x, found.y + h / 2);
    return true;
  }
}
