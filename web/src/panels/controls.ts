/** What the controls and the keys do: one place, so that each control is reachable by hand and by key. */
import { RANGES_NM } from "../geo/units";
import type { Screen } from "../screen";
import type { Lay, Look, Store, Trails, Up } from "../state/store";
import type { Control } from "../wire/frame";
import type { Bar, Blade, Group } from "./bar";
import type { Key } from "./keys";
import type { Voice } from "./voice";
import type { SetupDoor } from "../setup/door";
import type { Bow } from "../state/types";
import type { Toolbox } from "../tools/toolbox";
import type { Tool } from "../tools/tool";
import { askFirst } from "./ask";
import { unanswered } from "../state/say";
import { inOrder } from "../drawers/echoes";

export interface Reach {
  readonly store: Store;
  readonly screen: Screen;
  readonly voice: Voice;
  readonly ask: (control: Control) => void;
  readonly keys: () => void;
  readonly plan: () => void;
  readonly echoes: () => void;
  readonly now: () => void;
  /** Close an open drawer; false: none was. */
  readonly closeDrawer: () => boolean;
  readonly routes: () => void;
  readonly box: Toolbox;
  readonly tools: { readonly measure: Tool; readonly route: Tool; readonly trial: Tool; readonly lines: Tool };
  readonly setup: SetupDoor;
}

const UPS: readonly Up[] = ["head", "course", "north"];
const LAYS: readonly Lay[] = ["over", "beside", "radar"];
const LAY_WORD: Readonly<Record<Lay, string>> = { over: "radar on chart", beside: "side by side", radar: "radar alone" };
const UP_WORD: Readonly<Record<Up, string>> = { head: "heading", course: "course", north: "north" };
const LOOKS: readonly (Look | null)[] = [null, "night", "dusk", "day"];
const TRAILS: readonly Trails[] = ["off", "short", "long"];
const SPEEDS = [1, 2, 4, 8] as const;
const SIGHTS = ["unsure", "in sight", "radar only"] as const;
/** Minutes of silence, one press after another; 0 ends it. */
const SILENCES_MIN = [5, 15, 30, 0] as const;

function after<T>(list: readonly T[], now: T): T {
  return list[(list.indexOf(now) + 1) % list.length] as T;
}

export class Doer {
  constructor(readonly reach: Reach) {}

  get state() {
    return this.reach.store.state;
  }

  set(change: Parameters<Store["send"]>[0] extends infer E ? (E extends { type: "set"; change: infer C } ? C : never) : never): void {
    this.reach.store.send({ type: "set", change });
  }

  range(step: number): void {
    const index = Math.min(Math.max(this.state.settings.rangeIndex + step, 0), RANGES_NM.length - 1);
    this.set({ rangeIndex: index, rangeHeld: true });
  }

  /** The boat back to her place, the range by itself. */
  back = (): void => {
    this.reach.screen.eye.back();
    this.set({ rangeHeld: false });
  };

  up = (): void => this.set({ up: after(UPS, this.state.settings.up) });
  lay = (): void => this.set({ lay: after(LAYS, this.state.settings.lay) });
  look = (): void => this.set({ look: after(LOOKS, this.state.settings.look) });
  dim = (): void => this.set({ dim: this.state.settings.dim >= 0.8 ? 0 : Math.round((this.state.settings.dim + 0.2) * 10) / 10 });
  radar = (): void => this.set({ radarStrength: this.state.settings.radarStrength <= 0.2 ? 1 : Math.round((this.state.settings.radarStrength - 0.2) * 10) / 10 });
  hand = (): void => this.set({ hand: (this.state.settings.hand ?? this.state.hello?.boat.free_hand ?? "right") === "right" ? "left" : "right" });
  lock = (): void => this.reach.store.send({ type: "lock", locked: true });
  heard = (): void => {
    const key = unanswered(this.state)[0]?.key ?? this.state.standing[0]?.key;
    if (key === undefined) return;
    this.reach.ask({ do: "acknowledge", key });
    this.reach.store.send({ type: "acknowledged", key });
  };
  again = (): void => this.reach.ask({ do: "say again" });
  silence = (): void => {
    const leftMin = (this.state.affairs?.silent_s ?? 0) / 60;
    const value = leftMin <= 0 ? SILENCES_MIN[0] : (SILENCES_MIN.find((m) => m > leftMin) ?? 0);
    this.reach.ask({ do: "silence", value });
    if (value > 0) this.reach.voice.hush(4);
  };
  loudspeaker = (): void => this.reach.ask({ do: "loudspeaker", value: this.state.affairs?.loudspeaker !== true });
  fog = (): void => this.reach.ask({ do: "fog signal", value: this.state.affairs?.fog_s == null });
  sight = (): void => this.reach.ask({ do: "sight", value: after(SIGHTS, (this.state.affairs?.sight ?? "unsure") as (typeof SIGHTS)[number]) });
  pause = (): void => this.reach.ask({ do: this.state.affairs?.paused === true ? "go on" : "pause" });
  faster = (): void => this.reach.ask({ do: "speed", value: after(SPEEDS, (this.state.affairs?.speed ?? 1) as (typeof SPEEDS)[number]) });
  restart = (): void => askFirst("Start the story again?", "start again", () => this.reach.ask({ do: "start again" }));

