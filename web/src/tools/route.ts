/**
 * A route drawn by finger. It begins at the boat; each touch adds a point, a drag moves one, a touch on a leg puts a
 * point into it. The server holds every leg against the chart as the night plan would. Nothing is kept before "save".
 */
import { threeFigures } from "../geo/angles";
import { rangeBearing } from "../geo/mercator";
import { down, inOneSystem, sayDistance, type DistanceUnit } from "../geo/units";
import { css } from "../look/table";
import type { Place } from "../layers/ink/tools/measure";
import { at, css2, ink, type View } from "../layers/ink/view";
import type { Blade } from "../panels/bar";
import type { LegCheck } from "../state/types";
import { Draft } from "./draft";
import { REACH_PX, stepped, type Tool, type ToolSheet, type ToolWords, type Touch } from "./tool";

const DRAG_PX = 10;

export interface RouteAsks {
  /** Ask the server to check; the answer comes back by `checked`. */
  check(points: readonly Place[], then: (answer: { legs: readonly LegCheck[] } | { problem: string }) => void): void;
  way(from: Place, to: Place, then: (answer: { points: readonly Place[]; notes: readonly string[] } | { problem: string }) => void): void;
  save(points: readonly Place[], stopped: number, then: () => void): void;
  kept(): void;
}

export class RouteTool implements Tool {
  readonly name = "route";
  readonly restS = 180;
  readonly holdsView = true;
  readonly fadesPresent = false;
  readonly draft = new Draft();
  /** What the chart has to say to each leg; null: not known yet. */
  #legs: readonly (LegCheck | null)[] = [];
  #problem = "";
  /** What was told of the way that was found last, while the drawing is still that way. */
  #notes: readonly string[] = [];
  #noted: readonly Place[] = [];
  #cursor: Place | null = null;
  #began: Touch | null = null;
  #held: number | null = null;
  #isDragging = false;
  #isSeeking = false;

  constructor(
    private readonly sheet: ToolSheet,
    private readonly boat: () => Place | null,
    private readonly unit: () => DistanceUnit,
    private readonly asks: RouteAsks,
    private readonly done: () => void,
    private readonly changed: () => void,
  ) {}

  enter(): void {
    this.#cursor = null;
    const boat = this.boat();
    if (this.draft.points.length === 0 && boat !== null) this.draft.add({ latDeg: boat.latDeg, lonDeg: boat.lonDeg });
    this.#ask();
  }

  leave(): void {
    this.#began = null;
    this.#held = null;
  }

  /** How many legs the chart refuses, and how many it has not answered for. */
  get stopped(): number {
    return this.#legs.filter((leg) => leg !== null && leg.stops.length > 0).length;
  }

  get unanswered(): number {
    return this.#legs.filter((leg) => leg === null).length;
  }

