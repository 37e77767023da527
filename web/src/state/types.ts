/** What the helm tells, as the page holds it. Names as they come over the wire. */
import type { DistanceUnit } from "../geo/units";
import type { Bow } from "../setup/types";

export type Kind = "vessel" | "charted" | "shore" | "bridge" | "uncharted" | "clutter" | "false";

export interface Echo {
  readonly id: number;
  readonly lat: number;
  readonly lon: number;
  readonly range_m: number;
  readonly bearing_deg: number;
  readonly relative_bearing_deg: number | null;
  readonly cog_deg: number | null;
  readonly sog_kn: number;
  readonly length_m: number | null;
  readonly is: Kind;
  readonly confidence: number;
  readonly p_moving: number;
  readonly charted_as: { object: string; name: string | null; cell: string; feature: string; offset_m: number } | null;
  readonly ais: { mmsi: number; name: string | null } | null;
  readonly cpa_m: number | null;
  readonly tcpa_s: number | null;
  readonly cpa_sigma_m: number | null;
  readonly why: string;
}

export interface Missing {
  readonly object: string;
  readonly name: string | null;
  readonly lat: number;
  readonly lon: number;
  readonly p_seen_if_there: number;
  readonly scans_looked: number;
}

/** `key`: what it is about, the same whatever the words. */
export interface CallNow {
  readonly key: string;
  readonly urgency: number;
  readonly say: string;
  readonly echo: number | null;
}

/** A matter that was called and how it stands, in the words of the standards on bridge alerts. */
export interface Alert {
  readonly key: string;
  readonly urgency: number;
  readonly state: "unacknowledged" | "acknowledged" | "rectified";
  readonly say: string;
  /** An alarm because nobody answered the warning. */
  readonly escalated: boolean;
}

export interface Call extends CallNow {
  readonly number: number;
  readonly again?: boolean;
}

export interface Fault {
  readonly what: string;
  readonly state: string;
  readonly since: string;
}

export interface Reading {
  readonly time: string;
  readonly own: {
    readonly lat: number | null;
    readonly lon: number | null;
    readonly cog_deg: number | null;
    readonly sog_kn: number | null;
    readonly heading_deg: number | null;
    /** What the position rests on: the receiver, or radar and chart while it is silent. */
    readonly position_from?: "receiver" | "radar and chart" | null;
    readonly position_sigma_m?: number | null;
    readonly position_age_s?: number | null;
  };
  readonly echoes: readonly Echo[];
  readonly missing: readonly Missing[];
  readonly hidden: GeoJSON.FeatureCollection | null;
  readonly seeing: readonly { rcs_m2: number; range_m: number | null }[];
  readonly seeing_line: GeoJSON.Polygon | null;
  readonly stopping_m: number | null;
  readonly registration: {
    readonly heading_bias_deg: number | null;
    readonly east_m: number | null;
    readonly north_m: number | null;
    readonly sigma_m: number | null;
    readonly agrees: boolean | null;
  };
  readonly speed: { readonly advised_kn: number | null; readonly because: string };
  readonly faults: readonly Fault[];
  readonly calls: readonly CallNow[];
  /** Calls said before whose words still stand, the most urgent first: when that ends is the reading's to say. */
  readonly standing: readonly CallNow[];
  readonly alerts?: readonly Alert[];
  readonly coasting: readonly number[];
  readonly tails: Readonly<Record<string, readonly (readonly [number, number, number])[]>>;
  /** lat, lon, seconds ago; oldest first. */
  readonly own_track?: readonly (readonly [number, number, number])[];
  readonly turn: number;
  /** By the sounder, from the waterline; null: it says none. */
  readonly depth_m?: number | null;
  /** The radar's bow mark against the chart. */
  readonly bow?: Bow;
  readonly plan?: PlanNow | null;
  /** The one thing to do now. */
  readonly instruction?: Instruction | null;
  readonly manoeuvres?: Manoeuvres | null;
}

/** One order, verb first; its distance, time and speed are this turn's. */
export interface Instruction {
  readonly do: "hold" | "turn" | "slow" | "stop" | "look";
  readonly to_deg: number | null;
  readonly to_kn: number | null;
  readonly say: string;
  readonly because: string;
  /** Whom it is about; null: no echo. */
  readonly echo?: number | null;
}

/** A change of course or speed that would keep everything off. */
export interface Manoeuvre {
  /** Positive to starboard. */
  readonly turn_deg: number;
  readonly course_deg: number;
  readonly speed_kn: number;
  readonly closest_m: number | null;
  readonly closest_id: number | null;
  readonly say: string;
  /** A turn too small to be noticed readily (Rule 8(b)). */
  readonly is_slight: boolean;
}

/** The smallest changes that do, while something comes inside the keep-off distance. */
export interface Manoeuvres {
  readonly keep_off_m: number;
  readonly for: readonly number[];
  readonly turn: Manoeuvre | null;
  readonly slow: Manoeuvre | null;
  readonly say: string;
}

export interface TrialEcho {
  readonly id: number;
  readonly cpa_m: number;
  readonly tcpa_s: number;
  readonly inside: boolean;
  /** lon, lat of both at the moment of closest approach. */
  readonly own: readonly [number, number];
  readonly her: readonly [number, number];
}

