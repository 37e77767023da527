/**
 * One arc for speed, a shallow horizon over the sentence: a wedge rests on it at the speed made, a gate stands in it at
 * the speed that goes with what is seen. Past the gate the arc itself shouts.
 */
import { sayKnots } from "../geo/units";
import { setText, svg } from "./dom";

const H = 92;
const R = 1250;
const CY = 40 + R;
/** Widest, page pixels. */
const WIDEST = 640;

/** The speed at the arc's right end: the next five above all that is shown, at least ten. */
export function arcTop(made: number | null, advised: number | null): number {
  return Math.max(10, Math.ceil((Math.max(made ?? 0, advised ?? 0) * 1.15 + 1) / 5) * 5);
}

/** Angle of a speed on an arc `half` wide to either side, radians. */
export function arcAngle(kn: number, top: number, half: number): number {
  return -half + (2 * half * Math.min(Math.max(kn, 0), top)) / top;
}

export class SpeedArc {
  readonly element = svg("svg", { id: "arc", role: "img", height: H });
  readonly #label = svg("title", {});
  readonly #over = svg("path", { class: "shout", "stroke-width": 6 });
  readonly #base = svg("path", { class: "whisper", "stroke-width": 2 });
  readonly #ticks = svg("path", { class: "whisper", "stroke-width": 1.4 });
  readonly #made = svg("path", { class: "speak", "stroke-width": 2.4 });
  readonly #gate = svg("path", { class: "speak", "stroke-width": 3.5 });
  readonly #madeText = svg("text", { "text-anchor": "middle" });
  readonly #gateText = svg("text", { "text-anchor": "middle" });

  constructor() {
    this.element.append(this.#label, this.#base, this.#ticks, this.#over, this.#gate, this.#made, this.#madeText, this.#gateText);
  }

  #width = WIDEST;

  get #half(): number {
    return Math.asin((this.#width / 2 - 16) / R);
  }

  #angle(kn: number, top: number): number {
    return arcAngle(kn, top, this.#half);
  }

  #point(angle: number, off: number): [number, number] {
    return [this.#width / 2 + (R + off) * Math.sin(angle), CY - (R + off) * Math.cos(angle)];
  }

  #stretch(from: number, to: number): string {
    const [x1, y1] = this.#point(from, 0);
    const [x2, y2] = this.#point(to, 0);
    return `M${x1.toFixed(1)} ${y1.toFixed(1)}A${R} ${R} 0 0 1 ${x2.toFixed(1)} ${y2.toFixed(1)}`;
  }

  #place(text: SVGElement, angle: number, off: number, margin: number): void {
    const [x, y] = this.#point(angle, off);
    text.setAttribute("x", String(Math.min(Math.max(x, margin), this.#width - margin)));
    text.setAttribute("y", y.toFixed(1));
  }

  /** Knots; null where not known. */
  show(made: number | null, advised: number | null, width: number): void {
    this.#width = Math.min(width, WIDEST);
    this.element.setAttribute("width", String(this.#width));
    this.element.setAttribute("viewBox", `0 0 ${this.#width} ${H}`);
    this.#base.setAttribute("d", this.#stretch(-this.#half, this.#half));
    const top = arcTop(made, advised);
    let ticks = "";
    for (let kn = 0; kn <= top; kn++) {
      const a = this.#angle(kn, top);
      const [x1, y1] = this.#point(a, 0);
      const [x2, y2] = this.#point(a, kn % 5 === 0 ? -9 : -4);
      ticks += `M${x1.toFixed(1)} ${y1.toFixed(1)}L${x2.toFixed(1)} ${y2.toFixed(1)}`;
    }
    this.#ticks.setAttribute("d", ticks);
    const isOver = made !== null && advised !== null && made > advised + 0.3;
    this.#over.setAttribute("d", isOver ? this.#stretch(this.#angle(advised, top), this.#angle(made, top)) : "");

    if (made === null) {
      this.#made.setAttribute("d", "");
      setText(this.#madeText, "");
    } else {
      const a = this.#angle(made, top);
      const [x, y] = this.#point(a, 3);
      const [lx, ly] = this.#point(a - 7 / R, 17);
      const [rx, ry] = this.#point(a + 7 / R, 17);
      this.#made.setAttribute("d", `M${x} ${y}L${lx} ${ly}L${rx} ${ry}Z`);
      this.#made.setAttribute("class", isOver ? "shout" : "speak");
      this.#place(this.#madeText, a, 26, 60);
      this.#madeText.setAttribute("class", "loud");
      setText(this.#madeText, `${sayKnots(made)} kn`);
    }
    if (advised === null) {
      this.#gate.setAttribute("d", "");
      setText(this.#gateText, made === null ? "" : "no speed can be said to go with what is seen");
      this.#place(this.#gateText, 0, -34, 190);
    } else {
      const a = this.#angle(advised, top);
      let d = "";
      for (const side of [-5, 5]) {
        const [x1, y1] = this.#point(a + side / R, 11);
        const [x2, y2] = this.#point(a + side / R, -13);
        d += `M${x1} ${y1}L${x2} ${y2}`;
      }
      this.#gate.setAttribute("d", d);
      this.#place(this.#gateText, a, -34, 112);
      if (Math.abs(a) > 0.5 * this.#half) {
        // Toward the ends the arc falls to where the sentence stands: there the words go above all of it they span.
        const x = Number(this.#gateText.getAttribute("x"));
        const inner = x + (a < 0 ? 108 : -108);
        const top = CY - Math.sqrt(R * R - (inner - this.#width / 2) ** 2);
        this.#gateText.setAttribute("y", (top - 14).toFixed(1));
      }
      setText(this.#gateText, `${sayKnots(advised)} kn goes with what is seen`);
    }
    setText(
      this.#label,
      `Speed made ${made === null ? "not known" : `${sayKnots(made)} knots`}; ${
        advised === null ? "no speed can be said to go with what is seen" : `${sayKnots(advised)} knots goes with what is seen`
      }`,
    );
  }
}

