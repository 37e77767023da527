/** Speed on one line over the order: a wedge at what is made, a gate at the most that goes with what is seen. Past it the line shouts. */
import { sayKnots } from "../geo/units";
import { make, setText, svg } from "../panels/dom";

const H = 22;
const BASE = 17;

/** The speed at the line's right end: the next five above all that is shown, at least ten. */
export function scaleTop(made: number | null, most: number | null): number {
  return Math.max(10, Math.ceil((Math.max(made ?? 0, most ?? 0) * 1.15 + 1) / 5) * 5);
}

/** Share of the line at which a speed stands. */
export function shareAt(kn: number, top: number): number {
  return Math.min(Math.max(kn, 0), top) / top;
}

/** What the gate says: one factor of several, and never a permission. */
export function mostWords(most: number | null, isNarrow: boolean): string {
  if (most === null) return isNarrow ? "no speed fits" : "no speed can be said to go with what is seen";
  return isNarrow ? `≤ ${sayKnots(most)} kn by sight` : `at most ${sayKnots(most)} kn by what is seen`;
}

export class SpeedLine {
  readonly element = make("div", "", { id: "speed" });
  readonly #made = make("b");
  readonly #most = make("span");
  readonly #line = svg("svg", { height: H, role: "img" });
  readonly #label = svg("title", {});
  readonly #base = svg("path", { class: "whisper", "stroke-width": 1.6 });
  readonly #over = svg("path", { class: "shout", "stroke-width": 5 });
  readonly #gate = svg("path", { class: "speak", "stroke-width": 3 });
  readonly #wedge = svg("path", { class: "speak", "stroke-width": 2.2 });
  #key = "";

  constructor() {
    this.#line.append(this.#label, this.#base, this.#over, this.#gate, this.#wedge);
    this.element.append(this.#made, this.#line, this.#most);
  }

  /** Knots; null where not known. */
  show(made: number | null, most: number | null): void {
    const isNarrow = this.element.clientWidth < 620;
    setText(this.#made, made === null ? "speed —" : `${sayKnots(made)} kn`);
    setText(this.#most, mostWords(most, isNarrow));
    const width = Math.floor(this.#line.clientWidth);
    const key = `${made?.toFixed(1)}|${most?.toFixed(1)}|${width}`;
    if (key === this.#key || width < 20) return;
    this.#key = key;
    this.#line.setAttribute("viewBox", `0 0 ${width} ${H}`);
    const top = scaleTop(made, most);
    const x = (kn: number): number => 8 + (width - 16) * shareAt(kn, top);
    let base = `M8 ${BASE}H${width - 8}`;
    for (let kn = 0; kn <= top; kn++) base += `M${x(kn).toFixed(1)} ${BASE}v${kn % 5 === 0 ? -7 : -3}`;
    this.#base.setAttribute("d", base);
    const isOver = made !== null && most !== null && made > most + 0.3;
    this.#over.setAttribute("d", isOver ? `M${x(most).toFixed(1)} ${BASE}H${x(made).toFixed(1)}` : "");
    this.#gate.setAttribute("d", most === null ? "" : `M${(x(most) - 3.5).toFixed(1)} ${BASE + 5}V${BASE - 14}M${(x(most) + 3.5).toFixed(1)} ${BASE + 5}V${BASE - 14}`);
    this.#wedge.setAttribute("d", made === null ? "" : `M${x(made).toFixed(1)} ${BASE - 3}l-6 -11h12z`);
    this.#wedge.setAttribute("class", isOver ? "shout" : "speak");
    this.element.classList.toggle("over", isOver);
    setText(this.#label, `Speed made ${made === null ? "not known" : `${sayKnots(made)} knots`}; ${mostWords(most, false)}`);
  }
}
