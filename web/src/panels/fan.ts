/**
 * Controls come to the thumb and go away: a quarter ring rests in the corner of the free hand; touched, words fan out
 * of it. Every blade is a plain button, so keys and a knob reach it too.
 */
import { make } from "./dom";

export interface Blade {
  readonly name: string;
  /** What it stands at now, "" for none. */
  readonly value: () => string;
  readonly press: () => void;
  /** Stays open after: steps are often pressed twice. */
  readonly stays?: boolean;
  readonly isShown?: () => boolean;
}

const REST_MS = 7000;
/** Radii of the arcs, page pixels, and how many blades each holds. */
const ARCS = [
  { r: 152, holds: 2 },
  { r: 246, holds: 4 },
  { r: 352, holds: 7 },
] as const;

export class Fan {
  readonly #thumb = make("button", "", { id: "thumb", type: "button", "aria-expanded": "false" });
  readonly #shade = make("div", "", { id: "shade" });
  #buttons: HTMLButtonElement[] = [];
  #rest: number | undefined;
  #page = 0;
  #left = false;

  constructor(readonly element: HTMLElement, private readonly pages: readonly (readonly Blade[])[]) {
    this.#thumb.append(make("span", "controls"));
    this.#thumb.addEventListener("click", () => (this.isOpen ? this.close() : this.open()));
    element.append(this.#thumb);
    element.before(this.#shade);
    element.addEventListener("keydown", () => this.#wait());
  }

  get isOpen(): boolean {
    return this.element.classList.contains("open");
  }

  setHand(hand: "left" | "right"): void {
    this.#left = hand === "left";
    this.element.classList.toggle("left", this.#left);
    this.#shade.classList.toggle("left", this.#left);
    if (this.isOpen) this.#lay();
  }

  open(focus = false): void {
    this.#page = 0;
    this.element.classList.add("open");
    this.#shade.classList.add("on");
    this.#thumb.setAttribute("aria-expanded", "true");
    this.#lay();
    if (focus) this.#buttons[0]?.focus();
    this.#wait();
  }

  close(): void {
    const hadFocus = this.element.contains(document.activeElement);
    this.element.classList.remove("open");
    this.#shade.classList.remove("on");
    this.#thumb.setAttribute("aria-expanded", "false");
    window.clearTimeout(this.#rest);
    for (const button of this.#buttons) button.remove();
    this.#buttons = [];
    if (hadFocus) this.#thumb.focus({ preventScroll: true });
  }

  refresh(): void {
    if (this.isOpen) this.#label();
  }

  #wait(): void {
    window.clearTimeout(this.#rest);
    this.#rest = window.setTimeout(() => this.close(), REST_MS);
  }

  #blades(): Blade[] {
    const own = (this.pages[this.#page] ?? []).filter((blade) => blade.isShown?.() !== false);
    const more: Blade = {
      name: this.#page + 1 < this.pages.length ? "more" : "back",
      value: () => "",
      press: () => {
        this.#page = (this.#page + 1) % this.pages.length;
        this.#lay();
        this.#buttons[0]?.focus({ preventScroll: true });
      },
      stays: true,
    };
    return [...own, more];
  }

  #lay(): void {
    for (const button of this.#buttons) button.remove();
    const blades = this.#blades();
    let i = 0;
    const side = this.#left ? 1 : -1;
    this.#buttons = [];
    for (const arc of ARCS) {
      const here = blades.slice(i, i + arc.holds);
      i += arc.holds;
      here.forEach((blade, k) => {
        // From just above the foot's edge round to the upright.
        const a = ((here.length === 1 ? 0.5 : k / (here.length - 1)) * (90 - 2 * margin(arc.r)) + margin(arc.r)) * (Math.PI / 180);
        const button = make("button", "", { type: "button", class: "blade shown" });
        button.style.left = `${side * arc.r * Math.cos(a)}px`;
        button.style.top = `${-arc.r * Math.sin(a)}px`;
        button.dataset["name"] = blade.name;
        button.addEventListener("click", () => {
          blade.press();
          if (blade.stays === true) {
            this.#wait();
            this.#label();
          } else this.close();
        });
        this.#buttons.push(button);
        this.element.append(button);
      });
    }
    this.#label();
  }

  #label(): void {
    const blades = this.#blades();
    if (blades.length !== this.#buttons.length) {
      // A control came or went: lay the fan afresh, which labels it too.
      this.#lay();
      return;
    }
    this.#buttons.forEach((button, i) => {
      const blade = blades[i];
      if (blade === undefined) return;
      const value = blade.value();
      const text = `${blade.name}|${value}`;
      if (button.dataset["text"] === text) return;
      button.dataset["text"] = text;
      button.replaceChildren(document.createTextNode(blade.name), ...(value === "" ? [] : [make("small", value)]));
    });
  }
}

/** Degrees kept clear of the sheet's two edges, so that no blade is cut. */
function margin(r: number): number {
  return (Math.asin(46 / r) * 180) / Math.PI;
}
