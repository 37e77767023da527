/** What the helm tells, as the page holds it. Names as they come over the wire. Made by `python web/make_types.py`: change the Python it is made from. */
import type { DistanceUnit } from "../geo/units";

export type Kind = "vessel" | "charted" | "shore" | "bridge" | "uncharted" | "clutter" | "false";

/** What this helm is; `setup`: whether it can be set up. */
export interface Hello {
  readonly protocol: number;
  readonly source: "demo" | "live" | "none" | "replay" | "test";
  readonly boat: BoatFacts;
  readonly setup?: boolean;
}

/** The boat: metres, degrees, knots; `assumed`: figures that nobody knew. */
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
  readonly night_limit_kn: number | null;
  readonly stopping_measured: boolean;
  readonly local_time_zone: string;
  readonly bow_offset_deg?: number;
  readonly assumed?: readonly string[];
  readonly blind_sectors_deg?: readonly (readonly [number, number])[];
  readonly deviation?: readonly (readonly [number, number])[];
}

/**
 * A reading as the sheet has it. `standing`: calls said before whose words still stand, the most urgent first;
 * when that ends is the reading's to say. `own_track`: oldest first. `depth_m`: by the sounder, from the
 * waterline.
 */
export interface Reading {
  readonly time: string;
  readonly own: Own;
  readonly echoes: readonly Echo[];
  readonly missing: readonly Missing[];
  readonly hidden: GeoJSON.FeatureCollection | null;
  readonly seeing: readonly Seeing[];
  readonly seeing_line: GeoJSON.Polygon | null;
  readonly stopping_m: number | null;
  readonly registration: Registration;
  readonly speed: Speed;
  readonly faults: readonly Fault[];
  readonly calls: readonly CallLine[];
  readonly instruction?: Instruction | null;
  readonly performance_db?: number | null;
  readonly performance_sigma_db?: number | null;
  readonly manoeuvres?: Manoeuvres | null;
  readonly coasting: readonly number[];
  readonly tails: Readonly<Record<string, readonly (readonly [number, number, number])[]>>;
  readonly turn: number;
  readonly standing: readonly CallNow[];
  readonly alerts?: readonly Alert[];
  readonly own_track?: readonly (readonly [number, number, number])[];
  readonly depth_m?: number | null;
  readonly bow?: Bow;
  readonly plan?: PlanNow | null;
  readonly compass?: Compass | null;
}

/**
 * A matter that was called and how it stands, in the words of the standards on bridge alerts. `escalated`: an
 * alarm because nobody answered the warning.
 */
export interface Alert {
  readonly key: string;
  readonly urgency: number;
  readonly state: "acknowledged" | "rectified" | "unacknowledged";
  readonly say: string;
  readonly escalated: boolean;
}

/** The bow mark against the chart, with each reading. */
export interface Bow {
  readonly state: "measuring" | "no view" | "ready" | "still" | "turning";
  readonly say: string;
  readonly bias_deg: number | null;
  readonly sigma_deg: number | null;
  readonly seconds: number;
  readonly of_seconds: number;
  readonly offset_deg: number | null;
  readonly new_deg: number | null;
  readonly before_deg: number | null;
  readonly compass: string | null;
}

/** One sentence worth saying now; `key`: what it is about, the same whatever the words. */
export interface CallLine {
  readonly key: string;
  readonly kind: "charted danger" | "disagreement" | "fault" | "heading bias" | "helm" | "mark" | "mark missing" | "mark moved" | "opening" | "position" | "position offset" | "radar performance" | "something" | "sounder" | "speed" | "uncharted" | "vessel";
  readonly urgency: number;
  readonly say: string;
  readonly echo: number | null;
}

/**
 * What the compass at the wheel shows on the true courses 0, 10 ... 350. `by`: the deviation card, or the
 * variation alone where the boat has none.
 */
export interface Compass {
  readonly by: "card" | "variation";
  readonly shows_deg: readonly number[];
}

