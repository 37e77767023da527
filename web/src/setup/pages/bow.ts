/** The radar's bow mark against the chart: measured while the boat runs straight, taken by one touch, undone by one. */
import { make, setText, svg } from "../../panels/dom";
import { shown } from "../figures";
import { button, type Page, type SetupHelm } from "../page";
import type { Bow } from "../../state/types";

const R = 190;
/** Degrees shown either side of the bow, drawn this much wider than they are. */
const WIDE_DEG = 8;
const STRETCH = 5;

/** A direction on the dial, as SVG's x and y. */
export function onDial(deg: number, r = R): [number, number] {
  const a = ((Math.max(-WIDE_DEG, Math.min(WIDE_DEG, deg)) * STRETCH) / 180) * Math.PI;
  return [r * Math.sin(a), -r * Math.cos(a)];
}

export class BowPage implements Page {
  readonly name = "bow";
  readonly element = make("div", "", { class: "bow" });
  readonly #dial = svg("svg", { viewBox: "-200 -214 400 226", role: "img" });
  readonly #title = make("h2");
  readonly #sure = make("p", "", { class: "lead" });
  readonly #compass = make("p", "", { class: "why" });
  readonly #now = make("p", "", { class: "state" });
  readonly #take = button("", () => this.helm.control("take bow"), { class: "pick" });
  readonly #undo = button("", () => this.helm.control("undo bow"), { class: "pick" });

  constructor(private readonly frame: { refresh(): void }, private readonly helm: SetupHelm) {
    const answers = make("div", "", { class: "answers" });
    answers.append(this.#take, this.#undo);
    this.element.append(make("p", "The bow mark", { class: "count" }), this.#dial as unknown as HTMLElement, this.#title, this.#sure, this.#compass, answers, this.#now);
  }

  show(): void {
    this.told();
  }

  told(): void {
    const bow = this.helm.bow();
    setText(this.#title, bow === null ? "No reading yet: it is measured while the watch runs." : bow.say);
    setText(this.#sure, bow === null ? "" : sureWords(bow));
    setText(this.#compass, bow?.compass ?? "");
    setText(this.#now, bow?.offset_deg == null ? "" : `The radar's bow offset is ${signed(bow.offset_deg)}.`);
    this.#take.hidden = bow?.new_deg == null;
    setText(this.#take, bow?.new_deg == null ? "" : `take it: make the offset ${signed(bow.new_deg)}`);
    this.#undo.hidden = bow?.before_deg == null;
    setText(this.#undo, bow?.before_deg == null ? "" : `undo: back to ${signed(bow.before_deg)}`);
    this.#draw(bow);
    this.frame.refresh();
  }

  skip(): null {
    return null;
  }

  forwardWord(): string {
    return "done";
  }

  forward(): boolean {
    return true;
  }

  #draw(bow: Bow | null): void {
    const parts: SVGElement[] = [];
    const [x0, y0] = onDial(-WIDE_DEG);
    const [x1, y1] = onDial(WIDE_DEG);
    parts.push(svg("path", { d: `M ${x0} ${y0} A ${R} ${R} 0 0 1 ${x1} ${y1}`, class: "whisper" }));
    for (let deg = -WIDE_DEG; deg <= WIDE_DEG; deg++) {
      const [ax, ay] = onDial(deg);
      const [bx, by] = onDial(deg, deg % 2 === 0 ? R - 12 : R - 7);
      parts.push(svg("line", { x1: ax, y1: ay, x2: bx, y2: by, class: "whisper" }));
      if (deg % 2 !== 0) continue;
      const [tx, ty] = onDial(deg, R + 10);
      const text = svg("text", { x: tx, y: ty });
      text.textContent = String(Math.abs(deg));
      parts.push(text);
    }
    const [cx, cy] = onDial(0, R);
    parts.push(svg("line", { x1: 0, y1: 0, x2: cx, y2: cy, class: "whisper chart" }));
    if (bow?.bias_deg != null && bow.sigma_deg !== null) {
      // The wedge is where it lies by the measurement, two standard deviations either way.
      const [lx, ly] = onDial(bow.bias_deg - 2 * bow.sigma_deg, R);
      const [hx, hy] = onDial(bow.bias_deg + 2 * bow.sigma_deg, R);
      parts.push(svg("path", { d: `M 0 0 L ${lx} ${ly} A ${R} ${R} 0 0 1 ${hx} ${hy} Z`, class: "wedge" }));
      const [bx, by] = onDial(bow.bias_deg, R);
      parts.push(svg("line", { x1: 0, y1: 0, x2: bx, y2: by, class: bow.state === "ready" ? "shout" : "speak" }));
    }
    const name = svg("title", {});
    name.textContent = bow?.bias_deg == null ? "Nothing is measured yet" : `The picture lies ${signed(bow.bias_deg)} of the chart`;
    this.#dial.replaceChildren(name, ...parts);
  }
}

function signed(deg: number): string {
  return `${deg < 0 ? "−" : deg > 0 ? "+" : ""}${shown(Math.abs(deg), 2)} degree${Math.abs(deg) === 1 ? "" : "s"}`;
}

export function sureWords(bow: Bow): string {
  if (bow.bias_deg === null || bow.sigma_deg === null) return "";
  const sure = `Measured ${signed(bow.bias_deg)}, give or take ${shown(bow.sigma_deg, 2)} (one standard deviation), over ${bow.seconds} seconds.`;
  return bow.state === "measuring" && bow.seconds < bow.of_seconds ? `${sure} It takes ${bow.of_seconds}.` : sure;
}
