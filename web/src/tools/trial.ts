/**
 * A manoeuvre tried on the sheet before it is made. A finger that goes round the boat turns the trial course, one that
 * goes towards her or away changes the trial speed; never both at once, so that a bounce does not spoil the other.
 * Each screen has its own trial, and sees another's only while it has none; it ends when this screen puts it down.
 */
import { threeFigures } from "../geo/angles";
import { sayKnots } from "../geo/units";
import type { Place } from "../layers/ink/tools/measure";
import { drawTrial } from "../layers/ink/tools/trial";
import type { View } from "../layers/ink/view";
import type { Blade } from "../panels/bar";
import type { Manoeuvre, Manoeuvres, Trial } from "../state/types";
import type { TrialAsked } from "../wire/frame";
import type { Tool, ToolSheet, ToolWords, Touch } from "./tool";

const DECIDE_PX = 12;
/** Pixels a finger goes for one knot. */
const PX_PER_KN = 16;
const FASTEST_KN = 40;
const DELAYS_S = [0, 60, 120, 180, 360] as const;
/** The helm is asked no oftener than this while a finger drags, ms. */
const ASK_MS = 120;

export interface Now {
  readonly courseDeg: number;
  readonly speedKn: number;
}

export class TrialTool implements Tool {
  readonly name = "trial";
  readonly restS = 60;
  readonly holdsView = false;
  readonly fadesPresent = true;
  #courseDeg = 0;
  #speedKn = 0;
  #delayS = 0;
  #isSet = false;
  #began: { touch: Touch; courseDeg: number; speedKn: number } | null = null;
  #axis: "course" | "speed" | null = null;
  #askedAt = Number.NEGATIVE_INFINITY;
  #waiting: number | undefined;
  #offer = 0;

  constructor(
    private readonly sheet: ToolSheet,
    private readonly boat: () => Place | null,
    private readonly now: () => Now | null,
    private readonly told: () => Trial | null,
    private readonly offers: () => Manoeuvres | null,
    private readonly wheel: (courseDeg: number) => string,
    private readonly ask: (asked: TrialAsked | null) => void,
    private readonly done: () => void,
  ) {}

  enter(): void {
    const now = this.now();
    this.#isSet = now !== null;
    this.#courseDeg = now === null ? 0 : now.courseDeg;
    this.#speedKn = now === null ? 0 : Math.round(now.speedKn * 2) / 2;
    this.#delayS = 0;
    this.#offer = 0;
    this.#tell();
  }

  /** Ask once more for what is tried. */
  again(): void {
    this.#askedAt = Number.NEGATIVE_INFINITY;
    this.#tell();
  }

