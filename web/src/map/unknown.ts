/** What shows where no chart is: cross-hatching, unlike the single hatching of hidden water. */
import { css, type Inks, type Rgb } from "../look/table";

/** Pixels from line to line along either axis: some fifteen across the lines. */
const PITCH_PX = 21;

/** A name that says its own inks, so that a map which asks for it can be given it. */
export function unknownName(inks: Inks): string {
  return `unknown ${inks.sheet.join(" ")} ${inks.contour.join(" ")}`;
}

export interface Tile {
  readonly width: number;
  readonly height: number;
  readonly data: Uint8ClampedArray;
}

/** The tile of that name, opaque; null: it is none of ours. */
export function unknownTile(name: string): Tile | null {
  const found = /^unknown (\d+) (\d+) (\d+) (\d+) (\d+) (\d+)$/.exec(name);
  if (found === null) return null;
  const [a, b, c, d, e, f] = found.slice(1).map(Number) as [number, number, number, number, number, number];
  const [sheet, line]: [Rgb, Rgb] = [[a, b, c], [d, e, f]];
  const tile = { width: PITCH_PX, height: PITCH_PX, data: new Uint8ClampedArray(4 * PITCH_PX * PITCH_PX) };
  for (let y = 0; y < PITCH_PX; y++) {
    for (let x = 0; x < PITCH_PX; x++) {
      // A line a pixel wide, smoothed: what of it lies in this pixel.
      const inLine = Math.max(0, 1 - Math.min(offLine(x - y), offLine(x + y)));
      tile.data.set([...sheet.map((of, i) => Math.round(of + inLine * ((line[i] ?? 0) - of))), 255], 4 * (y * PITCH_PX + x));
    }
  }
  return tile;
}

/** Pixels from a diagonal of the lattice, across it. */
function offLine(along: number): number {
  const rest = ((along % PITCH_PX) + PITCH_PX) % PITCH_PX;
  return Math.min(rest, PITCH_PX - rest) / Math.SQRT2;
}

/** The same for a page's element, before any map draws there. */
export function unknownGround(inks: Inks, { style }: HTMLElement): void {
  const line = `transparent 0 14px, ${css(inks.contour)} 14px 15px`;
  style.backgroundColor = css(inks.sheet);
  style.backgroundImage = `repeating-linear-gradient(45deg, ${line}), repeating-linear-gradient(-45deg, ${line})`;
}
