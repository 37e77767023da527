/** The boat, the radar and the skipper: one question on the sheet at a time. */
import { make, setText } from "../../panels/dom";
import { answering, valueWords, type Answering } from "./answers";
import { button, type Frame, type Page } from "../page";
import type { Question } from "../types";

/** How a question stands, in words. */
export function stateWords(question: Question, unit: "metres" | "feet"): string {
  switch (question.state) {
    case "given":
      return "";
    case "assumed":
      return `Not known: ${valueWords(question, question.value, unit)} is assumed, and that is said.`;
    case "default":
      return `Default: ${valueWords(question, question.default, unit)}.`;
    case "unknown":
      return "Not known.";
  }
}

export class QuestionsPage implements Page {
  readonly name = "boat";
  readonly element = make("div", "", { class: "questions" });
  readonly #count = make("p", "", { class: "count" });
  readonly #title = make("h2");
  readonly #help = make("p", "", { class: "help" });
  readonly #box = make("div", "", { class: "answer" });
  readonly #state = make("p", "", { class: "state" });
  readonly #groups = make("div", "", { class: "answers groups" });
  #at = 0;
  #answer: Answering | null = null;
  #key = "";

  constructor(private readonly frame: Frame) {
    this.element.append(this.#count, this.#title, this.#state, this.#help, this.#box, this.#groups);
  }

  get #question(): Question | undefined {
    return this.frame.told.questions[this.#at];
  }

  show(): void {
    this.#key = "";
    this.#draw();
  }

  told(): void {
    this.#draw();
  }

  /** From the first or to the last, as one comes from before or from behind. */
  enter(fromBehind: boolean): void {
    this.#at = fromBehind ? this.frame.told.questions.length - 1 : 0;
  }

  jump(key: string): void {
    this.#at = Math.max(0, this.frame.told.questions.findIndex((q) => q.key === key));
  }

  forwardWord(): string {
    return "forward";
  }

  skip(): { word: string; press: () => void } {
    const question = this.#question;
    const isGiven = question?.state === "given";
    return { word: question?.default != null && !isGiven ? "skip" : "not known", press: () => void this.#skip() };
  }

  async forward(): Promise<boolean> {
    const question = this.#question;
    const answer = this.#answer;
    if (question !== undefined && answer !== null) {
      const problem = answer.problem();
      if (problem !== null) {
        this.frame.say(problem);
        return false;
      }
      const value = answer.value();
      const isSame = value === undefined || JSON.stringify(value) === JSON.stringify(question.value);
      if (!isSame && (await this.frame.change({ do: "answer", key: question.key, value })) === null) return false;
    }
    return this.#step();
  }

  back(): boolean {
    if (this.#at === 0) return false;
    this.#at -= 1;
    this.#draw();
    return true;
  }

  key(event: KeyboardEvent): boolean {
    return this.#answer?.key(event.key) ?? false;
  }

  async #skip(): Promise<void> {
    const question = this.#question;
    if (question === undefined) return;
    // What stands at its default, or was never known, is left as it is; what was given is taken away, and said to be.
    const mustTell = question.state === "given" || (question.is_needed && question.state !== "assumed");
    if (mustTell && (await this.frame.change({ do: "answer", key: question.key, value: null })) === null) return;
    if (this.#step()) this.frame.go(1);
  }

  /** True: past the last. */
  #step(): boolean {
    if (this.#at + 1 >= this.frame.told.questions.length) return true;
    this.#at += 1;
    this.#draw();
    return false;
  }

  #draw(): void {
    const { questions, settings, groups } = this.frame.told;
    const question = this.#question;
    if (question === undefined) return;
    const unit = settings.length_unit;
    const names = Object.keys(groups);
    setText(this.#count, `${groups[question.group] ?? ""}, ${this.#at + 1} of ${questions.length}`);
    setText(this.#title, question.ask);
    setText(this.#help, question.help);
    setText(this.#state, stateWords(question, unit));
    const key = JSON.stringify([question, unit]);
    if (key === this.#key) return;
    this.#key = key;
    this.frame.say("");
    this.#answer = answering(question, unit, () => {
      this.frame.say("");
      setText(this.#state, "Forward keeps it.");
    });
    this.#box.replaceChildren(this.#answer.element);
    this.#groups.replaceChildren(
      ...names.filter((name) => name !== question.group).map((name) =>
        button(groups[name] ?? name, () => {
          this.#at = questions.findIndex((q) => q.group === name);
          this.#draw();
        }),
      ),
    );
    this.element.scrollTop = 0;
    this.frame.refresh();
  }
}