/** What a manoeuvre would bring; only `say` where nothing can be tried. */
export interface Trial {
  readonly say: string;
  /** False: another screen tries it, and this one tries nothing. */
  readonly is_own: boolean;
  readonly course_deg?: number;
  readonly speed_kn?: number;
  readonly turn_deg?: number;
  readonly delay_s?: number;
  readonly horizon_s?: number;
  /** lon, lat: now, where it begins, where she is at the end. */
  readonly path?: readonly (readonly [number, number])[];
  readonly keep_off_m?: number;
  readonly clears?: boolean;
  readonly echoes?: readonly TrialEcho[];
  readonly chart?: { readonly what: string; readonly distance_m: number; readonly lat: number; readonly lon: number; readonly say: string } | null;
  readonly hidden?: { readonly by: string; readonly distance_m: number; readonly lat: number; readonly lon: number; readonly say: string } | null;
  readonly refused?: string | null;
}

export interface LegDanger {
  readonly say: string;
  readonly lat: number | null;
  readonly lon: number | null;
}

/** A drawn leg held against the chart. */
export interface LegCheck {
  readonly length_m: number;
  readonly course_deg: number;
  readonly least_depth_m: number | null;
  readonly stops: readonly LegDanger[];
  readonly against: readonly LegDanger[];
}

export interface RouteKept {
  readonly name: string;
  readonly length_m: number | null;
  readonly points: number | null;
  readonly problem: string | null;
}

/** What became of a question about routes; `token` says whose it was. */
export interface Reply {
  readonly about: string;
  readonly token: number;
  readonly problem?: string;
  readonly legs?: readonly LegCheck[];
  readonly points?: readonly (readonly [number, number])[];
  readonly routes?: readonly RouteKept[];
  readonly following?: string | null;
  readonly folder?: string;
  readonly name?: string;
  readonly path?: string;
}

export interface PlanLeg {
  readonly number: number;
  readonly to: string;
  readonly course_deg: number;
  readonly length_m: number;
  readonly end_ms: number;
  readonly speed_kn: number;
  readonly least_depth_m: number | null;
  readonly lights: readonly string[];
  readonly marks: readonly string[];
  readonly opens: readonly string[];
  readonly refused: readonly string[];
}

/** Tonight's route and what comes next on it; `now` is null where the boat is not on it. */
export interface PlanNow {
  readonly route: readonly (readonly [number, number, string | null])[];
  /** Empty while the plan is being worked out. */
  readonly legs?: readonly PlanLeg[];
  readonly now: {
    readonly leg: number;
    readonly course_deg: number;
    readonly off_track_m: number;
    /** To the end of this leg, where the next turn is; and to the end of the route. */
    readonly to_go_leg_m: number;
    readonly to_go_m: number;
    readonly coming: readonly { readonly what: string; readonly distance_m: number; readonly say: string }[];
  } | null;
}

export interface BoatFacts {
  readonly name: string;
  readonly length_m: number;
  readonly beam_m: number;
  readonly keep_off_m: number;
  readonly draught_m?: number;
  readonly air_draught_m?: number;
  readonly depth_margin_m?: number;
  readonly distance_unit: DistanceUnit;
  readonly free_hand: "left" | "right";
  /** Figures of the boat that nobody knew. */
  readonly assumed?: readonly string[];
  readonly night_limit_kn: number | null;
  readonly stopping_measured: boolean;
  readonly local_time_zone: string;
}

export interface Hello {
  readonly protocol: number;
  /** "none": nothing is connected yet. */
  readonly source: "demo" | "live" | "replay" | "test" | "none";
  readonly boat: BoatFacts;
  /** Whether this helm can be set up. */
  readonly setup?: boolean;
}

export interface ChartPlace {
  readonly key: string | null;
  readonly url: string | null;
}

/** How things stand: the heartbeat. */
export interface Affairs {
  readonly radar_age_s: number | null;
  readonly reading_age_s: number | null;
  readonly notice: string;
  readonly fraction: number | null;
  readonly ended: string | null;
  readonly paused: boolean;
  readonly speed: number;
  readonly story_ms: number | null;
  /** Height of the tide above chart datum; null: not known. */
  readonly tide_m?: number | null;
  readonly silent_s: number;
  readonly loudspeaker: boolean | null;
  readonly sight: string;
  /** Seconds to the next fog signal; null: not asked for. */
  readonly fog_s: number | null;
  readonly screens: number;
  /** What the watch goes on without. */
  readonly without?: readonly string[];
  readonly links: readonly { readonly link: string; readonly state: "opening" | "open" | "lost" | "ended"; readonly text: string }[];
}

/** Where the chart's tiles lie, and what they are made of: TileJSON with the cells beside. */
export interface ChartData {
  readonly key: string;
  /** Addresses of tiles, from the page's own: "chart/.../{z}/{x}/{y}.mvt". */
  readonly tiles: readonly string[];
  readonly minzoom: number;
  readonly maxzoom: number;
  /** West, south, east, north. */
  readonly bounds: readonly [number, number, number, number];
  readonly cells: readonly { name: string; scale: number; issued: string; not_for_navigation: boolean }[];
  readonly coverage: GeoJSON.Polygon | GeoJSON.MultiPolygon;
}
