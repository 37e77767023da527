/** What the helm tells of an exercise; as src/moonless/helm/practice/body.py writes it. Metres east and north. */
export type Place = readonly [number, number];
export type Form = "touch" | "figures" | "word" | "knobs" | "chart";
export type Role = "asked" | "truth" | "charted" | "hidden" | "chance";

export interface Note {
  readonly form: "ring" | "line" | "area";
  readonly role: Role;
  readonly at: readonly Place[];
  readonly label: string;
}

export interface Chart {
  readonly lines: readonly (readonly Place[])[];
  readonly marks: readonly { readonly at: Place; readonly name: string }[];
}

export interface Overlay extends Chart {
  readonly true_deg: number;
  readonly boat: Place;
}

export interface MapPart extends Chart {
  readonly reach_m: number;
  readonly boat: Place | null;
}

export interface Look {
  readonly time_s: number;
  readonly east: number;
  readonly north: number;
  readonly shown_deg: number;
}

export interface Pictures {
  readonly scale_nm: number;
  readonly rings: number;
  readonly n_spoke: number;
  readonly n_cell: number;
  readonly first_m: number;
  readonly cell_m: number;
  readonly trails: "none" | "relative" | "true";
  readonly looks: readonly Look[];
}

export interface Spot {
  readonly colour: "white" | "red" | "green" | "yellow" | "blue";
  readonly across: number;
  readonly up: number;
  readonly flashing: boolean;
}

export interface Exercise {
  readonly id: string;
  readonly step: string;
  readonly title: string;
  readonly waters: string;
  readonly asks: string;
  readonly told: readonly string[];
  readonly form: Form;
  readonly words: readonly string[];
  readonly figures: readonly { readonly name: string; readonly unit: string; readonly least: number; readonly most: number }[];
  readonly scales_nm: readonly number[];
  readonly view: Knobs;
  readonly withheld: string;
  readonly pictures: Pictures | null;
  readonly lights: readonly Spot[];
  readonly asked: readonly Note[];
  readonly overlay: Overlay | null;
  readonly map: MapPart | null;
}

export interface Knobs {
  readonly gain: number;
  readonly sea: number;
  readonly rain: number;
  readonly scale_nm: number;
}

export type Answer =
  | { readonly withheld: true }
  | { readonly touch: Place }
  | { readonly figures: readonly number[] }
  | { readonly word: string }
  | { readonly knobs: Knobs };

export interface Marked {
  readonly id: string;
  readonly points: number;
  readonly withheld: boolean;
  readonly knowable: number;
  readonly verdict: string;
  readonly because: string;
  readonly right: Answer;
  readonly notes: readonly Note[];
  readonly overlay: Overlay | null;
}

export interface StepHeld {
  readonly key: string;
  readonly title: string;
  readonly teaches: string;
  readonly beside: string;
  readonly by_day: string;
  readonly open: boolean;
  readonly word: "new" | "begun" | "held" | "fading";
  readonly answers: number;
  readonly mean: number;
  readonly low: number;
  readonly high: number;
  readonly is_due: boolean;
  readonly due_in_h: number | null;
}

export interface Progress {
  readonly caution: string;
  readonly answers: number;
  /** Things seen by eye on the recordings that were given. */
  readonly own?: number;
  readonly next: string;
  readonly steps: readonly StepHeld[];
  readonly levels: readonly { readonly to_try: string; readonly ready: boolean; readonly wants: readonly string[] }[];
}
