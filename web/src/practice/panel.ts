/** The question, the ways to answer it, and afterwards the mark with its reason. Plain DOM, keyboard first. */
import { make, setText } from "../panels/dom";
import { NEUTRAL } from "./raw";
import type { Answer, Exercise, Knobs, Marked } from "./types";

export interface Asker {
  /** Whether a place has been touched, and where. */
  touched(): readonly [number, number] | null;
  /** A place in range and relative bearing was typed. */
  place(rangeNm: number, relativeDeg: number): void;
  knobs(knobs: Knobs): void;
  answer(answer: Answer): void;
  next(): void;
}

const UNIT: Readonly<Record<string, string>> = { nm: "NM", deg: "°", kn: "kn", min: "min" };
// As many places as are asked for and scored.
const PLACES: Readonly<Record<string, number>> = { nm: 2, deg: 0, kn: 1, min: 0 };

export class Panel {
  readonly element = make("section", "", { class: "side", "aria-label": "Question" });
  readonly #title = make("p", "", { class: "title" });
  readonly #asks = make("h2", "", { tabindex: "-1" });
  readonly #told = make("div", "", { class: "told" });
  readonly #form = make("form", "", { class: "answers" });
  readonly #problem = make("p", "", { class: "problem", role: "alert" });
  readonly #mark = make("div", "", { class: "mark", role: "status" });
  #knobs: Knobs = NEUTRAL;

