/** A route being drawn: points, and every step back. Pure, so that it can be tested. */
import { rangeBearing } from "../geo/mercator";
import type { Place } from "../layers/ink/tools/measure";

const MOST = 100;
/** An end moved farther than this to deep water is a corner of its own. */
const FAR_M = 30;

function isFar(a: Place, b: Place): boolean {
  return rangeBearing(a.latDeg, a.lonDeg, b.latDeg, b.lonDeg).rangeM > FAR_M;
}

export class Draft {
  #points: readonly Place[] = [];
  #past: (readonly Place[])[] = [];
  selected: number | null = null;

  get points(): readonly Place[] {
    return this.#points;
  }

  get canUndo(): boolean {
    return this.#past.length > 0;
  }

  /** Add a point at the end; false when there are too many. */
  add(place: Place): boolean {
    return this.insert(this.#points.length, place);
  }

  insert(index: number, place: Place): boolean {
    if (this.#points.length >= MOST) return false;
    this.#change([...this.#points.slice(0, index), place, ...this.#points.slice(index)]);
    this.selected = index;
    return true;
  }

  /** Put other points in the place of the leg that ends at `index`: a way found between its two ends. */
  replaceLeg(index: number, way: readonly Place[]): void {
    const from = this.#points[index - 1];
    const to = this.#points[index];
    if (from === undefined || to === undefined || way.length < 2) return;
    // The ends stay where the finger put them; deep water near them is the way's first and last corner only if it is far.
    const inner = way.filter((place, k) => (k > 0 && k < way.length - 1) || isFar(place, k === 0 ? from : to));
    const points = [...this.#points.slice(0, index), ...inner, ...this.#points.slice(index)].slice(0, MOST);
    this.#change(points);
    this.selected = Math.min(index + inner.length, points.length - 1);
  }

  /** Begin to move a point: one step back undoes the whole drag. */
  lift(): void {
    this.#past.push(this.#points);
  }

  moveTo(index: number, place: Place): void {
    this.#points = this.#points.map((point, i) => (i === index ? place : point));
  }

  remove(index: number): void {
    this.#change(this.#points.filter((_, i) => i !== index));
    this.selected = this.#points.length === 0 ? null : Math.min(index, this.#points.length - 1);
  }

  undo(): void {
    const before = this.#past.pop();
    if (before === undefined) return;
    this.#points = before;
    this.selected = before.length === 0 ? null : Math.min(this.selected ?? 0, before.length - 1);
  }

  clear(): void {
    this.#change([]);
    this.selected = null;
  }

  #change(points: readonly Place[]): void {
    this.#past.push(this.#points);
    if (this.#past.length > 200) this.#past.shift();
    this.#points = points;
  }
}
