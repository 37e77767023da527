/** Lowers the radar picture's resolution where drawing is slow; a real graphics card never notices. */
const STEPS = [1, 0.7, 0.5] as const;
/** Slower than this, frame after frame, and the picture is made coarser. */
const SLOW_MS = 38;
const COUNT = 12;
/** So slow that the coarsest is wanted at once. */
const VERY_SLOW_MS = 80;

export class Pace {
  #step = 0;
  #slow = 0;
  #very = 0;
  #seen = 0;

  /** Take in the time since the last frame; true when the resolution changed. */
  frame(gapMs: number): boolean {
    // A hidden page or a busy start says nothing about drawing.
    if (gapMs > 1500) return false;
    this.#seen += 1;
    if (gapMs > SLOW_MS) this.#slow += 1;
    if (gapMs > VERY_SLOW_MS) this.#very += 1;
    if (this.#seen < COUNT) return false;
    const isSlow = this.#slow > COUNT / 2;
    const isVerySlow = this.#very > COUNT / 2;
    this.#seen = 0;
    this.#slow = 0;
    this.#very = 0;
    if (!isSlow || this.#step === STEPS.length - 1) return false;
    this.#step = isVerySlow ? STEPS.length - 1 : this.#step + 1;
    return true;
  }

  /** Begin at the coarsest: nothing but a processor draws here. */
  coarsest(): void {
    this.#step = STEPS.length - 1;
  }

  get ratio(): number {
    return STEPS[this.#step] ?? 0.5;
  }
}
