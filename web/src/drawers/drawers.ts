/**
 * One drawer at a time, at the place the layout gives it. A tool's own drawer lies beneath the others and shows again
 * when they close; the list of echoes has the place for itself where there is room for it always.
 */
export class Drawers {
  readonly #all: HTMLElement[] = [];

  /** `beneath`: shown again when the others close. `changed`: one opened or closed. */
  constructor(private readonly beneath: () => HTMLElement | null, private readonly changed: () => void) {}

  add(...drawers: HTMLElement[]): void {
    for (const drawer of drawers) {
      drawer.classList.add("drawer");
      drawer.hidden = true;
      this.#all.push(drawer);
      document.body.append(drawer);
    }
  }

  /** The one that is open; null: none. */
  get now(): HTMLElement | null {
    return this.#all.find((drawer) => !drawer.hidden) ?? null;
  }

  readonly show = (drawer: HTMLElement): void => {
    for (const other of this.#all) other.hidden = other !== drawer;
    drawer.scrollTop = 0;
    this.changed();
  };

  readonly hide = (drawer: HTMLElement): void => {
    if (drawer.hidden) return;
    drawer.hidden = true;
    const beneath = this.beneath();
    if (beneath !== null && beneath !== drawer && this.now === null) beneath.hidden = false;
    this.changed();
  };

  /** Close what is open but a tool's; false: nothing was. */
  close(): boolean {
    const now = this.now;
    if (now === null || now === this.beneath()) return false;
    this.hide(now);
    return true;
  }
}
