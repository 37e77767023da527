/** One kind of answer each: a figure, words, a choice, lists of figures. Each says what it stands at, or that it is wrong. */
import { make, setText } from "../../panels/dom";
import { fromMetres, outOfBounds, parsed, shown, stepped, toMetres, typed, type LengthUnit } from "../figures";
import { Pad, typedText } from "./pad";
import { button, pick } from "../page";
import type { Question } from "../types";

export interface Answering {
  readonly element: HTMLElement;
  /** undefined: nothing was changed. */
  value(): unknown;
  /** A sentence where it cannot be used. */
  problem(): string | null;
  key(key: string): boolean;
}

export function answering(question: Question, unit: LengthUnit, changed: () => void): Answering {
  switch (question.form) {
    case "choice":
      return new ChoiceAnswer(question, changed);
    case "text":
      return new TextAnswer(question, changed);
    case "lights":
      return new LightsAnswer(question, changed);
    case "stops":
      return new RowsAnswer(question, [{ key: "speed_kn", words: "from a speed of", unit: "knots", low: 0.5, high: 80 }, { key: "distance_m", words: "she runs on for", unit: "metres", low: 0, high: 5000 }], "another speed", changed);
    case "fuel":
      return new RowsAnswer(question, [{ key: "speed_kn", words: "at", unit: "knots", low: 0, high: 80 }, { key: "litres_per_hour", words: "she burns", unit: "litres an hour", low: 0, high: 2000 }], "another speed", changed);
    case "sectors":
      return new RowsAnswer(question, [{ key: "0", words: "from", unit: "degrees", low: 0, high: 360 }, { key: "1", words: "to", unit: "degrees", low: 0, high: 360 }], "another sector", changed);
    default:
      return new FigureAnswer(question, unit, changed);
  }
}

export function unitWords(question: Question, unit: LengthUnit): string {
  return question.form === "length" ? unit : question.unit;
}

/** A value of a question in words, as the skipper counts. */
export function valueWords(question: Question, value: unknown, unit: LengthUnit): string {
  if (value === null || value === undefined) return "not known";
  const choice = question.choices.find((c) => JSON.stringify(c.value) === JSON.stringify(value));
  if (choice !== undefined) return choice.words;
  if (typeof value === "number") {
    const number = question.form === "length" ? fromMetres(value, unit) : value;
    return `${shown(number)} ${unitWords(question, unit)}`.trim();
  }
  if (Array.isArray(value)) {
    if (question.form === "stops") return value.map((row) => `${row.speed_kn} kn in ${row.distance_m} m`).join(", ");
    if (question.form === "fuel") return value.map((row) => `${row.litres_per_hour} litres an hour at ${row.speed_kn} kn`).join(", ");
    if (question.form === "lights") return value.map((row) => `${row.colour} ${row.role}`).join(", ");
    if (question.form === "sectors") return value.map((row) => `${row[0]}° to ${row[1]}°`).join(", ");
  }
  return String(value);
}

class ChoiceAnswer implements Answering {
  readonly element = make("div", "", { class: "choices", role: "radiogroup" });
  #value: unknown;

  constructor(private readonly question: Question, private readonly changed: () => void) {
    this.element.setAttribute("aria-label", question.ask);
    this.#lay();
  }

  #lay(): void {
    const now = this.#value ?? this.question.value ?? this.question.default;
    this.element.replaceChildren(
      ...this.question.choices.map((choice) => {
        const made = pick(choice.words, JSON.stringify(choice.value) === JSON.stringify(now), () => {
          this.#value = choice.value;
          for (const other of this.element.children) other.setAttribute("aria-checked", String(other === made));
          this.changed();
        }, "radio");
        return made;
      }),
    );
  }

  value(): unknown {
    return this.#value;
  }

  problem(): string | null {
    return null;
  }

  key(): boolean {
    return false;
  }
}

class FigureAnswer implements Answering {
  readonly element = make("div", "", { class: "figure" });
  readonly #shown = make("output", "", { class: "typing" });
  readonly #less = button("−", () => this.#step(-1), { class: "ring", "aria-label": "less" });
  readonly #more = button("+", () => this.#step(1), { class: "ring", "aria-label": "more" });
  /** null: nothing has been typed; what stands is shown. */
  #text: string | null = null;

