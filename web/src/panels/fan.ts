/**
 * Controls come to the thumb and go away: a quarter ring rests in the corner of the free hand; touched, words fan out
 * of it. Every blade is a plain button, so keys and a knob reach it too.
 */
import { make, setText } from "./dom";

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
/** More than these would be lost. */
export const MOST = 13;

export class Fan {
  readonly #thumb = make("button", "", { id: "thumb", type: "button", "aria-expanded": "false" });
  readonly #shade = make("div", "", { id: "shade" });
  #buttons: HTMLButtonElement[] = [];
  #rest: number | undefined;
  #page = 0;
  #left = false;
  #held: (() => readonly Blade[]) | null = null;
  readonly #word = make("span", "controls");

  /** A held control was pressed. */
  onPress: () => void = () => undefined;

  constructor(readonly element: HTMLElement, private readonly pages: readonly (readonly Blade[])[]) {
    this.#thumb.append(this.#word);
    // A click without a pointer is a key: it goes on from the first control.
    this.#thumb.addEventListener("click", (event) => (this.isOpen ? this.close() : this.open(event.detail === 0)));
    element.append(this.#thumb);
    element.before(this.#shade);
    element.addEventListener("keydown", (event) => {
      this.#wait();
      // A knob has no Tab: within the open fan its arrows go from control to control.
      const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      const at = this.#buttons.indexOf(document.activeElement as HTMLButtonElement);
      if (step === undefined || !this.isOpen) return;
      event.preventDefault();
      event.stopPropagation();
      this.#buttons[at < 0 ? 0 : (at + step + this.#buttons.length) % this.#buttons.length]?.focus({ preventScroll: true });
    });
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

  /** A tool's controls take the fan's place until it is put down: no pages, no going away. */
  hold(name: string, blades: () => readonly Blade[]): void {
    // The arrows are the tool's now, not the control's that took it up.
    if (this.element.contains(document.activeElement)) (document.activeElement as HTMLElement).blur();
    this.#held = blades;
    setText(this.#word, name);
    this.open();
  }

  letGo(): void {
    if (this.#held === null) return;
    this.#held = null;
    setText(this.#word, "controls");
    this.close();
  }

  get isHeld(): boolean {
    return this.#held !== null;
  }

  get hasFocus(): boolean {
    return this.#buttons.includes(document.activeElement as HTMLButtonElement);
  }

  /** Put a knob or the keyboard on the last control: a tool's "done". */
  focusLast(): void {
    if (!this.isOpen) this.open();
    this.#buttons.at(-1)?.focus({ preventScroll: true });
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
    if (this.#held === null) this.#rest = window.setTimeout(() => this.close(), REST_MS);
  }

  #blades(): Blade[] {
    if (this.#held !== null) return this.#held().filter((blade) => blade.isShown?.() !== false);
    const own = (this.pages[this.#page] ?? []).filter((blade) => blade.isShown?.() !== false);
    // A page with nothing to show now (the story's, on live links) is passed over.
    let next = (this.#page + 1) % this.pages.length;
    while (next !== 0 && !(this.pages[next] ?? []).some((blade) => blade.isShown?.() !== false)) next = (next + 1) % this.pages.length;
    const more: Blade = {
      name: next === 0 ? "back" : "more",
      value: () => "",
      press: () => {
        this.#page = next;
        this.#lay();
        this.#buttons[0]?.focus({ preventScroll: true });
      },
      stays: true,
    };
    return [...own, more];
  }

  #lay(): void {
    const focused = this.#buttons.find((button) => button === document.activeElement)?.dataset["name"];
    for (const button of this.#buttons) button.remove();
    const blades = this.#blades();
    if (blades.length > MOST) throw new Error(`a fan of ${blades.length} controls loses some: ${MOST} are the most`);
    // No wider than what is open in it, so that the sheet stays in sight.
    this.#shade.style.setProperty("--reach", `${(ARCS[blades.length <= 2 ? 0 : blades.length <= 6 ? 1 : 2]?.r ?? 352) + 64}px`);
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
          if (this.#held !== null) {
            this.onPress();
            this.#label();
          } else if (blade.stays === true) {
            this.#wait();
            this.#label();
          } else this.close();
        });
        this.#buttons.push(button);
        this.element.append(button);
      });
    }
    this.#label();
    if (focused !== undefined) (this.#buttons.find((button) => button.dataset["name"] === focused) ?? this.#buttons.at(-1))?.focus({ preventScroll: true });
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
