/** What a page of the set-up is, and the few pieces that all pages are made of. */
import { make } from "../panels/dom";
import type { DistanceUnit } from "../geo/units";
import { Refused, type Asking, ask } from "./ask";
import type { Bow } from "../state/types";
import type { SpokeFan } from "../wire/frame";
import type { Heard, Told } from "./types";

/** What the set-up can reach of the helm it lies over. */
export interface SetupHelm {
  readonly listen: () => void;
  readonly control: (what: "take bow" | "undo bow") => void;
  readonly bow: () => Bow | null;
  readonly unit: () => DistanceUnit;
  readonly closed: () => void;
}

/** What a page can reach of the set-up. */
export interface Frame {
  readonly told: Told;
  /** Ask the helm; what it tells is shown, a refusal is said. Null: it was refused. */
  change(asking: Asking): Promise<Told | null>;
  /** Ask for something that is not the whole state. */
  get<T>(asking: Asking): Promise<T | null>;
  /** One plain sentence at the foot; "" takes it away. */
  say(line: string): void;
  /** The page has changed what may be done next. */
  refresh(): void;
  go(step: number): void;
  /** Turn to a page beside the route. */
  turnTo(name: string): void;
  close(): void;
}

export interface Page {
  readonly name: string;
  readonly element: HTMLElement;
  /** Shown, or shown again. */
  show(): void;
  hide?(): void;
  heard?(heard: Heard): void;
  fan?(fan: SpokeFan): void;
  told?(): void;
  /** False: the page has used it up, and stays. */
  forward?(): Promise<boolean> | boolean;
  back?(): boolean;
  /** A word for the third control, and what it does; none: there is no third control. */
  skip?(): { readonly word: string; readonly press: () => void } | null;
  forwardWord?(): string;
  key?(event: KeyboardEvent): boolean;
}

export function button(text: string, press: () => void, attributes: Readonly<Record<string, string>> = {}): HTMLButtonElement {
  const made = make("button", text, { type: "button", ...attributes });
  made.addEventListener("click", press);
  return made;
}

/** A thing that is taken or not: an open ring, or a solid square. */
export function pick(words: string, isTaken: boolean, press: () => void, role: "checkbox" | "radio" = "checkbox"): HTMLButtonElement {
  const made = button("", press, { role, "aria-checked": String(isTaken), class: "pick" });
  made.append(make("span", "", { class: "form", "aria-hidden": "true" }), make("span", words, { class: "words" }));
  return made;
}

export async function asking<T>(frame: { say(line: string): void }, what: Asking): Promise<T | null> {
  try {
    const got = await ask<T>(what);
    frame.say("");
    return got;
  } catch (problem) {
    frame.say(problem instanceof Refused ? problem.message : `This screen failed: ${String(problem)}`);
    return null;
  }
}

/** Keep what a list holds in step with what is told, so that nothing moves under a finger and focus stays. */
export class Kept<T> {
  readonly #rows = new Map<string, T & { element: HTMLElement }>();

  constructor(private readonly box: HTMLElement, private readonly build: (key: string) => T & { element: HTMLElement }) {}

  lay(keys: readonly string[]): Map<string, T & { element: HTMLElement }> {
    for (const [key, row] of this.#rows) {
      if (keys.includes(key)) continue;
      row.element.remove();
      this.#rows.delete(key);
    }
    keys.forEach((key, i) => {
      let row = this.#rows.get(key);
      if (row === undefined) {
        row = this.build(key);
        this.#rows.set(key, row);
      }
      if (this.box.children[i] !== row.element) this.box.insertBefore(row.element, this.box.children[i] ?? null);
    });
    return this.#rows;
  }
}
