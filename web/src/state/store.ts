/** One store, one reducer, no DOM. */
import type { Pose } from "../wire/frame";
import { RANGES_NM } from "../geo/units";
import type { Affairs, Alert, BoatFacts, CallNow, ChartData, Hello, Reading, Trial } from "./types";

export type Look = "night" | "dusk" | "day";
export type Up = "head" | "course" | "north";
export type Lay = "over" | "beside" | "radar";
export type Trails = "off" | "short" | "long";

/** What this screen chose for itself; every tablet has its own. Kept on the device. */
export interface Settings {
  /** null: follows the sun. */
  readonly look: Look | null;
  readonly up: Up;
  readonly lay: Lay;
  readonly rangeIndex: number;
  /** The range was chosen by hand and stays; false: it goes with the speed and holds what is called. */
  readonly rangeHeld: boolean;
  /** 0..1 */
  readonly radarStrength: number;
  /** 0..0.9 of the light taken away, beneath what the system's own dimmer reaches. */
  readonly dim: number;
  readonly hand: "left" | "right" | null;
  readonly voice: boolean;
  /** Whether this screen sounds tones; null: nobody was asked yet. */
  readonly tones: boolean | null;
  /** `offM`: to starboard positive where there is one line only. */
  readonly parallel: { readonly bearingDeg: number; readonly offM: number; readonly isBoth?: boolean } | null;
  readonly trails: Trails;
}

export interface State {
  readonly link: "waiting" | "open" | "lost";
  /** Page milliseconds when the link was last heard. */
  readonly heardAt: number | null;
  /** Page milliseconds when this device last heard a helm before the page was opened; null: never. */
  readonly heardBefore: number | null;
  readonly refused: string | null;
  readonly hello: Hello | null;
  readonly affairs: Affairs | null;
  readonly affairsAt: number;
  readonly pose: Pose | null;
  readonly poseAt: number;
  readonly reading: Reading | null;
  readonly readingAt: number;
  readonly chart: ChartData | null;
  readonly answer: string | null;
  readonly answerAt: number;
  readonly touched: number | null;
  /** The manoeuvre tried here, or else on another screen (`is_own`); null: none. */
  readonly trial: Trial | null;
  /** The calls whose words still stand, by the reading; less those acknowledged here since. */
  readonly standing: readonly CallNow[];
  readonly locked: boolean;
  readonly settings: Settings;
}

export type Event =
  | { readonly type: "open"; readonly at: number }
  | { readonly type: "lost"; readonly at: number }
  | { readonly type: "refused"; readonly why: string }
  | { readonly type: "hello"; readonly hello: Hello }
  | { readonly type: "affairs"; readonly affairs: Affairs; readonly at: number }
  | { readonly type: "answer"; readonly line: string; readonly at: number }
  | { readonly type: "pose"; readonly pose: Pose; readonly at: number }
  | { readonly type: "reading"; readonly reading: Reading; readonly at: number }
  | { readonly type: "heard"; readonly at: number }
  | { readonly type: "chart"; readonly chart: ChartData | null }
  | { readonly type: "trial"; readonly trial: Trial | null }
  | { readonly type: "touch"; readonly echo: number | null }
  | { readonly type: "acknowledged"; readonly key: string }
  | { readonly type: "lock"; readonly locked: boolean }
  | { readonly type: "set"; readonly change: Partial<Settings> };

export const DEFAULTS: Settings = {
  look: null,
  up: "head",
  lay: "over",
  rangeIndex: RANGES_NM.indexOf(1),
  rangeHeld: false,
  radarStrength: 0.8,
  dim: 0,
  hand: null,
  voice: false,
  tones: null,
  parallel: null,
  trails: "off",
};

export function initial(settings: Settings = DEFAULTS, heardBefore: number | null = null): State {
  return {
    link: "waiting",
    heardAt: null,
    heardBefore,
    refused: null,
    hello: null,
    affairs: null,
    affairsAt: 0,
    pose: null,
    poseAt: 0,
    reading: null,
    readingAt: 0,
    chart: null,
    answer: null,
    answerAt: 0,
    touched: null,
    trial: null,
    standing: [],
    locked: false,
    settings,
  };
}