  constructor(private readonly question: Question, private readonly unit: LengthUnit, private readonly changed: () => void) {
    const line = make("div", "", { class: "line" });
    line.append(this.#less, this.#shown, this.#more);
    const left = make("div", "", { class: "left" });
    left.append(line);
    this.element.append(left, new Pad("figures", (key) => this.key(key), (question.low ?? 0) < 0).element);
    this.#show();
  }

  /** In the file's unit; null: nothing stands. */
  #standing(): number | null {
    const value = this.question.value ?? this.question.default;
    return typeof value === "number" ? value : null;
  }

  #in(value: number): number {
    return this.question.form === "length" ? fromMetres(value, this.unit) : value;
  }

  #number(): number | null {
    return this.#text === null ? null : parsed(this.#text);
  }

  #step(direction: 1 | -1): void {
    const { low, high, step } = this.question;
    const standing = this.#standing();
    const now = this.#number() ?? (standing === null ? (low ?? 0) : this.#in(standing));
    const bound = (value: number | null): number | null => (value === null ? null : this.#in(value));
    this.#text = shown(stepped(now, this.question.form === "length" && this.unit === "feet" ? Math.max(step, 0.5) : step, direction, bound(low), bound(high)), 3);
    this.#show();
    this.changed();
  }

  #show(): void {
    const standing = this.#standing();
    const text = this.#text ?? (standing === null ? "–" : shown(this.#in(standing)));
    this.#shown.classList.toggle("standing", this.#text === null);
    this.#shown.replaceChildren(make("b", text === "" ? "–" : text.replace("-", "−")), make("span", unitWords(this.question, this.unit)));
  }

  key(key: string): boolean {
    const before = this.#text ?? "";
    const after = typed(before, key);
    if (key === "ArrowUp" || key === "ArrowDown") return false;
    if (after === before && key !== "Backspace") return false;
    this.#text = after;
    this.#show();
    this.changed();
    return true;
  }

  value(): unknown {
    const number = this.#number();
    if (number === null) return undefined;
    const value = this.question.form === "length" ? toMetres(number, this.unit) : number;
    return this.question.form === "integer" ? Math.round(value) : Number(value.toFixed(4));
  }

  problem(): string | null {
    if (this.#text === null || this.#text === "") return null;
    const value = this.value();
    if (typeof value !== "number") return "That is no figure yet.";
    return outOfBounds(value, this.question.low, this.question.high, (v) => `${shown(this.#in(v))} ${unitWords(this.question, this.unit)}`.trim());
  }
}

class TextAnswer implements Answering {
  readonly element = make("div", "", { class: "text" });
  readonly #shown = make("output", "", { class: "typing" });
  readonly #pad: Pad;
  #text: string | null = null;

  constructor(private readonly question: Question, private readonly changed: () => void) {
    this.#pad = new Pad("letters", (key) => this.key(key));
    this.element.append(this.#shown, this.#pad.element);
    this.#show();
  }

  #show(): void {
    const text = this.#text ?? String(this.question.value ?? this.question.default ?? "");
    setText(this.#shown, text === "" ? "…" : text);
    this.#pad.soFar(text);
  }

  key(key: string): boolean {
    if (key !== "Backspace" && key.length !== 1) return false;
    // The first key begins afresh where only a default stood; it goes on where something was given.
    const before = this.#text ?? (this.question.state === "given" ? String(this.question.value ?? "") : "");
    this.#text = typedText(before, key);
    this.#show();
    this.changed();
    return true;
  }

  value(): unknown {
    return this.#text === null || this.#text.trim() === "" ? undefined : this.#text.trim();
  }

  problem(): string | null {
    return null;
  }
}

class LightsAnswer implements Answering {
  readonly element = make("div", "", { class: "choices" });
  #rows: unknown[] | null = null;

  constructor(private readonly question: Question, private readonly changed: () => void) {
    this.#lay();
  }

  #now(): unknown[] {
    return this.#rows ?? (Array.isArray(this.question.value) ? [...this.question.value] : []);
  }

