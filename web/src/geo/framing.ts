/**
 * Which part of the water is shown: the boat low on the sheet and lower the faster she goes, a range that holds what is
 * met, and a way back from wherever a finger dragged it. Everything is eased: no call ever makes the sheet jump.
 */
import { NM_M, RANGES_NM } from "./units";

export interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** Shares of the free height at which the boat lies, at rest and at speed. */
const AT_REST = 0.66;
const AT_SPEED = 0.8;
const FAST_KN = 15;
/** Off the middle when north is up, at speed. */
const ASIDE = 0.26;
const TAU_ANCHOR_S = 1.2;
const TAU_RANGE_S = 0.35;
/** Looked ahead over so long; own choice, twice the time in which another vessel is judged. */
const AHEAD_MIN = 6;
const LEAST_NM = 0.5;
const MOST_NM = 6;
/** Kept from the edge, so that a form and its words are whole. */
const EDGE_PX = 34;
/** Further out after so long, nearer only when it has been wanted for so long, s. */
const OUT_S = 1.5;
const IN_S = 25;

/** Pixels from the boat to the far edge of the range, from the whole pane: a drawer changes no scale. */
export function reachPx(width: number, height: number, isNorthUp: boolean): number {
  return Math.max(isNorthUp ? Math.min(width, height) / 2 - 12 : AT_REST * height - 20, 40);
}

/** Where the boat lies on what is free of the pane. `courseRad`: on the screen, clockwise from up; NaN unknown. */
export function anchorOf(free: Box, isNorthUp: boolean, sogKn: number, courseRad: number): [number, number] {
  const speed = Number.isNaN(sogKn) ? 0 : Math.min(Math.max(sogKn / FAST_KN, 0), 1);
  const middle = free.x + free.width / 2;
  if (!isNorthUp) return [middle, free.y + free.height * (AT_REST + (AT_SPEED - AT_REST) * speed)];
  const off = Number.isNaN(courseRad) ? 0 : ASIDE * speed * Math.min(free.width, free.height);
  return [middle - off * Math.sin(courseRad || 0), free.y + free.height / 2 + off * Math.cos(courseRad || 0)];
}

/** The least range in the series at which all of these offsets from the boat (metres right and down) lie on the free part. */
export function holdingIndex(from: number, anchor: readonly [number, number], free: Box, reach: number, offsets: readonly (readonly [number, number])[]): number {
  for (let i = from; i < RANGES_NM.length; i++) {
    const nm = RANGES_NM[i] ?? MOST_NM;
    if (nm > MOST_NM) return Math.max(from, i - 1);
    const k = reach / (nm * NM_M);
    const isHeld = offsets.every(([right, down]) => {
      const [x, y] = [anchor[0] + right * k, anchor[1] + down * k];
      return x > free.x + EDGE_PX && x < free.x + free.width - EDGE_PX && y > free.y + EDGE_PX && y < free.y + free.height - EDGE_PX;
    });
    if (isHeld) return i;
  }
  return RANGES_NM.length - 1;
}

/** The range for a speed: what is reached in six minutes, half a mile at the least. */
export function speedIndex(sogKn: number): number {
  const wanted = Math.max(LEAST_NM, ((Number.isNaN(sogKn) ? 0 : sogKn) * AHEAD_MIN) / 60);
  const found = RANGES_NM.findIndex((nm) => nm >= wanted - 0.01);
  return found < 0 ? RANGES_NM.length - 1 : found;
}

/** Chooses the range by itself: out when it has to be, in only when it has long been wanted. */
export class AutoRange {
  #wanted = -1;
  #sinceS = 0;

  /** The index from now on, given the one there is. */
  step(now: number, wanted: number, dtS: number): number {
    if (wanted === now) {
      this.#wanted = now;
      this.#sinceS = 0;
      return now;
    }
    const isOut = wanted > now;
    // A want that changes its mind within one direction goes on counting.
    if (this.#wanted === now || this.#wanted > now !== isOut) this.#sinceS = 0;
    this.#wanted = wanted;
    this.#sinceS += dtS;
    if (this.#sinceS < (isOut ? OUT_S : IN_S)) return now;
    this.#sinceS = 0;
    this.#wanted = wanted;
    return wanted;
  }
}

/** Eases where the boat lies and how many pixels a metre takes. */
export class Framing {
  #x = Number.NaN;
  #y = Number.NaN;
  #logRange = Number.NaN;
  /** How far a finger dragged the sheet, page pixels. */
  pan: [number, number] = [0, 0];

  get isPanned(): boolean {
    return this.pan[0] !== 0 || this.pan[1] !== 0;
  }

  step(anchor: readonly [number, number], rangeNm: number, reach: number, dtS: number): { x: number; y: number; pxPerM: number; isSettled: boolean } {
    const log = Math.log(rangeNm);
    if (Number.isNaN(this.#x)) {
      this.#x = anchor[0];
      this.#y = anchor[1];
      this.#logRange = log;
    }
    const k = 1 - Math.exp(-dtS / TAU_ANCHOR_S);
    this.#x = near(this.#x + (anchor[0] - this.#x) * k, anchor[0], 0.3);
    this.#y = near(this.#y + (anchor[1] - this.#y) * k, anchor[1], 0.3);
    this.#logRange = near(this.#logRange + (log - this.#logRange) * (1 - Math.exp(-dtS / TAU_RANGE_S)), log, 0.004);
    return { x: this.#x + this.pan[0], y: this.#y + this.pan[1], pxPerM: reach / (Math.exp(this.#logRange) * NM_M), isSettled: this.#logRange === log };
  }

  /** No easing from here: another layout of the panes. */
  jump(): void {
    this.#x = Number.NaN;
  }
}

function near(value: number, target: number, by: number): number {
  return Math.abs(value - target) < by ? target : value;
}
