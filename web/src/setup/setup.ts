/**
 * Setting up without a manual: four legs of one route, a page each. Controls lie in the corner of the free hand; keys,
 * a knob and a remote reach everything. A watch that runs goes on beneath, and what is urgent is said up here too.
 */
import { make, setText } from "../panels/dom";
import type { Asking } from "./ask";
import "./setup.css";
import { BowPage } from "./pages/bow";
import { ChartsPage } from "./pages/charts";
import { HearPage } from "./pages/hear";
import { asking, button, type Frame, type Page, type SetupHelm } from "./page";
import { PicturePage } from "./pages/picture";
import { QuestionsPage } from "./pages/questions";
import { StartPage } from "./pages/start";
import type { SpokeFan } from "../wire/frame";
import type { Heard, Told } from "./types";

const LEGS = ["hear", "charts", "boat", "start"] as const;
const WORDS: Readonly<Record<string, string>> = { hear: "hear", charts: "charts", boat: "boat", start: "start", bow: "bow" };

export class Setup implements Frame {
  readonly element = make("section", "", { id: "setup", "aria-label": "Set up" });
  readonly #route = make("nav", "", { class: "route", "aria-label": "Steps" });
  readonly #urgent = make("p", "", { class: "urgent", role: "alert" });
  readonly #box = make("div", "", { class: "page", tabindex: "-1" });
  readonly #line = make("p", "", { class: "say", role: "status" });
  readonly #forward = button("forward", () => void this.#go(1), { class: "forward ring" });
  readonly #back = button("back", () => void this.#go(-1), { class: "back ring" });
  readonly #third = button("", () => this.#page.skip?.()?.press(), { class: "third ring" });
  readonly #pages: Record<string, Page>;
  #told: Told | null = null;
  #name = "hear";
  #needed = false;
  #busy = false;

