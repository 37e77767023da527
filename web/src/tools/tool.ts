/**
 * A tool is what the sheet is touched for, for a while: to measure, to draw a route, to try a manoeuvre. One at a time;
 * its controls and words come as a drawer, arrows and Enter are its keys, and it goes away by itself when nobody uses it.
 */
import type { View } from "../layers/ink/view";
import type { Place } from "../layers/ink/tools/measure";
import type { Blade } from "../panels/bar";

export interface Touch {
  /** Page pixels. */
  readonly x: number;
  readonly y: number;
  readonly place: Place;
}

/** What a tool says of itself, and whether it is a warning. */
export interface ToolWords {
  readonly text: string;
  readonly isLoud: boolean;
}

export interface Tool {
  /** On the thumb's ring. */
  readonly name: string;
  /** Seconds without a touch or key after which it goes away. */
  readonly restS: number;
  /** The sheet stands still under the finger while this is on. */
  readonly holdsView: boolean;
  /** What is read is drawn faint meanwhile: the tool shows what is not so. */
  readonly fadesPresent: boolean;
  enter(): void;
  leave(): void;
  blades(): readonly Blade[];
  says(): ToolWords;
  down(touch: Touch): void;
  move(touch: Touch): void;
  up(touch: Touch): void;
  /** Take a key; false when it is not the tool's. `step`: page pixels or degrees finer with Shift. */
  key(key: string, isFine: boolean): boolean;
  draw(view: View): void;
}

export interface ToolSheet {
  /** Place under a page pixel; null off the sheet. */
  placeAt(x: number, y: number): Place | null;
  /** Page pixel of a place. */
  pixelOf(latDeg: number, lonDeg: number): [number, number] | null;
  isDirty: boolean;
}

/** Own choice: a thumb in a glove lands within this of what it means, page pixels. */
export const REACH_PX = 34;
export const STEP_PX = 22;
const FINE_PX = 4;

const ARROWS: Readonly<Record<string, readonly [number, number]>> = {
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
};

/** The place an arrow moves to from another, on the sheet as it lies now; null when the key is no arrow. */
export function stepped(sheet: ToolSheet, from: Place, key: string, isFine: boolean): Place | null {
  const arrow = ARROWS[key];
  const pixel = arrow === undefined ? null : sheet.pixelOf(from.latDeg, from.lonDeg);
  if (arrow === undefined || pixel === null) return null;
  const step = isFine ? FINE_PX : STEP_PX;
  const [x, y] = [pixel[0] + arrow[0] * step, pixel[1] + arrow[1] * step];
  return sheet.placeAt(Math.min(Math.max(x, 4), window.innerWidth - 4), Math.min(Math.max(y, 4), window.innerHeight - 4));
}