  voice = (): void => {
    const voice = !this.state.settings.voice;
    this.set({ voice });
    if (voice) this.again();
    else this.reach.voice.stop();
  };

  tones = (): void => this.set({ tones: this.state.settings.tones !== true });

  measure = (): void => this.reach.box.toggle(this.reach.tools.measure);
  route = (): void => this.reach.box.toggle(this.reach.tools.route);
  trial = (): void => this.reach.box.toggle(this.reach.tools.trial);
  trails = (): void => this.set({ trails: after(TRAILS, this.state.settings.trails) });

  lines = (): void => this.reach.box.toggle(this.reach.tools.lines);

  /** Step through echoes, what matters most first. */
  echo(step: number): void {
    const echoes = inOrder(this.state);
    if (echoes.length === 0) return;
    const now = echoes.findIndex((echo) => echo.id === this.state.touched);
    const next = now < 0 ? (step > 0 ? 0 : echoes.length - 1) : (now + step + echoes.length) % echoes.length;
    this.reach.store.send({ type: "touch", echo: echoes[next]?.id ?? null });
  }
}

/** The four that stand beside "more": what a hand reaches for without looking. */
export function fiveControls(reach: Reach): Blade[] {
  const doer = new Doer(reach);
  return [
    { name: "nearer", value: () => "", press: () => doer.range(-1) },
    { name: "farther", value: () => "", press: () => doer.range(1) },
    { name: "heard", value: () => (unanswered(doer.state).length === 0 ? "" : `${unanswered(doer.state).length} waiting`), press: doer.heard },
    { name: "trial", value: () => "", press: doer.trial },
  ];
}