/** One track explained. */
export interface Echo {
  readonly is: Kind;
  readonly id: number;
  readonly lat: number;
  readonly lon: number;
  readonly range_m: number;
  readonly bearing_deg: number;
  readonly relative_bearing_deg: number | null;
  readonly cog_deg: number | null;
  readonly sog_kn: number;
  readonly length_m: number | null;
  readonly confidence: number;
  readonly p_moving: number;
  readonly charted_as: Charted | null;
  readonly ais: Ais | null;
  readonly cpa_m: number | null;
  readonly tcpa_s: number | null;
  readonly cpa_sigma_m: number | null;
  readonly why: string;
}

/** The AIS identity that goes with an echo. */
export interface Ais {
  readonly mmsi: number;
  readonly name: string | null;
}

/** The charted thing that explains an echo. */
export interface Charted {
  readonly object: string;
  readonly name: string | null;
  readonly cell: string;
  readonly feature: string;
  readonly offset_m: number;
}

/** Something that cannot be believed now. */
export interface Fault {
  readonly what: "ais" | "chart" | "clock" | "depth" | "heading" | "position" | "radar";
  readonly state: "damaged" | "deaf" | "disagrees" | "frozen" | "jumped" | "late" | "silent" | "stale";
  readonly since: string;
}

/** One order, verb first; its distance, time and speed are this turn's. `echo`: whom it is about. */
export interface Instruction {
  readonly do: "hold" | "look" | "slow" | "stop" | "turn";
  readonly to_deg: number | null;
  readonly to_kn: number | null;
  readonly say: string;
  readonly because: string;
  readonly echo?: number | null;
}

/** The smallest changes that do, while something comes inside the keep-off distance; `for`: what comes inside. */
export interface Manoeuvres {
  readonly for: readonly number[];
  readonly keep_off_m: number;
  readonly turn: Manoeuvre | null;
  readonly slow: Manoeuvre | null;
  readonly refused?: readonly RefusedChange[];
  readonly say: string;
}

/** A change that would clear, and why it is not offered. */
export interface RefusedChange {
  readonly turn_deg: number;
  readonly course_deg: number;
  readonly speed_kn: number;
  readonly closest_m: number;
  readonly closest_id: number;
  readonly why: string;
}

/**
 * A change of course (positive to starboard) or speed that would keep everything off. `is_slight`: a turn too
 * small to be noticed readily (Rule 8(b)).
 */
export interface Manoeuvre {
  readonly turn_deg: number;
  readonly course_deg: number;
  readonly speed_kn: number;
  readonly closest_m: number | null;
  readonly closest_id: number | null;
  readonly say: string;
  readonly is_slight: boolean;
}

/** A charted aid that should have shown and did not. */
export interface Missing {
  readonly object: string;
  readonly name: string | null;
  readonly lat: number;
  readonly lon: number;
  readonly p_seen_if_there: number;
  readonly scans_looked: number;
}

/** The boat; `position_from`: what the position rests on, the receiver, or radar and chart while it is silent. */
export interface Own {
  readonly lat: number | null;
  readonly lon: number | null;
  readonly cog_deg: number | null;
  readonly sog_kn: number | null;
  readonly heading_deg: number | null;
  readonly position_from?: "radar and chart" | "receiver" | null;
  readonly position_sigma_m?: number | null;
  readonly position_age_s?: number | null;
}

/**
 * Tonight's route and what comes next on it. `route`: lat, lon, name. `legs`: empty while the plan is worked out.
 * `now`: null where the boat is not on it.
 */
export interface PlanNow {
  readonly route: readonly (readonly [number, number, string | null])[];
  readonly legs?: readonly PlanLeg[];
  readonly now: OnRoute | null;
}

/** One leg for the plan's sheet: what a helmsman asks of it. */
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
  readonly gate: TideGate | null;
}

/** When low water closes a leg. */
export interface TideGate {
  readonly least_m: number;
  readonly by: string;
  readonly open_ms: readonly (readonly number[])[];
}

