/** Which tool is on; the one door for touches and keys that are a tool's. */
import type { Bar } from "../panels/bar";
import { setText } from "../panels/dom";
import type { Tool, ToolWords, Touch } from "./tool";

export class Toolbox {
  #now: Tool | null = null;
  #usedAt = 0;
  #isDown = false;
  readonly #home: Element;

  /** `idle`: what is said when no tool is in hand here, such as another screen's trial. */
  constructor(private readonly bar: () => Bar, private readonly words: HTMLElement, private readonly idle: () => ToolWords, private readonly changed: () => void) {
    const home = words.previousElementSibling;
    if (home === null) throw new Error("a tool's words need something to stand under");
    this.#home = home;
  }

  get now(): Tool | null {
    return this.#now;
  }

  /** Take a tool up, or put it down when it is in hand. */
  toggle(tool: Tool): void {
    const same = this.#now === tool;
    this.leave();
    if (same) return;
    this.#now = tool;
    this.#used();
    tool.enter();
    document.body.dataset["tool"] = tool.name;
    this.bar().hold(tool.name, () => tool.blades());
    this.#changed();
  }

  leave(): void {
    const tool = this.#now;
    if (tool === null) return;
    this.#now = null;
    this.#isDown = false;
    tool.leave();
    delete document.body.dataset["tool"];
    this.bar().letGo();
    this.#changed();
  }

  down(touch: Touch): void {
    this.#isDown = true;
    this.#used();
    this.#now?.down(touch);
    this.#changed();
  }

  move(touch: Touch): void {
    if (!this.#isDown) return;
    this.#used();
    this.#now?.move(touch);
    this.#changed();
  }

  up(touch: Touch): void {
    if (!this.#isDown) return;
    this.#isDown = false;
    this.#now?.up(touch);
    this.#changed();
  }

  key(key: string, isFine: boolean): boolean {
    const tool = this.#now;
    if (tool === null) return false;
    this.#used();
    const took = tool.key(key, isFine);
    if (took) this.#changed();
    return took;
  }

  /** Once in a while: say what there is to say, and put away what nobody uses. */
  tick(nowMs: number): void {
    const tool = this.#now;
    if (tool !== null && nowMs - this.#usedAt > tool.restS * 1000) this.leave();
    this.#say();
  }

  /** Something the tool shows came in. */
  refresh(): void {
    this.#changed();
  }

  /** A button of the tool's was pressed. */
  touched(): void {
    this.#used();
    this.#changed();
  }

  #used(): void {
    this.#usedAt = performance.now();
  }

  #changed(): void {
    this.#say();
    this.bar().refresh();
    this.changed();
  }

  #say(): void {
    const said = this.#now === null ? this.idle() : this.#now.says();
    // A tool's words stand over its controls; another screen's trial is told on the sheet.
    const before = this.#now === null ? this.#home : this.bar().heldTop;
    if (this.words.previousElementSibling !== before) before.after(this.words);
    this.words.hidden = said.text === "";
    setText(this.words, said.text);
    this.words.classList.toggle("loud", said.isLoud);
  }
}
