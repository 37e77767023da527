/**
 * One arc for speed, a shallow horizon over the sentence: a wedge rests on it at the speed made, a gate stands in it at
 * the speed that goes with what is seen. Past the gate the arc itself shouts.
 */
import { sayKnots } from "../geo/units";
import { setText, svg } from "./dom";

const W = 640;
const H = 92;
const R = 1250;
const CX = W / 2;
const CY = 40 + R;
const HALF = Math.asin((W / 2 - 16) / R);

/** The speed at the arc's right end: the next five above all that is shown, at least ten. */
export function arcTop(made: number | null, advised: number | null): number {
  return Math.max(10, Math.ceil((Math.max(made ?? 0, advised ?? 0) * 1.15 + 1) / 5) * 5);
}

export function arcAngle(kn: number, top: number): number {
  return -HALF + (2 * HALF * Math.min(Math.max(kn, 0), top)) / top;
}

function point(angle: number, off: number): [number, number] {
  return [CX + (R + off) * Math.sin(angle), CY - (R + off) * Math.cos(angle)];
}

function stretch(from: number, to: number): string {
  const [x1, y1] = point(from, 0);
  const [x2, y2] = point(to, 0);
  return `M${x1.toFixed(1)} ${y1.toFixed(1)}A${R} ${R} 0 0 1 ${x2.toFixed(1)} ${y2.toFixed(1)}`;
}

export class SpeedArc {
  readonly element = svg("svg", { id: "arc", viewBox: `0 0 ${W} ${H}`, role: "img" });
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
    this.#base.setAttribute("d", stretch(-HALF, HALF));
  }

  /** Knots; null where not known. */
  show(made: number | null, advised: number | null): void {
    const top = arcTop(made, advised);
    let ticks = "";
    for (let kn = 0; kn <= top; kn++) {
      const a = arcAngle(kn, top);
      const [x1, y1] = point(a, 0);
      const [x2, y2] = point(a, kn % 5 === 0 ? -9 : -4);
      ticks += `M${x1.toFixed(1)} ${y1.toFixed(1)}L${x2.toFixed(1)} ${y2.toFixed(1)}`;
    }
    this.#ticks.setAttribute("d", ticks);
    const isOver = made !== null && advised !== null && made > advised + 0.3;
    this.#over.setAttribute("d", isOver ? stretch(arcAngle(advised, top), arcAngle(made, top)) : "");

    if (made === null) {
      this.#made.setAttribute("d", "");
      setText(this.#madeText, "");
    } else {
      const a = arcAngle(made, top);
      const [x, y] = point(a, 3);
      const [lx, ly] = point(a - 7 / R, 17);
      const [rx, ry] = point(a + 7 / R, 17);
      this.#made.setAttribute("d", `M${x} ${y}L${lx} ${ly}L${rx} ${ry}Z`);
      this.#made.setAttribute("class", isOver ? "shout" : "speak");
      place(this.#madeText, a, 26, 60);
      this.#madeText.setAttribute("class", "loud");
      setText(this.#madeText, `${sayKnots(made)} kn`);
    }
    if (advised === null) {
      this.#gate.setAttribute("d", "");
      setText(this.#gateText, made === null ? "" : "no speed can be said to go with what is seen");
      place(this.#gateText, 0, -34, 190);
    } else {
      const a = arcAngle(advised, top);
      let d = "";
      for (const side of [-5, 5]) {
        const [x1, y1] = point(a + side / R, 11);
        const [x2, y2] = point(a + side / R, -13);
        d += `M${x1} ${y1}L${x2} ${y2}`;
      }
      this.#gate.setAttribute("d", d);
      place(this.#gateText, a, -34, 150);
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

function place(text: SVGElement, angle: number, off: number, margin: number): void {
  const [x, y] = point(angle, off);
  text.setAttribute("x", String(Math.min(Math.max(x, margin), W - margin)));
  text.setAttribute("y", y.toFixed(1));
}