  constructor(private readonly helm: SetupHelm) {
    const questions = new QuestionsPage(this);
    this.#pages = {
      hear: new HearPage(this, helm.listen, helm.unit),
      picture: new PicturePage(this),
      charts: new ChartsPage(this),
      boat: questions,
      start: new StartPage(this, (key) => {
        questions.jump(key);
        this.#show("boat");
      }),
      bow: new BowPage(this, helm),
    };
    for (const leg of LEGS) {
      const made = button(WORDS[leg] ?? leg, () => {
        if (leg === "boat") questions.enter(false);
        this.#show(leg);
      });
      made.prepend(make("span", "", { class: "form", "aria-hidden": "true" }));
      made.dataset["leg"] = leg;
      this.#route.append(made);
    }
    const hand = make("div", "", { class: "hand" });
    hand.append(this.#third, this.#back, this.#forward);
    this.element.append(this.#route, this.#urgent, this.#box, this.#line, hand);
    this.element.hidden = true;
    window.addEventListener("keydown", (event) => this.#key(event), true);
  }

  get told(): Told {
    if (this.#told === null) throw new Error("the set-up was shown before it was told anything");
    return this.#told;
  }

  get isOpen(): boolean {
    return !this.element.hidden;
  }

  /** Whether the page that is shown knows what it needs. */
  get #isReady(): boolean {
    return this.#told !== null || this.#name === "bow";
  }

  get #page(): Page {
    return this.#pages[this.#name] as Page;
  }

  /** `needed`: nothing is connected, so there is nothing to go back to. */
  async open(name: string, needed: boolean): Promise<void> {
    this.#needed = needed;
    this.element.hidden = false;
    this.#beneath(true);
    // The bow mark is measured on the demo and on recordings too, which cannot be set up.
    const told = name === "bow" ? this.#told : await asking<Told>(this, { do: "tell" });
    if (told === null && name !== "bow") {
      this.#name = name;
      this.#told = null;
      this.#box.replaceChildren(make("h2", "The set-up cannot be read."));
      this.#third.hidden = true;
      setText(this.#forward, "again");
      setText(this.#back, "leave");
      return;
    }
    this.#told = told;
    this.#show(name);
  }

  close(): void {
    if (!this.isOpen) return;
    this.#page.hide?.();
    this.element.hidden = true;
    this.#beneath(false);
    this.helm.closed();
  }

  setHand(hand: "left" | "right"): void {
    this.element.classList.toggle("left", hand === "left");
  }

  urgent(line: string): void {
    setText(this.#urgent, line);
  }

  heard(heard: Heard): void {
    if (this.isOpen && this.#isReady) this.#page.heard?.(heard);
  }

  fan(fan: SpokeFan): void {
    if (this.isOpen && this.#isReady) this.#page.fan?.(fan);
  }

  reading(): void {
    if (this.isOpen && this.#name === "bow") this.#page.told?.();
  }

  // ---- for the pages

  async change(what: Asking): Promise<Told | null> {
    const told = await asking<Told>(this, what);
    if (told !== null) {
      this.#told = told;
      this.#page.told?.();
      this.refresh();
    }
    return told;
  }

  get<T>(what: Asking): Promise<T | null> {
    return asking<T>(this, what);
  }

  say(line: string): void {
    setText(this.#line, line);
  }

  go(step: number): void {
    const at = LEGS.indexOf(this.#name as (typeof LEGS)[number]);
    // A page beside the route leads back to its beginning.
    const next = at < 0 ? LEGS[0] : LEGS[at + step];
    if (next === undefined) {
      if (!this.#needed) this.close();
      return;
    }
    const questions = this.#pages["boat"] as QuestionsPage;
    if (next === "boat") questions.enter(step < 0);
    this.#show(next);
  }

  turnTo(name: string): void {
    this.#show(name);
  }

  refresh(): void {
    const page = this.#page;
    setText(this.#forward, page.forwardWord?.() ?? "forward");
    const third = page.skip?.() ?? null;
    setText(this.#third, third?.word ?? "");
    this.#third.hidden = third === null;
    const isFirst = this.#name === LEGS[0] || this.#name === "bow";
    setText(this.#back, isFirst && !this.#needed ? "leave" : "back");
    this.#back.hidden = (isFirst && this.#needed) || this.#name === "bow";
  }

  // ---- its own

  #show(name: string): void {
    if (name !== this.#name || !this.#box.contains(this.#page.element)) {
      this.#page.hide?.();
      this.#name = name;
      this.#box.replaceChildren(this.#page.element);
    }
    this.#box.scrollTop = 0;
    this.say("");
    this.#route.hidden = name === "bow";
    for (const made of this.#route.querySelectorAll("button")) {
      if (made.dataset["leg"] === name) made.setAttribute("aria-current", "step");
      else made.removeAttribute("aria-current");
    }
    this.#page.show();
    this.refresh();
    this.#box.focus({ preventScroll: true });
  }

  async #go(direction: 1 | -1): Promise<void> {
    if (this.#busy) return;
    this.#busy = true;
    try {
      const page = this.#page;
      if (!this.#isReady) {
        if (direction > 0) await this.open(this.#name, this.#needed);
        else if (!this.#needed) this.close();
        return;
      }
      if (direction > 0) {
        if (page.forward === undefined || (await page.forward())) this.go(1);
      } else if (this.#name === "bow") this.close();
      else if (page.back?.() !== true) {
        if (this.#name === LEGS[0]) {
          if (!this.#needed) this.close();
        } else this.go(-1);
      }
    } finally {
      this.#busy = false;
    }
  }

  /** While the set-up lies over the sheet, neither Tab nor a screen reader finds what is beneath. */
  #beneath(isCovered: boolean): void {
    for (const other of document.body.children) {
      if (other !== this.element && other instanceof HTMLElement) other.inert = isCovered;
    }
  }

  /** Everything by keys: none of them reaches the sheet beneath. */
  #key(event: KeyboardEvent): void {
    if (!this.isOpen || event.ctrlKey || event.metaKey || event.altKey || document.getElementById("ask") !== null) return;
    event.stopImmediatePropagation();
    const onButton = event.target instanceof HTMLButtonElement && this.element.contains(event.target);
    if (event.key === "Tab") return;
    if (onButton && (event.key === "Enter" || event.key === " ")) return;
    if (this.#isReady && this.#page.key?.(event) === true) {
      event.preventDefault();
      return;
    }
    const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
    if (step !== undefined) this.#focus(step);
    else if (event.key === "Enter" || event.key === "PageDown") void this.#go(1);
    else if (event.key === "Escape" || event.key === "PageUp") void this.#go(-1);
    else return;
    event.preventDefault();
  }

  /** A knob or a remote: arrows go from control to control. */
  #focus(step: number): void {
    const all = [...this.element.querySelectorAll<HTMLElement>("button:not([disabled]):not([hidden])")].filter((b) => b.offsetParent !== null);
    if (all.length === 0) return;
    const now = all.indexOf(document.activeElement as HTMLElement);
    // From nowhere: the first thing of the page, not of the route above it.
    const first = all.findIndex((b) => this.#box.contains(b));
    const next = now < 0 ? Math.max(first, 0) : (now + step + all.length) % all.length;
    all[next]?.focus();
    all[next]?.scrollIntoView({ block: "nearest" });
  }
}
