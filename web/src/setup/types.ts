/** What the set-up is told, as it comes: names as over the wire. */

export interface SentenceHeard {
  readonly address: string;
  readonly count: number;
  readonly per_s: number | null;
  readonly age_s: number;
}

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

export interface PlaceHeard {
  readonly link: string;
  readonly kind: "udp" | "tcp" | "serial" | "can" | "ws";
  readonly state: "listening" | "trying" | "lost" | "in use" | "watched";
  readonly line: string;
  readonly said: string;
  readonly by_hand: boolean;
  readonly carries: "nothing" | "nmea" | "bus" | "signalk" | "radar" | "asterix" | "unknown";
  readonly words: string;
  readonly age_s: number | null;
  readonly is_silent: boolean;
  readonly bytes: number;
  readonly sentences: readonly SentenceHeard[];
  readonly ticker: readonly { readonly number: number; readonly text: string }[];
  readonly bad: number;
  readonly no_fix: boolean;
  readonly vessels: number;
  readonly radar: RadarHeard | null;
  readonly values: readonly string[];
}

export interface OfferHeard {
  readonly link: string;
  readonly talker: string;
  readonly kind: string;
  readonly value: string;
  readonly age_s: number;
}

export interface ThingHeard {
  readonly what: string;
  readonly words: string;
  readonly taken: OfferHeard;
  readonly others: readonly OfferHeard[];
  readonly why: string;
  readonly is_conflict: boolean;
  readonly can_choose: boolean;
}

export interface Heard {
  readonly places: readonly PlaceHeard[];
  readonly things: readonly ThingHeard[];
  readonly quiet_ports: readonly number[];
}

/** The newest turn of one radar that is heard, small; see the head of `src/moonless/helm/web/protocol.py`. */
export interface SpokeFan {
  readonly place: number;
  readonly nRow: number;
  readonly nCell: number;
  readonly newestRow: number;
  readonly rangeM: number;
  /** Tenths of a second. */
  readonly age: Uint8Array;
  readonly echo: Uint8Array;
}

export type Form = "text" | "length" | "metres" | "number" | "integer" | "choice" | "stops" | "fuel" | "lights" | "sectors";

export interface Choice {
  readonly value: unknown;
  readonly words: string;
}

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
  readonly state: "given" | "assumed" | "default" | "unknown";
}

export interface CellCovered {
  readonly name: string;
  readonly scale: number;
  readonly edition: number;
  readonly update: number;
  readonly issued: string;
  readonly age_days: number | null;
  readonly is_old: boolean;
  readonly not_for_navigation: boolean;
  readonly coverage: GeoJSON.Polygon | GeoJSON.MultiPolygon;
}

export interface Coverage {
  readonly is_reading: boolean;
  readonly reading: { readonly name: string; readonly share: number } | null;
  readonly place: readonly [number, number] | null;
  readonly found: { readonly cells: readonly CellCovered[]; readonly warnings: readonly string[]; readonly lines: readonly string[] } | null;
}

export interface Chosen {
  readonly radar: string | null;
  readonly nmea: readonly string[];
  readonly charts: readonly string[];
  readonly prefer: Readonly<Record<string, { link: string; talker: string }>>;
  readonly length_unit: "metres" | "feet";
}

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

export interface Folder {
  readonly path: string;
  readonly up: string | null;
  readonly folders: readonly { readonly name: string; readonly path: string; readonly cells: number; readonly is_counted: boolean }[];
  readonly cells: readonly string[];
  readonly more: number;
  readonly below: number;
  readonly is_counted: boolean;
  readonly roots: readonly string[];
}

/** The bow mark against the chart, with each reading. */
export interface Bow {
  readonly state: "no view" | "still" | "turning" | "measuring" | "ready";
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
