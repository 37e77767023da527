/** Sets the picture by itself: where echo begins to show, from what the receiver gives when nothing is there. */
export class Levels {
  #floor = Number.NaN;
  #spread = Number.NaN;
  readonly #counts = new Uint32Array(256);

  /** Take in rows as they come, a sample of their cells. */
  add(echo: Uint8Array): void {
    this.#counts.fill(0);
    let total = 0;
    for (let i = 0; i < echo.length; i += 7) {
      const at = echo[i] ?? 0;
      this.#counts[at] = (this.#counts[at] ?? 0) + 1;
      total += 1;
    }
    if (total < 200) return;
    const middle = this.#quantile(total, 0.5);
    const spread = Math.max(this.#quantile(total, 0.84) - middle, 1);
    // Slow, so that land coming and going does not make the picture breathe.
    const k = Number.isNaN(this.#floor) ? 1 : 0.02;
    this.#floor = k === 1 ? middle : this.#floor + k * (middle - this.#floor);
    this.#spread = k === 1 ? spread : this.#spread + k * (spread - this.#spread);
  }

  /** Counts over 255 where weak and strong echo begin. */
  get(): readonly [number, number] {
    if (Number.isNaN(this.#floor)) return [0.2, 0.7];
    const low = this.#floor + 2.0 * Math.min(this.#spread, 30);
    return [Math.min(low, 200) / 255, Math.min(low + 95, 250) / 255];
  }

  #quantile(total: number, q: number): number {
    let sum = 0;
    for (let value = 0; value < 256; value++) {
      sum += this.#counts[value] ?? 0;
      if (sum >= q * total) return value;
    }
    return 255;
  }
}