  constructor(private readonly asker: Asker) {
    this.element.append(this.#title, this.#asks, this.#told, this.#form, this.#problem, this.#mark);
    this.#form.addEventListener("submit", (event) => event.preventDefault());
  }

  get now(): Knobs {
    return this.#knobs;
  }

  wait(line: string): void {
    this.#title.replaceChildren();
    setText(this.#asks, line);
    for (const box of [this.#told, this.#form, this.#mark]) box.replaceChildren();
    setText(this.#problem, "");
  }

  refuse(line: string): void {
    setText(this.#problem, line);
  }

  /** Nothing could be asked: say why, and offer to ask again. */
  fail(line: string): void {
    this.wait("No exercise.");
    this.refuse(line);
    this.#mark.append(this.#button("ask again", () => this.asker.next()));
  }

  show(exercise: Exercise): void {
    setText(this.#title, exercise.title);
    setText(this.#asks, exercise.asks);
    this.#told.replaceChildren(...exercise.told.map((line) => make("p", line)));
    setText(this.#problem, "");
    this.#mark.replaceChildren();
    this.#form.replaceChildren(...this.#answers(exercise));
    const withheld = this.#button(exercise.withheld, () => this.asker.answer({ withheld: true }), "withheld");
    this.#form.append(withheld);
    this.#asks.focus();
  }

  marked(exercise: Exercise, marked: Marked): void {
    for (const control of this.#form.querySelectorAll("button, input")) (control as HTMLButtonElement).disabled = true;
    const right = "word" in marked.right ? marked.right.word : "figures" in marked.right ? figures(exercise, marked.right.figures) : "";
    for (const control of this.#form.querySelectorAll<HTMLButtonElement>("button.word")) control.classList.toggle("right", control.textContent === right);
    this.#form.classList.add("over");
    const parts = [make("p", marked.verdict, { class: "verdict" }), make("p", `${Math.round(100 * marked.points)} % of what was to be had`, { class: "points" })];
    if (right !== "") parts.push(make("p", `It was: ${right}.`));
    parts.push(make("p", marked.because));
    if (!marked.withheld && marked.knowable < 0.8) parts.push(make("p", `A careful reader could have known it ${Math.round(100 * marked.knowable)} % of the time.`));
    this.#mark.replaceChildren(...parts);
    if ("knobs" in marked.right) {
      const careful = marked.right.knobs;
      this.#mark.append(this.#button("show a careful setting", () => this.#turn(careful)));
    }
    const next = this.#button("next", () => this.asker.next(), "next");
    this.#mark.append(next);
    next.focus({ preventScroll: true });
    this.#mark.scrollIntoView({ block: "nearest" });
  }

  #answers(exercise: Exercise): HTMLElement[] {
    this.#form.classList.remove("over");
    switch (exercise.form) {
      case "word":
        return exercise.words.map((word) => this.#button(word, () => this.asker.answer({ word }), "word"));
      case "figures":
        return this.#figures(exercise);
      case "knobs":
        return this.#turns(exercise);
      case "touch":
        return [make("p", "Touch the scope, then answer.", { class: "hint" }), ...(exercise.step === "rings" ? [] : this.#typed()), this.#touch()];
      case "chart":
        return [make("p", "Touch the chart, then answer.", { class: "hint" }), this.#touch()];
    }
  }

  #figures(exercise: Exercise): HTMLElement[] {
    const inputs = exercise.figures.map((figure) => field(`${figure.name}, ${UNIT[figure.unit] ?? figure.unit}`, figure.least, figure.most));
    const answer = this.#button("answer", () => {
      const given = inputs.map(({ input }) => (input.value === "" ? NaN : input.valueAsNumber));
      if (given.some((value) => !Number.isFinite(value))) this.refuse("Each figure is wanted as a number.");
      else this.asker.answer({ figures: given });
    }, "answer");
    answer.type = "submit";
    return [...inputs.map(({ label }) => label), answer];
  }

  /** A place by distance and bearing, for those who do not touch. */
  #typed(): HTMLElement[] {
    const range = field("or range, NM", 0, 24);
    const bearing = field("relative bearing, °", 0, 360);
    const place = (): void => {
      const [r, b] = [range.input.valueAsNumber, bearing.input.valueAsNumber];
      if (Number.isFinite(r) && Number.isFinite(b)) this.asker.place(r, b);
    };
    range.input.addEventListener("input", place);
    bearing.input.addEventListener("input", place);
    return [range.label, bearing.label];
  }

  #touch(): HTMLElement {
    return this.#button("answer", () => {
      const touch = this.asker.touched();
      if (touch === null) this.refuse("Touch a place first.");
      else this.asker.answer({ touch });
    }, "answer");
  }

  /** Gain, sea and rain for looking: nothing hangs on them but what is seen. */
  sliders(exercise: Exercise): HTMLElement[] {
    this.#knobs = { ...exercise.view, scale_nm: exercise.pictures?.scale_nm ?? NEUTRAL.scale_nm };
    return (["gain", "sea", "rain"] as const).map((name) => {
      const { label, input } = field(name, 0, 100, "range");
      input.value = String(this.#knobs[name]);
      input.dataset["knob"] = name;
      const shown = make("output", input.value);
      label.append(shown);
      input.addEventListener("input", () => {
        shown.textContent = input.value;
        this.#knobs = { ...this.#knobs, [name]: input.valueAsNumber };
        this.asker.knobs(this.#knobs);
      });
      return label;
    });
  }

  #turns(exercise: Exercise): HTMLElement[] {
    const rows = this.sliders(exercise);
    const scales = make("div", "", { class: "scales", role: "group", "aria-label": "range" });
    scales.append(
      ...exercise.scales_nm.map((scale) => {
        const press = this.#button(`${scale} NM`, () => {
          this.#knobs = { ...this.#knobs, scale_nm: scale };
          this.#pressed(scales, scale);
          this.asker.knobs(this.#knobs);
        }, "scale");
        press.dataset["scale"] = String(scale);
        return press;
      }),
    );
    this.#pressed(scales, this.#knobs.scale_nm);
    return [...rows, scales, this.#button("answer", () => this.asker.answer({ knobs: this.#knobs }), "answer")];
  }

  #pressed(scales: HTMLElement, scale: number): void {
    for (const one of scales.querySelectorAll("button")) one.setAttribute("aria-pressed", String(one.dataset["scale"] === String(scale)));
  }

  #turn(knobs: Knobs): void {
    this.#knobs = knobs;
    for (const input of this.#form.querySelectorAll<HTMLInputElement>("input[data-knob]")) {
      input.value = String(knobs[input.dataset["knob"] as "gain"]);
      const shown = input.parentElement?.querySelector("output");
      if (shown !== null && shown !== undefined) shown.textContent = input.value;
    }
    this.asker.knobs(knobs);
  }

  #button(words: string, press: () => void, kind = ""): HTMLButtonElement {
    const button = make("button", words, { type: "button", class: kind });
    button.addEventListener("click", press);
    return button;
  }
}

function field(words: string, least: number, most: number, type = "number"): { label: HTMLElement; input: HTMLInputElement } {
  const label = make("label", "", { class: type });
  label.append(make("span", words));
  const input = make("input", "", { type, min: String(least), max: String(most), step: type === "number" ? "any" : "1" });
  label.append(input);
  return { label, input };
}

function figures(exercise: Exercise, given: readonly number[]): string {
  return given
    .map((value, k) => {
      const unit = exercise.figures[k]?.unit ?? "";
      return `${exercise.figures[k]?.name ?? ""} ${value.toFixed(PLACES[unit] ?? 2)}${unit === "deg" ? "" : " "}${UNIT[unit] ?? ""}`;
    })
    .join(", ");
}
