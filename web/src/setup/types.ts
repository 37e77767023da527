/** What the set-up is told, as it comes: names as over the wire. Made by `python web/make_types.py`: change the Python it is made from. */

export type Form = "text" | "length" | "metres" | "number" | "integer" | "choice" | "stops" | "fuel" | "lights" | "sectors";

/** The whole of what is heard now. */
export interface Heard {
  readonly places: readonly PlaceHeard[];
  readonly things: readonly ThingHeard[];
  readonly quiet_ports: readonly number[];
}

/** One link that is listened to. */
export interface PlaceHeard {
  readonly link: string;
  readonly kind: "can" | "picture" | "serial" | "tcp" | "udp" | "ws";
  readonly state: "in use" | "listening" | "lost" | "trying" | "watched";
  readonly line: string;
  readonly said: string;
  readonly by_hand: boolean;
  readonly carries: "asterix" | "bus" | "nmea" | "nothing" | "radar" | "signalk" | "unknown";
  readonly words: string;
  readonly age_s: number | null;
  readonly is_silent: boolean;
  readonly bytes: number;
  readonly sentences: readonly SentenceHeard[];
  readonly ticker: readonly Ticker[];
  readonly bad: number;
  readonly no_fix: boolean;
  readonly vessels: number;
  readonly radar: RadarHeard | null;
  readonly values: readonly string[];
}

/** The radar video on a link. */
export interface RadarHeard {
  readonly spokes: number;
  readonly spokes_per_s: number;
  readonly spokes_per_turn: number | null;
  readonly cells: number;
  readonly cell_m: number;
  readonly range_m: number;
  readonly bits: number;
  readonly turns_per_min: number | null;
  readonly radars: number;
  readonly has_time: boolean;
}

/** One kind of sentence on a link. */
export interface SentenceHeard {
  readonly address: string;
  readonly count: number;
  readonly per_s: number | null;
  readonly age_s: number;
}

/** One of the last lines. */
export interface Ticker {
  readonly number: number;
  readonly text: string;
}

/** A thing that is told (position, heading, ...), whom it is taken from and who else tells it. */
export interface ThingHeard {
  readonly what: string;
  readonly words: string;
  readonly taken: OfferHeard;
  readonly others: readonly OfferHeard[];
  readonly why: string;
  readonly is_conflict: boolean;
  readonly can_choose: boolean;
}

/** One talker on one link that tells a thing. */
export interface OfferHeard {
  readonly link: string;
  readonly talker: string;
  readonly kind: string;
  readonly value: string;
  readonly age_s: number;
}

/** Everything but what is heard. */
export interface Told {
  readonly path: string;
  readonly boat_path: string;
  readonly is_running: boolean;
  readonly is_as_running: boolean;
  readonly settings: Chosen;
  readonly groups: Readonly<Record<string, string>>;
  readonly questions: readonly Question[];
  readonly coverage: Coverage;
}

/** What the chosen charts cover, as far as it has been read. */
export interface Coverage {
  readonly is_reading: boolean;
  readonly reading: ReadingNow | null;
  readonly place: readonly [number, number] | null;
  readonly found: CoverageFound | null;
}

/** What the chosen charts cover, and what is to be said of it. */
export interface CoverageFound {
  readonly cells: readonly CellCovered[];
  readonly warnings: readonly string[];
  readonly lines: readonly string[];
}

/** A cell as the page draws it, and how old it is. */
export interface CellCovered {
  readonly name: string;
  readonly scale: number;
  readonly edition: number;
  readonly update: number;
  readonly issued: string;
  readonly not_for_navigation: boolean;
  readonly coverage: GeoJSON.Polygon | GeoJSON.MultiPolygon;
  readonly age_days: number | null;
  readonly is_old: boolean;
}

/** A chart that is being read. */
export interface ReadingNow {
  readonly name: string;
  readonly share: number;
}

/** A question as the page asks it: limits, default, what it stands at now. */
export interface Question {
  readonly key: string;
  readonly group: string;
  readonly form: Form;
  readonly ask: string;
  readonly help: string;
  readonly unit: string;
  readonly step: number;
  readonly low: number | null;
  readonly high: number | null;
  readonly default: unknown;
  readonly choices: readonly Choice[];
  readonly is_needed: boolean;
  readonly value: unknown;
  readonly state: "assumed" | "default" | "given" | "unknown";
}

/** One of the answers to choose from. */
export interface Choice {
  readonly value: unknown;
  readonly words: string;
}

/** What has been chosen. */
export interface Chosen {
  readonly radar: string | null;
  readonly nmea: readonly string[];
  readonly charts: readonly string[];
  readonly tides: readonly string[];
  readonly prefer: Readonly<Record<string, Preferred>>;
  readonly length_unit: "feet" | "metres";
}

/** Whom a thing is taken from. */
export interface Preferred {
  readonly link: string;
  readonly talker: string;
}

/** What a folder holds. */
export interface Folder {
  readonly path: string;
  readonly up: string | null;
  readonly folders: readonly FolderBelow[];
  readonly cells: readonly string[];
  readonly stations: readonly StationFile[];
  readonly more: number;
  readonly below: number;
  readonly is_counted: boolean;
  readonly roots: readonly string[];
}

/** A folder within; `is_counted`: whether it was looked through whole. */
export interface FolderBelow {
  readonly name: string;
  readonly path: string;
  readonly cells: number;
  readonly is_counted: boolean;
}

/** A JSON file, which may hold tide stations. */
export interface StationFile {
  readonly name: string;
  readonly path: string;
}