  #has(value: unknown): number {
    const wanted = value as { role: string };
    return this.#now().findIndex((row) => (row as { role: string }).role === wanted.role);
  }

  #lay(): void {
    this.element.replaceChildren(
      ...this.question.choices.map((choice) =>
        pick(choice.words, this.#has(choice.value) >= 0, () => {
          const rows = this.#now();
          const at = this.#has(choice.value);
          if (at >= 0) rows.splice(at, 1);
          else rows.push(choice.value);
          this.#rows = rows;
          const index = this.question.choices.indexOf(choice);
          this.element.children[index]?.setAttribute("aria-checked", String(at < 0));
          this.changed();
        }),
      ),
    );
  }

  value(): unknown {
    return this.#rows ?? undefined;
  }

  problem(): string | null {
    return null;
  }

  key(): boolean {
    return false;
  }
}

interface Column {
  readonly key: string;
  readonly words: string;
  readonly unit: string;
  readonly low: number;
  readonly high: number;
}

class RowsAnswer implements Answering {
  readonly element = make("div", "", { class: "rows" });
  readonly #list = make("div", "", { class: "list" });
  #rows: string[][];
  #at: [number, number] = [0, 0];
  #isChanged = false;

  constructor(private readonly question: Question, private readonly columns: readonly Column[], private readonly more: string, private readonly changed: () => void) {
    const given = Array.isArray(question.value) ? (question.value as Record<string, number>[]) : [];
    this.#rows = given.map((row) => columns.map((column) => shown(Number(row[column.key as keyof typeof row]))));
    if (this.#rows.length === 0) this.#rows = [columns.map(() => "")];
    this.element.append(this.#list, new Pad("figures", (key) => this.key(key)).element);
    this.#lay();
  }

  #lay(): void {
    const rows = this.#rows.map((row, i) => {
      const line = make("div", "", { class: "row" });
      this.columns.forEach((column, j) => {
        const cell = button("", () => {
          this.#at = [i, j];
          this.#lay();
        }, { class: "cell", "aria-label": `${column.words}, ${column.unit}: ${row[j] === "" ? "empty" : row[j]}` });
        cell.classList.toggle("on", this.#at[0] === i && this.#at[1] === j);
        cell.append(make("small", column.words), make("b", row[j] === "" ? "–" : (row[j] ?? "")), make("small", column.unit));
        line.append(cell);
      });
      line.append(button("✕", () => this.#remove(i), { class: "key", "aria-label": "take this away" }));
      return line;
    });
    const answers = make("div", "", { class: "answers" });
    answers.append(button(this.more, () => this.#add()));
    this.#list.replaceChildren(...rows, answers);
  }

  #remove(i: number): void {
    this.#rows.splice(i, 1);
    if (this.#rows.length === 0) this.#rows = [this.columns.map(() => "")];
    this.#at = [Math.max(0, i - 1), 0];
    this.#touch();
  }

  #add(): void {
    this.#rows.push(this.columns.map(() => ""));
    this.#at = [this.#rows.length - 1, 0];
    this.#touch();
  }

  #touch(): void {
    this.#isChanged = true;
    this.#lay();
    this.changed();
  }

  key(key: string): boolean {
    const row = this.#rows[this.#at[0]];
    if (row === undefined) return false;
    if (key === "Tab" || key === "ArrowRight") return false;
    const before = row[this.#at[1]] ?? "";
    const after = typed(before, key);
    if (after === before) return false;
    row[this.#at[1]] = after;
    this.#touch();
    return true;
  }

  /** Step to the next empty cell; false where there is none. */
  next(): boolean {
    for (let i = 0; i < this.#rows.length; i++) {
      const j = (this.#rows[i] ?? []).indexOf("");
      if (j > 0 || (j === 0 && i !== this.#at[0])) {
        this.#at = [i, j];
        this.#lay();
        return true;
      }
    }
    return false;
  }

  #whole(): string[][] {
    return this.#rows.filter((row) => row.some((text) => text !== ""));
  }

  value(): unknown {
    if (!this.#isChanged) return undefined;
    const rows = this.#whole().map((row) => row.map((text) => parsed(text) ?? 0));
    if (this.question.form === "sectors") return rows;
    return rows.map((row) => Object.fromEntries(this.columns.map((column, j) => [column.key, row[j]])));
  }

  problem(): string | null {
    for (const row of this.#whole()) {
      for (const [j, column] of this.columns.entries()) {
        const value = parsed(row[j] ?? "");
        if (value === null) return `A figure is missing: ${column.words}, in ${column.unit}.`;
        const out = outOfBounds(value, column.low, column.high, (v) => `${shown(v)} ${column.unit}`);
        if (out !== null) return out;
      }
    }
    return null;
  }
}