/** All others, in one list. */
export function listedControls(reach: Reach): Group[] {
  const doer = new Doer(reach);
  const settings = () => doer.state.settings;
  const isStory = (): boolean => doer.state.hello?.source !== "live";
  const silentS = (): number => doer.state.affairs?.silent_s ?? 0;
  return [
    {
      title: "Read",
      blades: [
        { name: "echoes", value: () => "all, in words", press: reach.echoes },
        { name: "said now", value: () => "in full", press: reach.now },
        { name: "plan", value: () => "leg by leg", press: reach.plan, isShown: () => doer.state.reading?.plan != null },
        { name: "keys", value: () => "every key", press: reach.keys },
        { name: "practice", value: () => "exercises", press: () => window.location.assign("practice.html?helm"), isShown: isStory },
      ],
    },
    {
      title: "Picture",
      blades: [
        { name: "view", value: () => LAY_WORD[settings().lay], press: doer.lay, stays: true },
        { name: "up", value: () => UP_WORD[settings().up], press: doer.up, stays: true },
        { name: "range", value: () => (settings().rangeHeld ? "held" : "by itself"), press: doer.back, stays: true },
        { name: "light", value: () => settings().look ?? "by the sun", press: doer.look, stays: true },
        { name: "brightness", value: () => `${Math.round((1 - settings().dim) * 100)} %`, press: doer.dim, stays: true },
        { name: "radar", value: () => `${Math.round(settings().radarStrength * 100)} %`, press: doer.radar, stays: true },
        { name: "trails", value: () => settings().trails, press: doer.trails, stays: true },
      ],
    },
    {
      title: "Sound",
      blades: [
        { name: "say again", value: () => "", press: doer.again, stays: true },
        { name: "silence", value: () => (silentS() > 0 ? `${Math.ceil(silentS() / 60)} min` : "off"), press: doer.silence, stays: true },
        { name: "tones", value: () => (settings().tones === true ? "on" : "off"), press: doer.tones, stays: true },
        { name: "voice", value: () => (settings().voice ? "on" : "off"), press: doer.voice, stays: true },
        { name: "speaker", value: () => (doer.state.affairs?.loudspeaker === true ? "on" : doer.state.affairs?.loudspeaker === null ? "none" : "off"), press: doer.loudspeaker, stays: true },
        { name: "fog signal", value: () => (doer.state.affairs?.fog_s == null ? "off" : `in ${doer.state.affairs.fog_s} s`), press: doer.fog, stays: true },
        { name: "sight", value: () => doer.state.affairs?.sight ?? "", press: doer.sight, stays: true },
      ],
    },
    {
      title: "Draw and measure",
      blades: [
        { name: "measure", value: () => "range and bearing", press: doer.measure },
        { name: "draw", value: () => "a route", press: doer.route },
        { name: "routes", value: () => "kept", press: reach.routes },
        { name: "lines", value: () => (settings().parallel === null ? "none" : `${Math.round(settings().parallel?.bearingDeg ?? 0)}°`), press: doer.lines },
      ],
    },
    {
      title: "This screen",
      blades: [
        { name: "lock", value: () => "against rain", press: doer.lock },
        { name: "hand", value: () => settings().hand ?? doer.state.hello?.boat.free_hand ?? "right", press: doer.hand, stays: true },
        { name: "set up", value: () => "links, charts, boat", press: () => reach.setup.open("hear"), isShown: () => reach.setup.isThere },
        { name: "bow mark", value: () => bowWord(doer.state.reading?.bow), press: () => reach.setup.open("bow"), isShown: () => doer.state.reading?.bow != null },
      ],
    },
    {
      title: "Demo and recordings",
      blades: [
        { name: "pause", value: () => (doer.state.affairs?.paused === true ? "stands" : "runs"), press: doer.pause, stays: true, isShown: isStory },
        { name: "speed", value: () => `${doer.state.affairs?.speed ?? 1} ×`, press: doer.faster, stays: true, isShown: isStory },
        { name: "start again", value: () => "", press: doer.restart, isShown: isStory },
      ],
    },
  ];
}

/** The bias as measured, short. */
function bowWord(bow: Bow | null | undefined): string {
  if (bow?.bias_deg == null) return bow?.state ?? "";
  return `${bow.bias_deg > 0 ? "+" : "−"}${Math.abs(bow.bias_deg).toFixed(1)}°`;
}

