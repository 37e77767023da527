/** What the helm tells, as the page holds it. Names as they come over the wire. */
import type { DistanceUnit } from "../geo/units";

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

export interface CallNow {
  readonly urgency: number;
  readonly say: string;
  readonly echo: number | null;
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
  readonly coasting: readonly number[];
  readonly tails: Readonly<Record<string, readonly (readonly [number, number, number])[]>>;
  readonly turn: number;
  readonly plan?: PlanNow | null;
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
    readonly to_go_m: number;
    readonly coming: readonly { readonly what: string; readonly distance_m: number; readonly say: string }[];
  } | null;
}

export interface BoatFacts {
  readonly name: string;
  readonly length_m: number;
  readonly beam_m: number;
  readonly keep_off_m: number;
  readonly distance_unit: DistanceUnit;
  readonly free_hand: "left" | "right";
  readonly night_limit_kn: number | null;
  readonly stopping_measured: boolean;
  readonly local_time_zone: string;
}

export interface Hello {
  readonly protocol: number;
  readonly source: "demo" | "live" | "replay" | "test";
  readonly boat: BoatFacts;
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
  readonly silent_s: number;
  readonly loudspeaker: boolean | null;
  readonly sight: string;
  /** Seconds to the next fog signal; null: not asked for. */
  readonly fog_s: number | null;
  readonly screens: number;
  readonly links: readonly { readonly link: string; readonly state: "opening" | "open" | "lost" | "ended"; readonly text: string }[];
}

export interface ChartMark {
  readonly o: string;
  readonly n: string | null;
  readonly lat: number;
  readonly lon: number;
  readonly lit: boolean;
}

export interface ChartBridge {
  readonly n: string | null;
  readonly lat: number;
  readonly lon: number;
  readonly clear_m: number | null;
  readonly opens: boolean;
}

export interface ChartData {
  readonly key: string;
  readonly cells: readonly { name: string; scale: number; issued: string; not_for_navigation: boolean }[];
  readonly shapes: GeoJSON.FeatureCollection;
  readonly marks: readonly ChartMark[];
  readonly bridges: readonly ChartBridge[];
  /** lat, lon, metres below datum */
  readonly soundings: readonly (readonly [number, number, number])[];
}