  blades(): Blade[] {
    const { draft } = this;
    return [
      { name: "undo", value: () => "", press: () => this.#undo(), stays: true, isShown: () => draft.canUndo },
      { name: "remove", value: () => "point", press: () => this.#remove(), stays: true, isShown: () => draft.points.length > 0 },
      { name: "find way", value: () => (this.#isSeeking ? "seeking" : ""), press: () => this.#way(), stays: true, isShown: () => draft.points.length > 1 },
      { name: "save", value: () => "", press: () => this.asks.save(draft.points, this.stopped + this.unanswered, () => this.#saved()), stays: true, isShown: () => draft.points.length > 1 },
      { name: "kept", value: () => "routes", press: () => this.asks.kept(), stays: true },
      { name: "done", value: () => "", press: this.done },
    ];
  }

  says(): ToolWords {
    const words = this.#saysOfLegs();
    const { points } = this.draft;
    const notes = points === this.#noted && this.#problem === "" ? this.#notes : [];
    if (notes.length === 0) return words;
    return { ...words, text: `${words.text} The way: ${inOneSystem(notes.join("; "), this.unit())}.` };
  }

  #saysOfLegs(): ToolWords {
    const { points } = this.draft;
    if (this.#problem !== "") return { text: `Route: ${this.#problem}.`, isLoud: true };
    if (points.length < 2) return { text: "Route: touch where it goes. It begins at the boat.", isLoud: false };
    const unit = this.unit();
    let length = 0;
    for (let i = 1; i < points.length; i++) length += leg(points, i).rangeM;
    const whole = `Route, ${points.length} points, ${sayDistance(length, unit)}`;
    const index = this.#legs.findIndex((l) => l !== null && l.stops.length > 0);
    const bad = index < 0 ? undefined : this.#legs[index];
    if (bad != null) return { text: `${whole}. Leg ${index + 1} refused: ${inOneSystem(bad.stops[0]?.say ?? "", unit)}.`, isLoud: true };
    if (this.unanswered > 0) return { text: `${whole}. The chart is being asked.`, isLoud: false };
    const against = this.#legs.findIndex((l) => l !== null && l.against.length > 0);
    const least = Math.min(...this.#legs.map((l) => l?.least_depth_m ?? Number.POSITIVE_INFINITY));
    const depth = Number.isFinite(least) ? `least charted ${down(least, 1)} m` : "depth not charted";
    if (against >= 0) return { text: `${whole}, ${depth}. Mind on leg ${against + 1}: ${inOneSystem(this.#legs[against]?.against[0]?.say ?? "", unit)}.`, isLoud: false };
    return { text: `${whole}, ${depth}. The chart has nothing against it.`, isLoud: false };
  }

  down(touch: Touch): void {
    this.#began = touch;
    this.#isDragging = false;
    this.#held = this.#pointAt(touch);
    if (this.#held !== null) this.draft.selected = this.#held;
  }

  move(touch: Touch): void {
    const began = this.#began;
    if (began === null || this.#held === null) return;
    if (!this.#isDragging && Math.hypot(touch.x - began.x, touch.y - began.y) < DRAG_PX) return;
    if (!this.#isDragging) this.draft.lift();
    this.#isDragging = true;
    this.draft.moveTo(this.#held, touch.place);
    this.#ask();
  }

  up(touch: Touch): void {
    const began = this.#began;
    this.#began = null;
    if (began === null) return;
    const isTouch = Math.hypot(touch.x - began.x, touch.y - began.y) < DRAG_PX;
    if (this.#held === null && isTouch) {
      const into = this.#legAt(touch);
      if (!(into === null ? this.draft.add(touch.place) : this.draft.insert(into, touch.place))) this.#problem = "no more points";
    }
    this.#held = null;
    this.#cursor = null;
    this.#ask();
  }

  key(key: string, isFine: boolean): boolean {
    const now = this.#cursor ?? this.draft.points.at(-1) ?? this.boat();
    const next = now === null ? null : stepped(this.sheet, now, key, isFine);
    if (next !== null) {
      this.#cursor = next;
      return true;
    }
    switch (key) {
      case "Enter":
        if (this.#cursor === null) return false;
        this.draft.add(this.#cursor);
        this.#ask();
        return true;
      case "Backspace":
        this.#undo();
        return true;
      case "Delete":
        this.#remove();
        return true;
      default:
        return false;
    }
  }

  draw(view: View): void {
    const { points, selected } = this.draft;
    const places = points.map((p) => at(view, p.latDeg, p.lonDeg));
    for (let i = 1; i < places.length; i++) this.#drawLeg(view, places[i - 1], places[i], i);
    places.forEach(([x, y], i) => {
      const { ctx } = view;
      ctx.setLineDash([]);
      ctx.fillStyle = css(view.inks.sheet);
      ctx.strokeStyle = ink(view, i === selected ? "shout" : "speak");
      ctx.lineWidth = i === selected ? 2.6 : 1.8;
      ctx.beginPath();
      // A diamond in a ring: no other thing on the sheet has this form.
      ctx.arc(x, y, 11, 0, 2 * Math.PI);
      ctx.fill();
      ctx.stroke();
      ctx.beginPath();
      ctx.moveTo(x, y - 5);
      ctx.lineTo(x + 5, y);
      ctx.lineTo(x, y + 5);
      ctx.lineTo(x - 5, y);
      ctx.closePath();
      ctx.stroke();
      view.labels.block(x - 12, y - 12, 24, 24);
    });
    this.#legs.forEach((told) => {
      for (const danger of told?.stops ?? []) if (danger.lat !== null && danger.lon !== null) cross(view, danger.lat, danger.lon);
    });
    if (this.#cursor !== null) {
      const [x, y] = at(view, this.#cursor.latDeg, this.#cursor.lonDeg);
      const { ctx } = view;
      ctx.strokeStyle = ink(view, "shout");
      ctx.lineWidth = 1.6;
      ctx.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
        ctx.moveTo(x + 5 * dx, y + 5 * dy);
        ctx.lineTo(x + 16 * dx, y + 16 * dy);
      }
      ctx.stroke();
    }
  }

  #drawLeg(view: View, p: [number, number] | undefined, q: [number, number] | undefined, index: number): void {
    if (p === undefined || q === undefined) return;
    const { ctx } = view;
    const told = this.#legs[index - 1] ?? null;
    const isStopped = told !== null && told.stops.length > 0;
    ctx.strokeStyle = ink(view, isStopped ? "shout" : "speak");
    ctx.lineWidth = isStopped ? 3 : 2.2;
    // Not asked yet: dots. Refused: short broken strokes. Nothing against it: whole.
    ctx.setLineDash(told === null ? [2, 6] : isStopped ? [6, 6] : []);
    ctx.beginPath();
    ctx.moveTo(p[0], p[1]);
    ctx.lineTo(q[0], q[1]);
    ctx.stroke();
    ctx.setLineDash([]);
    const { rangeM, bearingDeg } = leg(this.draft.points, index);
    if (Math.hypot(q[0] - p[0], q[1] - p[1]) > 70) {
      view.labels.write(
        ctx, `${threeFigures(bearingDeg)}° ${sayDistance(rangeM, view.unit)}`, (p[0] + q[0]) / 2, (p[1] + q[1]) / 2, 10, 14, css2(view, isStopped ? "shout" : "speak"), css(view.inks.sheet), 500,
      );
    }
  }

  #pointAt(touch: Touch): number | null {
    let best: number | null = null;
    let bestAway = REACH_PX;
    this.draft.points.forEach((point, i) => {
      const pixel = this.sheet.pixelOf(point.latDeg, point.lonDeg);
      const away = pixel === null ? Number.POSITIVE_INFINITY : Math.hypot(pixel[0] - touch.x, pixel[1] - touch.y);
      if (away < bestAway) {
        best = i;
        bestAway = away;
      }
    });
    return best;
  }

  /** Index at which a point touched on a leg goes in; null when no leg is near. */
  #legAt(touch: Touch): number | null {
    const pixels = this.draft.points.map((p) => this.sheet.pixelOf(p.latDeg, p.lonDeg));
    for (let i = 1; i < pixels.length; i++) {
      const [p, q] = [pixels[i - 1], pixels[i]];
      if (p == null || q == null) continue;
      if (awayFromLeg([touch.x, touch.y], p, q) < 16) return i;
    }
    return null;
  }

  #remove(): void {
    const index = this.draft.selected ?? this.draft.points.length - 1;
    if (index < 0) return;
    this.draft.remove(index);
    this.#ask();
  }

  #undo(): void {
    this.draft.undo();
    this.#cursor = null;
    this.#ask();
  }

  /** A way for the leg that ends at the chosen point; else for the first that the chart refuses. */
  #way(): void {
    const { points, selected } = this.draft;
    const refused = this.#legs.findIndex((l) => l !== null && l.stops.length > 0) + 1;
    const index = refused > 0 ? refused : Math.max(selected ?? points.length - 1, 1);
    const [from, to] = [points[index - 1], points[index]];
    if (from === undefined || to === undefined || this.#isSeeking) return;
    this.#isSeeking = true;
    this.asks.way(from, to, (answer) => {
      this.#isSeeking = false;
      if ("problem" in answer) this.#problem = answer.problem;
      else if (this.draft.points[index - 1] === from && this.draft.points[index] === to) {
        this.draft.replaceLeg(index, answer.points);
        this.#notes = answer.notes;
        this.#noted = this.draft.points;
        this.#ask();
      }
      this.changed();
    });
  }

  #saved(): void {
    this.draft.clear();
    this.#legs = [];
    this.done();
  }

  #ask(): void {
    const points = this.draft.points;
    this.#problem = "";
    this.#legs = points.slice(1).map(() => null);
    if (points.length < 2) return;
    this.asks.check(points, (answer) => {
      if (points !== this.draft.points) return;
      if ("problem" in answer) this.#problem = answer.problem;
      else this.#legs = answer.legs;
      this.changed();
    });
  }
}

function leg(points: readonly Place[], index: number): { rangeM: number; bearingDeg: number } {
  const [p, q] = [points[index - 1], points[index]];
  return p === undefined || q === undefined ? { rangeM: 0, bearingDeg: 0 } : rangeBearing(p.latDeg, p.lonDeg, q.latDeg, q.lonDeg);
}

/** Pixels from a point to a stretch between two others. */
export function awayFromLeg(at: readonly [number, number], p: readonly [number, number], q: readonly [number, number]): number {
  const [dx, dy] = [q[0] - p[0], q[1] - p[1]];
  const span = dx * dx + dy * dy;
  const t = span === 0 ? 0 : Math.min(Math.max(((at[0] - p[0]) * dx + (at[1] - p[1]) * dy) / span, 0), 1);
  return Math.hypot(at[0] - p[0] - t * dx, at[1] - p[1] - t * dy);
}

function cross(view: View, latDeg: number, lonDeg: number): void {
  const [x, y] = at(view, latDeg, lonDeg);
  const { ctx } = view;
  ctx.strokeStyle = ink(view, "shout");
  ctx.lineWidth = 2.4;
  ctx.beginPath();
  ctx.moveTo(x - 8, y - 8);
  ctx.lineTo(x + 8, y + 8);
  ctx.moveTo(x + 8, y - 8);
  ctx.lineTo(x - 8, y + 8);
  ctx.stroke();
}
