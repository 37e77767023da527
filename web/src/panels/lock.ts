/** A lock against rain and gloves: two rings, touched one after the other, open it; a stray drop does not. */
import { make } from "./dom";

const WITHIN_MS = 4000;

export class Lock {
  readonly #first = make("button", "first", { type: "button" });
  readonly #second = make("button", "then", { type: "button" });
  #firstAt = Number.NEGATIVE_INFINITY;

  constructor(readonly element: HTMLElement, private readonly opened: () => void) {
    element.append(make("p", "Locked. Touch the left ring, then the right one."), this.#first, this.#second);
    this.#first.addEventListener("click", () => {
      this.#firstAt = performance.now();
      this.#mark(true);
      window.setTimeout(() => this.#mark(false), WITHIN_MS);
    });
    this.#second.addEventListener("click", () => {
      if (performance.now() - this.#firstAt > WITHIN_MS) return;
      this.#firstAt = Number.NEGATIVE_INFINITY;
      this.opened();
    });
  }

  show(isLocked: boolean): void {
    this.element.classList.toggle("on", isLocked);
    if (isLocked) {
      this.#mark(false);
      this.#first.focus({ preventScroll: true });
    }
  }

  #mark(half: boolean): void {
    this.#first.classList.toggle("next", !half);
    this.#second.classList.toggle("next", half);
  }
}
