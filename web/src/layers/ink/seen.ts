/** How far small things are seen, bearing by bearing, carried smoothly from turn to turn: the shade never flickers. */
import type { Ground } from "./ground";
import { rangeAlong, STEPS } from "./ground";

/** Nearer at once, farther only as it lasts: the cautious way round. Seconds. */
const SHRINKS_S = 1.5;
const GROWS_S = 7;

export class Seen {
  #ranges: number[] = [];
  #of: Ground | null = null;
  #target: number[] = [];

  /** Metres on each of `STEPS` bearings from north, eased to this moment; empty: it cannot be said. */
  step(ground: Ground, east: number, north: number, dtS: number): readonly number[] {
    if (ground !== this.#of) {
      this.#of = ground;
      this.#target = rangesOf(ground.seeing, east, north);
    }
    if (this.#target.length === 0 || this.#ranges.length === 0) this.#ranges = [...this.#target];
    else {
      const [shrink, grow] = [1 - Math.exp(-dtS / SHRINKS_S), 1 - Math.exp(-dtS / GROWS_S)];
      this.#ranges = this.#ranges.map((range, k) => {
        const target = this.#target[k] ?? range;
        return range + (target - range) * (target < range ? shrink : grow);
      });
    }
    return this.#ranges;
  }
}

function rangesOf(line: readonly (readonly [number, number])[], east: number, north: number): number[] {
  if (line.length < 3) return [];
  const ranges: number[] = [];
  for (let k = 0; k < STEPS; k++) {
    const found = rangeAlong(line, east, north, (k * 2 * Math.PI) / STEPS);
    if (found === null) return [];
    ranges.push(found);
  }
  return ranges;
}

/** Range on a bearing, radians, between the steps. */
export function rangeOn(ranges: readonly number[], bearing: number): number {
  const n = ranges.length;
  const turn = (((bearing / (2 * Math.PI)) % 1) + 1) % 1;
  const at = turn * n;
  const k = Math.floor(at);
  const share = at - k;
  return (ranges[k % n] ?? 0) * (1 - share) + (ranges[(k + 1) % n] ?? 0) * share;
}