  leave(): void {
    window.clearTimeout(this.#waiting);
    this.#began = null;
    this.ask(null);
  }

  blades(): Blade[] {
    return [
      { name: "port", value: () => "5°", press: () => this.#turn(-5), stays: true },
      { name: "starboard", value: () => "5°", press: () => this.#turn(5), stays: true },
      { name: "slower", value: () => "1 kn", press: () => this.#faster(-1), stays: true },
      { name: "faster", value: () => "1 kn", press: () => this.#faster(1), stays: true },
      { name: "delay", value: () => (this.#delayS === 0 ? "now" : `in ${this.#delayS / 60} min`), press: () => this.#later(), stays: true },
      { name: "offered", value: () => "", press: () => this.#takeOffer(), stays: true, isShown: () => this.#offered().length > 0 },
      { name: "done", value: () => "", press: this.done },
    ];
  }

  says(): ToolWords {
    if (!this.#isSet) return { text: "No trial: own course or speed is not known.", isLoud: true };
    const told = this.told();
    const when = this.#delayS === 0 ? "now" : `in ${this.#delayS / 60} min`;
    const wheel = this.wheel(this.#courseDeg);
    const beside = wheel === "" ? "" : ` (${wheel})`;
    const head = `Trial ${when}: ${threeFigures(this.#courseDeg)}°${beside}, ${sayKnots(this.#speedKn)} kn.`;
    return { text: told === null ? head : `${head} ${withoutHead(told.say)}`, isLoud: told?.clears === false };
  }

  down(touch: Touch): void {
    this.#began = { touch, courseDeg: this.#courseDeg, speedKn: this.#speedKn };
    this.#axis = null;
  }

  move(touch: Touch): void {
    const boat = this.boat();
    const began = this.#began;
    const centre = boat === null ? null : this.sheet.pixelOf(boat.latDeg, boat.lonDeg);
    if (began === null || centre === null) return;
    const from = [began.touch.x - centre[0], began.touch.y - centre[1]] as const;
    const to = [touch.x - centre[0], touch.y - centre[1]] as const;
    const turned = dragTurnRad(from, to);
    const out = Math.hypot(...to) - Math.hypot(...from);
    if (this.#axis === null) {
      const around = Math.abs(turned) * Math.max(Math.hypot(...from), 40);
      if (Math.max(around, Math.abs(out)) < DECIDE_PX) return;
      this.#axis = around >= Math.abs(out) ? "course" : "speed";
    }
    if (this.#axis === "course") this.#courseDeg = (((Math.round(began.courseDeg + (turned * 180) / Math.PI) % 360) + 360) % 360);
    else this.#speedKn = within(Math.round((began.speedKn + out / PX_PER_KN) * 2) / 2);
    this.#tell();
  }

  up(touch: Touch): void {
    this.move(touch);
    this.#began = null;
  }

  key(key: string, isFine: boolean): boolean {
    switch (key) {
      case "ArrowLeft":
        this.#turn(isFine ? -1 : -5);
        return true;
      case "ArrowRight":
        this.#turn(isFine ? 1 : 5);
        return true;
      case "ArrowUp":
        this.#faster(isFine ? 0.5 : 1);
        return true;
      case "ArrowDown":
        this.#faster(isFine ? -0.5 : -1);
        return true;
      case "Enter":
        this.#later();
        return true;
      case "o":
        this.#takeOffer();
        return true;
      default:
        return false;
    }
  }

  draw(view: View): void {
    // Drawn by the sheet itself from what the helm tells, on every screen; here only the line under the finger.
    if (this.told() === null && this.#isSet) drawTrial(view, null, { courseDeg: this.#courseDeg, speedKn: this.#speedKn });
  }

  #turn(deg: number): void {
    this.#courseDeg = (((Math.round(this.#courseDeg + deg) % 360) + 360) % 360);
    this.#tell();
  }

  #faster(kn: number): void {
    this.#speedKn = within(this.#speedKn + kn);
    this.#tell();
  }

  #later(): void {
    const index = DELAYS_S.findIndex((s) => s === this.#delayS);
    this.#delayS = DELAYS_S[(index + 1) % DELAYS_S.length] ?? 0;
    this.#tell();
  }

  #offered(): Manoeuvre[] {
    const offers = this.offers();
    return offers === null ? [] : [offers.turn, offers.slow].filter((m) => m !== null);
  }

  /** Try what is offered: the smallest turn, then the smallest slowing. */
  #takeOffer(): void {
    const offered = this.#offered();
    const taken = offered[this.#offer % Math.max(offered.length, 1)];
    if (taken === undefined) return;
    this.#offer += 1;
    this.#courseDeg = Math.round(taken.course_deg) % 360;
    this.#speedKn = within(Math.floor(taken.speed_kn * 2) / 2);
    this.#delayS = 0;
    this.#tell();
  }

  #tell(): void {
    if (!this.#isSet) return;
    const wait = this.#askedAt + ASK_MS - performance.now();
    window.clearTimeout(this.#waiting);
    if (wait > 0) {
      this.#waiting = window.setTimeout(() => this.#tell(), wait);
      return;
    }
    this.#askedAt = performance.now();
    this.ask({ course_deg: this.#courseDeg, speed_kn: this.#speedKn, delay_s: this.#delayS });
  }
}

/** The helm's sentence without its own "Trial: course ..., now.": the tool says what it asks for itself, at once. */
export function withoutHead(say: string): string {
  return say.replace(/^Trial: course[^.]*\.\s*/, "");
}

/** Angle a finger has gone round the middle between two places, clockwise, radians. */
export function dragTurnRad(from: readonly [number, number], to: readonly [number, number]): number {
  return Math.atan2(from[0] * to[1] - from[1] * to[0], from[0] * to[0] + from[1] * to[1]);
}

function within(kn: number): number {
  return Math.min(Math.max(kn, 0), FASTEST_KN);
}