/** Where the boat is on the route; `to_go_leg_m`: to the end of this leg, where the next turn is. */
export interface OnRoute {
  readonly leg: number;
  readonly course_deg: number;
  readonly off_track_m: number;
  readonly to_go_leg_m: number;
  readonly to_go_m: number;
  readonly arrive_ms?: number | null;
  readonly coming: readonly Coming[];
}

/** A thing that comes next on the route. */
export interface Coming {
  readonly what: string;
  readonly distance_m: number;
  readonly say: string;
}

/** What was reported minus what makes radar and chart agree. */
export interface Registration {
  readonly heading_bias_deg: number | null;
  readonly east_m: number | null;
  readonly north_m: number | null;
  readonly sigma_m: number | null;
  readonly agrees: boolean | null;
  readonly heading_sigma_deg?: number | null;
}

/** How far a thing of this cross-section would be held by now. */
export interface Seeing {
  readonly rcs_m2: number;
  readonly range_m: number | null;
}

/** The speed that goes with what is seen. */
export interface Speed {
  readonly advised_kn: number | null;
  readonly because: string;
}

/** A call whose words stand; `key`: what it is about, the same whatever the words; `more`: shown, not spoken. */
export interface CallNow {
  readonly key: string;
  readonly urgency: number;
  readonly say: string;
  readonly echo: number | null;
  readonly more?: string;
}

/**
 * How things stand: the heartbeat. `tide_m`: above chart datum, null: not known; `without`: what the watch goes on
 * without; `fog_s`: seconds to the next fog signal, null: not asked for.
 */
export interface Affairs {
  readonly radar_age_s: number | null;
  readonly reading_age_s: number | null;
  readonly notice: string;
  readonly fraction: number | null;
  readonly ended: string | null;
  readonly paused: boolean;
  readonly speed: number;
  readonly story_ms: number | null;
  readonly tide_m?: number | null;
  readonly sight: "in sight" | "radar only" | "unsure";
  readonly without?: readonly string[];
  readonly links: readonly Link[];
  readonly silent_s: number;
  readonly loudspeaker: boolean | null;
  readonly fog_s: number | null;
  readonly screens: number;
}

/** How one link stands. */
export interface Link {
  readonly link: string;
  readonly state: "ended" | "lost" | "open" | "opening";
  readonly text: string;
}

/** One call, numbered in the order they are told; `again`: it was asked to be said again. */
export interface Call {
  readonly key: string;
  readonly urgency: number;
  readonly say: string;
  readonly echo: number | null;
  readonly more?: string;
  readonly number: number;
  readonly kind?: string;
  readonly again?: boolean;
}

/** Where the chart lies now. */
export interface ChartPlace {
  readonly key: string | null;
  readonly url: string | null;
}

/**
 * Where the chart's tiles lie, and what they are made of: TileJSON with the cells beside. `tiles`: addresses, from
 * the page's own; `bounds`: west, south, east, north.
 */
export interface ChartData {
  readonly tilejson?: string;
  readonly key: string;
  readonly tiles: readonly string[];
  readonly minzoom: number;
  readonly maxzoom: number;
  readonly bounds: readonly [number, number, number, number];
  readonly cells: readonly ChartCell[];
  readonly coverage: GeoJSON.Polygon | GeoJSON.MultiPolygon;
}

/** A cell that the chart is made of. */
export interface ChartCell {
  readonly name: string;
  readonly scale: number;
  readonly issued: string;
  readonly not_for_navigation: boolean;
}

/**
 * What a manoeuvre would bring; only `say` where nothing can be tried. `path`: lon, lat now, where it begins,
 * where she is at the end. `is_own`: false: another screen tries it, and this one tries nothing.
 */
