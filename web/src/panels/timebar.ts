/**
 * The time bar of a recording: where it stands, what was called and who came close, and any place to go on from. It is
 * there for a recording alone, and says that what is shown is one.
 */
import type { State } from "../state/store";
import type { BarMark, TimeBar as Bar } from "../state/types";
import type { Control } from "../wire/frame";
import { make, setText } from "./dom";
import "./timebar.css";

/** How often a bar whose marks are not gathered yet is asked for, ms. */
const ASK_MS = 2000;
/** So much before a mark it is gone on from, so that one sees it come. */
const BEFORE_MS = 20_000;
/** A mark is passed when the recording stands this near to where its button leads. */
const AT_MARK_MS = 1500;
const STEP_MS = { ArrowLeft: -10_000, ArrowRight: 10_000, PageDown: -60_000, PageUp: 60_000 } as const;
const SPEEDS = [1, 2, 4, 8] as const;

export class TimeBar {
  readonly element = make("section", "", { id: "timebar", "aria-label": "Recording", hidden: "" });
  readonly #what = make("span", "", { class: "what" });
  readonly #at = make("span", "", { class: "at" });
  readonly #of = make("span", "", { class: "of" });
  readonly #say = make("span", "", { class: "say", role: "status" });
  readonly #track = make("div", "", { class: "track", role: "slider", tabindex: "0", "aria-label": "Where the recording stands" });
  readonly #marks = make("div", "", { class: "marks", "aria-hidden": "true" });
  readonly #cursor = make("span", "", { class: "cursor" });
  readonly #play = make("button", "", { type: "button" });
  readonly #speed = make("button", "", { type: "button" });
  #bar: Bar | null = null;
  #askedAt = -Infinity;
  #state: State | null = null;
  /** Where a finger holds the cursor, or where was jumped to and the recording has not come to yet. */
  #held: number | null = null;
  #jumped: number | null = null;

