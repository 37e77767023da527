/**
 * Five controls that stay where they are, under the thumb of the free hand; all others in one list behind the last of
 * them. A tool's own controls and words come as a drawer. Every one is a plain button, so keys and a knob reach it too.
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

export interface Group {
  readonly title: string;
  readonly blades: readonly Blade[];
}

export class Bar {
  readonly list = make("section", "", { id: "list", class: "drawer", "aria-label": "Controls", tabindex: "-1" });
  readonly held = make("section", "", { id: "held", class: "drawer", "aria-label": "Tool" });
  readonly #title = make("h2");
  readonly #heldBox = make("div", "", { class: "grid" });
  readonly #five: { readonly blade: Blade; readonly button: HTMLButtonElement }[] = [];
  readonly #rows: { readonly blade: Blade; readonly button: HTMLButtonElement }[] = [];
  #heldRows: { readonly blade: Blade; readonly button: HTMLButtonElement }[] = [];
  #held: (() => readonly Blade[]) | null = null;

  /** A tool's control was pressed. */
  onPress: () => void = () => undefined;

  /** `show`, `hide`: of a drawer. */
  constructor(
    readonly element: HTMLElement, five: readonly Blade[], groups: readonly Group[],
    private readonly show: (drawer: HTMLElement) => void, private readonly hide: (drawer: HTMLElement) => void,
  ) {
    const more: Blade = { name: "more", value: () => "", press: () => (this.isOpen ? this.close() : this.open(true)), stays: true };
    for (const blade of [...five, more]) {
      const button = this.#button(blade, () => undefined);
      this.#five.push({ blade, button });
      element.append(button);
    }
    const back: Blade = { name: "close", value: () => "", press: () => undefined };
    const parts: HTMLElement[] = [this.#head("Controls", back)];
    for (const group of groups) {
      parts.push(make("h3", group.title));
      for (const blade of group.blades) {
        const button = this.#button(blade, () => {
          if (blade.stays !== true) this.close();
        });
        this.#rows.push({ blade, button });
        parts.push(button);
      }
    }
    this.list.append(...parts);
    this.held.append(this.#title, this.#heldBox);
    this.list.hidden = this.held.hidden = true;
    for (const box of [element, this.list, this.held]) box.addEventListener("keydown", (event) => this.#arrows(event, box));
  }

  get isOpen(): boolean {
    return !this.list.hidden;
  }

  /** The tool's words stand above its controls. */
  get heldTop(): HTMLElement {
    return this.#title;
  }

  /** A tool's controls and words until it is put down. */
  hold(name: string, blades: () => readonly Blade[]): void {
    // The arrows are the tool's now, not the control's that took it up.
    if (document.activeElement instanceof HTMLElement && (this.element.contains(document.activeElement) || this.list.contains(document.activeElement))) document.activeElement.blur();
    this.close();
    this.#held = blades;
    setText(this.#title, name);
    this.show(this.held);
    this.#layHeld();
  }

  letGo(): void {
    if (this.#held === null) return;
    this.#held = null;
    this.hide(this.held);
  }

  get isHeld(): boolean {
    return this.#held !== null;
  }

  /** Whether a knob is on one of a tool's controls. */
  get hasFocus(): boolean {
    return this.held.contains(document.activeElement);
  }

  /** Put a knob or the keyboard on the last control: a tool's "done". */
  focusLast(): void {
    if (this.#held !== null) this.#heldRows.at(-1)?.button.focus({ preventScroll: true });
    else this.focus();
  }

  /** On the first of the five. */
  focus(): void {
    this.#five[0]?.button.focus({ preventScroll: true });
  }

  open(focus = false): void {
    this.#label(this.#rows);
    this.show(this.list);
    this.list.scrollTop = 0;
    if (focus) this.#rows.find(({ button }) => !button.hidden)?.button.focus({ preventScroll: true });
  }

  close(): void {
    const hadFocus = this.list.contains(document.activeElement);
    this.hide(this.list);
    if (hadFocus) this.#five.at(-1)?.button.focus({ preventScroll: true });
  }

  refresh(): void {
    this.#label(this.#five);
    if (this.isOpen) this.#label(this.#rows);
    if (this.#held === null) return;
    const now = this.#held();
    const names = now.filter((blade) => blade.isShown?.() !== false).map((blade) => blade.name);
    if (names.join() === this.#heldRows.map(({ blade }) => blade.name).join()) this.#label(this.#heldRows);
    else this.#layHeld();
  }

  #head(title: string, back: Blade): HTMLElement {
    const head = make("div", "", { class: "head" });
    head.append(make("h2", title), this.#button(back, () => this.close()));
    return head;
  }

  #layHeld(): void {
    const focused = this.#heldRows.find(({ button }) => button === document.activeElement)?.blade.name;
    this.#heldRows = (this.#held?.() ?? []).filter((blade) => blade.isShown?.() !== false).map((blade) => ({ blade, button: this.#button(blade, () => this.onPress()) }));
    this.#heldBox.replaceChildren(...this.#heldRows.map(({ button }) => button));
    this.#label(this.#heldRows);
    if (focused !== undefined) (this.#heldRows.find(({ blade }) => blade.name === focused) ?? this.#heldRows.at(-1))?.button.focus({ preventScroll: true });
  }

  #button(blade: Blade, then: () => void): HTMLButtonElement {
    const button = make("button", blade.name, { type: "button", class: "blade" });
    button.dataset["name"] = blade.name;
    button.addEventListener("click", () => {
      then();
      blade.press();
      this.refresh();
    });
    return button;
  }

  #label(rows: readonly { readonly blade: Blade; readonly button: HTMLButtonElement }[]): void {
    for (const { blade, button } of rows) {
      const isShown = blade.isShown?.() !== false;
      if (button.hidden === isShown) button.hidden = !isShown;
      const value = blade.value();
      const text = `${blade.name}|${value}`;
      if (button.dataset["text"] === text) continue;
      button.dataset["text"] = text;
      button.replaceChildren(document.createTextNode(blade.name), ...(value === "" ? [] : [make("small", value)]));
    }
  }

  /** A knob has no Tab: its arrows go from control to control. */
  #arrows(event: KeyboardEvent, box: HTMLElement): void {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (step === undefined) return;
    const buttons = [...box.querySelectorAll<HTMLButtonElement>("button")].filter((button) => button.offsetParent !== null);
    const at = buttons.indexOf(document.activeElement as HTMLButtonElement);
    if (at < 0) return;
    event.preventDefault();
    event.stopPropagation();
    const next = buttons[(at + step + buttons.length) % buttons.length];
    next?.focus({ preventScroll: true });
    next?.scrollIntoView({ block: "nearest" });
  }
}