export function reduce(state: State, event: Event): State {
  switch (event.type) {
    case "open":
      return { ...state, link: "open", heardAt: event.at, refused: null };
    case "lost":
      return { ...state, link: "lost", trial: null };
    case "refused":
      return { ...state, refused: event.why };
    case "hello":
      return { ...state, hello: event.hello };
    case "affairs": {
      // A story that began again voids what was shown: the helm has no reading any more, nor have we.
      const isVoid = event.affairs.reading_age_s === null;
      return {
        ...state,
        affairs: event.affairs,
        affairsAt: event.at,
        heardAt: event.at,
        reading: isVoid ? null : state.reading,
        standing: isVoid ? [] : state.standing,
        touched: isVoid ? null : state.touched,
        trial: isVoid ? null : state.trial,
      };
    }
    case "answer":
      return { ...state, answer: event.line, answerAt: event.at };
    case "pose":
      return { ...state, pose: event.pose, poseAt: event.at, heardAt: event.at };
    case "reading": {
      const still = event.reading.echoes.some((echo) => echo.id === state.touched);
      return {
        ...state,
        reading: event.reading,
        standing: event.reading.standing,
        readingAt: event.at,
        heardAt: event.at,
        touched: still ? state.touched : null,
      };
    }
    case "heard":
      return { ...state, heardAt: event.at };
    case "trial":
      return { ...state, trial: event.trial };
    case "chart":
      return { ...state, chart: event.chart };
    case "touch":
      return { ...state, touched: event.echo };
    case "acknowledged":
      return {
        ...state,
        standing: state.standing.filter((call) => call.key !== event.key),
        reading: state.reading === null ? null : { ...state.reading, alerts: acknowledged(state.reading.alerts ?? [], event.key) },
      };
    case "lock":
      return { ...state, locked: event.locked, touched: event.locked ? null : state.touched };
    case "set":
      return { ...state, settings: { ...state.settings, ...event.change } };
  }
}

function acknowledged(alerts: readonly Alert[], key: string): Alert[] {
  return alerts.map((alert) => (alert.key === key && alert.state === "unacknowledged" ? { ...alert, state: "acknowledged" as const } : alert));
}

export class Store {
  #state: State;
  readonly #listeners = new Set<(state: State, before: State) => void>();

  constructor(settings: Settings, heardBefore: number | null = null) {
    this.#state = initial(settings, heardBefore);
  }

  get state(): State {
    return this.#state;
  }

  send(event: Event): void {
    const before = this.#state;
    this.#state = reduce(before, event);
    if (this.#state !== before) for (const listener of this.#listeners) listener(this.#state, before);
  }

  listen(listener: (state: State, before: State) => void): void {
    this.#listeners.add(listener);
  }
}

const KEPT = "moonless.settings.1";

/** Settings kept on this device; what cannot be read is as if never kept. */
export function keptSettings(storage: Pick<Storage, "getItem">): Settings {
  try {
    const kept: unknown = JSON.parse(storage.getItem(KEPT) ?? "{}");
    if (typeof kept !== "object" || kept === null) return DEFAULTS;
    const merged = { ...DEFAULTS, ...(kept as Partial<Settings>) };
    const index = Math.min(Math.max(Math.trunc(merged.rangeIndex), 0), RANGES_NM.length - 1);
    return { ...merged, rangeIndex: Number.isFinite(index) ? index : DEFAULTS.rangeIndex };
  } catch {
    return DEFAULTS;
  }
}

export function keepSettings(storage: Pick<Storage, "setItem">, settings: Settings): void {
  try {
    storage.setItem(KEPT, JSON.stringify(settings));
  } catch {
    // A device that keeps nothing still shows everything.
  }
}

const HEARD = "moonless.heard.1";

/** Keep that a helm was heard now, by this device's own clock. */
export function keepHeard(storage: Pick<Storage, "setItem">): void {
  try {
    storage.setItem(HEARD, String(Date.now()));
  } catch {
    // Then a reload cannot say how long ago it was.
  }
}

/** When a helm was last heard, page milliseconds, which are negative before the page was; null: not kept. */
export function heardBefore(storage: Pick<Storage, "getItem">): number | null {
  try {
    const unixMs = Number(storage.getItem(HEARD) ?? Number.NaN);
    return Number.isFinite(unixMs) && unixMs > 0 && unixMs <= Date.now() ? unixMs - performance.timeOrigin : null;
  } catch {
    return null;
  }
}

export const BOAT_UNKNOWN: BoatFacts = {
  name: "",
  length_m: 9,
  beam_m: 3,
  keep_off_m: 463,
  distance_unit: "nm",
  free_hand: "right",
  night_limit_kn: null,
  stopping_measured: false,
  local_time_zone: "UTC",
};