export interface Trial {
  readonly say: string;
  readonly time_ms?: number;
  readonly course_deg?: number;
  readonly speed_kn?: number;
  readonly turn_deg?: number;
  readonly delay_s?: number;
  readonly horizon_s?: number;
  readonly path?: readonly (readonly [number, number])[];
  readonly keep_off_m?: number;
  readonly clears?: boolean;
  readonly closest_m?: number | null;
  readonly closest_id?: number | null;
  readonly echoes?: readonly TrialEcho[];
  readonly chart?: TrialChart | null;
  readonly hidden?: TrialHidden | null;
  readonly refused?: string | null;
  readonly is_own: boolean;
}

/** The first thing that the chart has in the way. */
export interface TrialChart {
  readonly what: string;
  readonly in_s?: number;
  readonly distance_m: number;
  readonly depth_m?: number | null;
  readonly name?: string | null;
  readonly lat: number;
  readonly lon: number;
  readonly say: string;
}

/** One echo if the manoeuvre is carried out; `own`, `her`: lon, lat of both at the closest approach. */
export interface TrialEcho {
  readonly id: number;
  readonly cpa_m: number;
  readonly tcpa_s: number;
  readonly cpa_sigma_m?: number | null;
  readonly inside: boolean;
  readonly own: readonly [number, number];
  readonly her: readonly [number, number];
  readonly meeting?: string | null;
  readonly rules?: readonly string[];
  readonly discouraged?: string | null;
}

/** The first water, hidden now, that the boat would come into. */
export interface TrialHidden {
  readonly by: string;
  readonly in_s?: number;
  readonly distance_m: number;
  readonly lat: number;
  readonly lon: number;
  readonly say: string;
}

/** From when to when a recording goes; `is_whole`: its marks are all gathered. */
export interface TimeBar {
  readonly first_ms: number;
  readonly last_ms: number;
  readonly is_whole: boolean;
  readonly marks: readonly BarMark[];
}

/** Something on a recording's time bar: a call, or a vessel at her closest. */
export interface BarMark {
  readonly at_ms: number;
  readonly kind: "call" | "closest";
  readonly urgency: number;
  readonly say: string;
}

/** What became of a question about routes; `token` says whose it was. `notes`: of a way that was found. */
export interface Reply {
  readonly problem?: string;
  readonly legs?: readonly LegCheck[];
  readonly points?: readonly (readonly [number, number])[];
  readonly notes?: readonly string[];
  readonly routes?: readonly RouteKept[];
  readonly following?: string | null;
  readonly folder?: string;
  readonly name?: string;
  readonly path?: string;
  readonly leg?: LegPictures;
  readonly about: string;
  readonly token: number;
}

/** One leg of the plan as pictures; what is left out the chart cannot give. `chart`: SVG without colours. */
export interface LegPictures {
  readonly number: number;
  readonly chart?: string;
  readonly depths?: Depths;
  readonly scope?: Scope;
}

/** The charted depth along a leg: the least at each place, below chart datum, null: not charted; what she needs. */
export interface Depths {
  readonly along_m: readonly number[];
  readonly least_m: readonly (number | null)[];
  readonly need_m: number;
}

/** What the radar should show at the turn onto a leg, the course up: `levels` are size by size bytes, base64. */
export interface Scope {
  readonly size: number;
  readonly levels: string;
  readonly scale_nm: number;
  readonly marks: readonly string[];
  readonly hidden: readonly string[];
}

/** A drawn leg held against the chart. */
export interface LegCheck {
  readonly length_m: number;
  readonly course_deg: number;
  readonly least_depth_m: number | null;
  readonly stops: readonly LegDanger[];
  readonly against: readonly LegDanger[];
}

/** What stops a leg or speaks against it, and where it lies. */
export interface LegDanger {
  readonly say: string;
  readonly lat: number | null;
  readonly lon: number | null;
}

/** A route in the helm's folder; `problem`: why it cannot be read. */
export interface RouteKept {
  readonly name: string;
  readonly length_m: number | null;
  readonly points: number | null;
  readonly problem: string | null;
}