export function keyTable(reach: Reach, bar: Bar): Key[] {
  const doer = new Doer(reach);
  const back = (): void => {
    const { store, box, screen } = reach;
    if (store.state.locked) return;
    const ask = document.getElementById("ask");
    if (ask !== null) ask.remove();
    else if (bar.isOpen) bar.close();
    else if (reach.closeDrawer()) {
      if (store.state.touched !== null) store.send({ type: "touch", echo: null });
    } else if (store.state.touched !== null) store.send({ type: "touch", echo: null });
    else if (box.now !== null) {
      // Back once goes to the tool's own controls, which a knob reaches no other way; back again puts the tool down.
      if (bar.hasFocus) box.leave();
      else bar.focusLast();
    } else if (screen.eye.isPanned || store.state.settings.rangeHeld) doer.back();
    else (document.activeElement as HTMLElement | null)?.blur();
  };
  const enter = (): void => {
    const answer = document.querySelector<HTMLElement>("#card:not([hidden]) .answers button");
    if (answer !== null) answer.focus({ preventScroll: true });
    else if (bar.isHeld) bar.focusLast();
    else bar.focus();
  };
  return [
    { keys: ["+", "=", "ArrowDown", "PageDown"], shown: "+ or down", does: "nearer", press: () => doer.range(-1) },
    { keys: ["-", "ArrowUp", "PageUp"], shown: "− or up", does: "farther", press: () => doer.range(1) },
    { keys: ["ArrowRight", "n"], shown: "right or n", does: "next echo, what matters most first", press: () => doer.echo(1) },
    { keys: ["ArrowLeft", "b"], shown: "left or b", does: "the echo before", press: () => doer.echo(-1) },
    { keys: ["Enter", " "], shown: "Enter", does: "controls; with an echo touched, its answers", press: enter },
    { keys: ["Escape", "Backspace"], shown: "Escape", does: "back; close; at last back to the boat", press: back },
    { keys: ["a"], shown: "a", does: "heard: quiet the call at the foot until it grows more urgent", press: doer.heard },
    { keys: ["u"], shown: "u", does: "head up, course up, north up", press: doer.up },
    { keys: ["l"], shown: "l", does: "chart and radar over each other, beside, radar only", press: doer.lay },
    { keys: ["k"], shown: "k", does: "look: by the sun, night, dusk, day", press: doer.look },
    { keys: ["d"], shown: "d", does: "dimmer", press: doer.dim },
    { keys: ["e"], shown: "e", does: "strength of the radar over the chart", press: doer.radar },
    { keys: ["r"], shown: "r", does: "say the last call again", press: doer.again },
    { keys: ["s"], shown: "s", does: "silence for 5, 15, 30 minutes, none; what is most urgent is said all the same", press: doer.silence },
    { keys: [";"], shown: ";", does: "tones on or off", press: doer.tones },
    { keys: ["v"], shown: "v", does: "this screen's voice on or off", press: doer.voice },
    { keys: ["w"], shown: "w", does: "the helm's own loudspeaker on or off", press: doer.loudspeaker },
    { keys: ["t"], shown: "t", does: "tonight's plan, leg by leg", press: reach.plan },
    { keys: ["g"], shown: "g", does: "remind of the fog signal, or no more", press: doer.fog },
    { keys: ["o"], shown: "o", does: "look-out: unsure, in sight, radar only", press: doer.sight },
    { keys: ["c"], shown: "c", does: "trial: try another course or speed; arrows change it, Enter the delay, o takes what is offered", press: doer.trial },
    { keys: ["m"], shown: "m", does: "measure range and bearing; arrows move the far end, Enter measures from there", press: doer.measure },
    { keys: ["q"], shown: "q", does: "draw a route; arrows move the cross, Enter puts a point, Backspace takes back", press: doer.route },
    { keys: ["j"], shown: "j", does: "routes kept: follow one, or none", press: reach.routes },
    { keys: ["y"], shown: "y", does: "trails of what moved, over the ground: off, short, long", press: doer.trails },
    { keys: ["i"], shown: "i", does: "parallel index lines; left and right move them, up and down turn them, Enter lays them along the leg", press: doer.lines },
    { keys: ["h"], shown: "h", does: "controls at the left or the right hand", press: doer.hand },
    { keys: ["x"], shown: "x", does: "lock the screen against rain", press: doer.lock },
    { keys: ["p"], shown: "p", does: "the story stands still or goes on", press: doer.pause },
    { keys: ["f"], shown: "f", does: "the story faster: 1, 2, 4, 8 times", press: doer.faster },
    { keys: ["0"], shown: "0", does: "start the story again (asks first)", press: doer.restart },
    { keys: ["z"], shown: "z", does: "the radar's bow mark against the chart", press: () => reach.setup.open("bow") },
    { keys: ["/"], shown: "/", does: "all echoes, in words", press: reach.echoes },
    { keys: ["."], shown: ".", does: "all that is said now, in full", press: reach.now },
    { keys: ["Home"], shown: "Home", does: "back to the boat, the range by itself", press: doer.back },
    { keys: ["1"], shown: "1", does: "set up: links, charts, boat", press: () => (reach.setup.isThere ? reach.setup.open("hear") : undefined) },
    { keys: ["?"], shown: "?", does: "this sheet", press: reach.keys },
  ];
}