  constructor(private readonly ask: (control: Control) => void) {
    const earlier = make("button", "◂ mark", { type: "button", "aria-label": "to the mark before" });
    const later = make("button", "mark ▸", { type: "button", "aria-label": "to the next mark" });
    earlier.addEventListener("click", () => this.#toMark(-1));
    later.addEventListener("click", () => this.#toMark(1));
    this.#play.addEventListener("click", () => this.ask({ do: this.#state?.affairs?.paused === true ? "go on" : "pause" }));
    this.#speed.addEventListener("click", () => {
      const now = this.#state?.affairs?.speed ?? 1;
      this.ask({ do: "speed", value: SPEEDS.find((speed) => speed > now) ?? SPEEDS[0] });
    });
    this.#track.append(this.#marks, this.#cursor);
    const words = make("div", "", { class: "words" });
    words.append(this.#what, this.#say, this.#at, this.#of);
    const hands = make("div", "", { class: "hands" });
    hands.append(this.#play, this.#speed, earlier, later);
    this.element.append(words, this.#track, hands);
    this.#listen();
  }

  /** So much of the picture it takes, page pixels. */
  get heightPx(): number {
    return this.element.hidden ? 0 : this.element.offsetHeight;
  }

  /** Show where the recording stands now. */
  show(state: State): void {
    this.#state = state;
    const isThere = state.hello?.source === "replay";
    if (!isThere) this.#bar = null;
    else if (state.link === "open" && this.#bar?.is_whole !== true && performance.now() - this.#askedAt > ASK_MS) void this.#fetch();
    this.element.hidden = this.#bar === null;
    if (this.#bar !== null) this.#draw(this.#bar, state);
  }

  #draw(bar: Bar, state: State): void {
    const now = this.#now();
    const zone = state.hello?.boat.local_time_zone ?? "UTC";
    setText(this.#what, `recording of ${moment(bar.first_ms, zone, { day: "numeric", month: "short", year: "numeric" })}, not now`);
    setText(this.#at, now === null ? "" : clock(now, zone));
    setText(this.#of, now === null ? "" : `${lasted(now - bar.first_ms)} of ${lasted(bar.last_ms - bar.first_ms)}`);
    setText(this.#play, state.affairs?.paused === true ? "play" : "pause");
    setText(this.#speed, `${state.affairs?.speed ?? 1} ×`);
    const share = now === null ? 0 : shareOf(bar, now);
    this.#cursor.style.left = `${100 * share}%`;
    this.#track.setAttribute("aria-valuemin", "0");
    this.#track.setAttribute("aria-valuemax", String(Math.round((bar.last_ms - bar.first_ms) / 1000)));
    this.#track.setAttribute("aria-valuenow", String(Math.round(share * ((bar.last_ms - bar.first_ms) / 1000))));
    this.#track.setAttribute("aria-valuetext", now === null ? "" : clock(now, zone));
    setText(this.#say, this.#words(bar, now));
  }

  /** What stands at this place; while a place is being read, that. */
  #words(bar: Bar, now: number | null): string {
    if (this.#jumped !== null) return "going there";
    if (!bar.is_whole) return "marks are being gathered";
    const near = now === null ? undefined : nearest(bar.marks, now, BEFORE_MS + AT_MARK_MS);
    return near === undefined ? "" : near.say;
  }

  /** Where the cursor stands, Unix ms of the recording. */
  #now(): number | null {
    const story = this.#state?.affairs?.story_ms ?? null;
    if (this.#jumped !== null && story !== null && Math.abs(story - this.#jumped) < 4000) this.#jumped = null;
    return this.#held ?? this.#jumped ?? story;
  }

  async #fetch(): Promise<void> {
    this.#askedAt = performance.now();
    try {
      const response = await fetch(new URL("timebar", document.baseURI));
      if (response.status !== 200) return;
      const bar = (await response.json()) as Bar;
      this.#bar = bar;
      this.#marks.replaceChildren(...bar.marks.map((mark) => markOn(bar, mark)));
      if (this.#state !== null) this.show(this.#state);
    } catch {
      // The link is lost; it is asked again when it is back.
    }
  }

  #jump(to: number): void {
    const bar = this.#bar;
    if (bar === null) return;
    this.#jumped = Math.round(Math.min(Math.max(to, bar.first_ms), bar.last_ms - 1000));
    this.ask({ do: "jump", value: this.#jumped });
    if (this.#state !== null) this.show(this.#state);
  }

  #toMark(step: 1 | -1): void {
    const bar = this.#bar;
    const now = this.#now();
    if (bar === null || now === null) return;
    const places = bar.marks.map((mark) => Math.max(mark.at_ms - BEFORE_MS, bar.first_ms));
    const next = step > 0 ? places.find((place) => place > now + AT_MARK_MS) : places.reverse().find((place) => place < now - AT_MARK_MS);
    if (next !== undefined) this.#jump(next);
  }

  #listen(): void {
    const placeAt = (event: PointerEvent): number | null => {
      const box = this.#track.getBoundingClientRect();
      const bar = this.#bar;
      if (bar === null || box.width === 0) return null;
      const share = Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
      return bar.first_ms + share * (bar.last_ms - bar.first_ms);
    };
    this.#track.addEventListener("pointerdown", (event) => {
      this.#track.setPointerCapture(event.pointerId);
      this.#held = placeAt(event);
      if (this.#state !== null) this.show(this.#state);
    });
    this.#track.addEventListener("pointermove", (event) => {
      if (this.#held === null) return;
      this.#held = placeAt(event);
      if (this.#state !== null) this.show(this.#state);
    });
    this.#track.addEventListener("pointerup", (event) => {
      const to = this.#held === null ? null : placeAt(event);
      this.#held = null;
      if (to !== null) this.#jump(to);
    });
    this.#track.addEventListener("pointercancel", () => (this.#held = null));
    this.#track.addEventListener("keydown", (event) => {
      const bar = this.#bar;
      const now = this.#now();
      if (bar === null || now === null) return;
      const step = STEP_MS[event.key as keyof typeof STEP_MS] as number | undefined;
      const to = event.key === "Home" ? bar.first_ms : event.key === "End" ? bar.last_ms : step === undefined ? null : now + step;
      if (to === null) return;
      event.preventDefault();
      event.stopPropagation();
      this.#jump(to);
    });
    // A touch on the bar is none on the picture beneath.
    for (const kind of ["pointerdown", "pointermove", "pointerup", "wheel"]) this.element.addEventListener(kind, (event) => event.stopPropagation());
  }
}

/** 0 to 1. */
export function shareOf(bar: Pick<Bar, "first_ms" | "last_ms">, at: number): number {
  return Math.min(Math.max((at - bar.first_ms) / Math.max(bar.last_ms - bar.first_ms, 1), 0), 1);
}

/** The mark nearest after a place, or just before it; undefined where none is within so much. */
export function nearest(marks: readonly BarMark[], at: number, withinMs: number): BarMark | undefined {
  return marks.find((mark) => mark.at_ms >= at - AT_MARK_MS && mark.at_ms - at <= withinMs);
}

/** Minutes and seconds, hours where there are any. */
export function lasted(ms: number): string {
  const seconds = Math.max(0, Math.round(ms / 1000));
  const [h, m, s] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
  return h > 0 ? `${h}:${String(m).padStart(2, "0")}:${String(s).padStart(2, "0")}` : `${m}:${String(s).padStart(2, "0")}`;
}

/** A stroke for a call, the higher the more urgent; a ring for a closest approach: forms, not colours. */
function markOn(bar: Bar, mark: BarMark): HTMLElement {
  const element = make("span", "", { class: mark.kind, title: mark.say });
  element.style.left = `${100 * shareOf(bar, mark.at_ms)}%`;
  if (mark.kind === "call") element.style.height = `${8 + 5 * mark.urgency}px`;
  else if (mark.urgency >= 4) element.classList.add("inside");
  return element;
}

function clock(ms: number, zone: string): string {
  return moment(ms, zone, { hour: "2-digit", minute: "2-digit", second: "2-digit" });
}

function moment(ms: number, zone: string, form: Intl.DateTimeFormatOptions): string {
  try {
    return new Intl.DateTimeFormat("en-GB", { ...form, timeZone: zone }).format(ms);
  } catch {
    // A zone this browser does not know.
    return `${new Intl.DateTimeFormat("en-GB", { ...form, timeZone: "UTC" }).format(ms)} UTC`;
  }
}
