/** All that is said at this moment, in full: the order with its rule, what else stands, what comes next on the plan. */
import { headline, nextOnPlan, offerWords, whatMatters } from "../state/say";
import type { State } from "../state/store";
import { make } from "../panels/dom";

export interface NowAnswers {
  heard(): void;
  again(): void;
  close(): void;
}

export class NowSheet {
  readonly element = make("section", "", { id: "now", "aria-label": "What is said now", tabindex: "-1" });
  readonly #list = make("div");
  #key = "";

  constructor(does: NowAnswers) {
    const answers = make("div", "", { class: "answers" });
    for (const [name, press] of [["heard", () => does.heard()], ["say again", () => does.again()], ["close", () => does.close()]] as const) {
      const button = make("button", name, { type: "button" });
      button.addEventListener("click", press);
      answers.append(button);
    }
    this.element.append(this.#list, answers);
  }

  refresh(state: State, nowMs: number): void {
    if (this.element.hidden) return;
    const said = whatMatters(state, nowMs);
    const [first, ...others] = said;
    const offer = first?.own === true ? "" : offerWords(state);
    const next = nextOnPlan(state);
    const speed = state.reading?.speed;
    const key = `${said.map((one) => one.say).join("|")}|${offer}|${next}|${speed?.because}|${(state.reading?.alerts ?? []).map((alert) => alert.key + alert.state).join()}`;
    if (key === this.#key) return;
    this.#key = key;
    const parts: HTMLElement[] = [];
    if (first !== undefined) {
      const [large, rest] = headline(first.say);
      parts.push(make("h2", large));
      if (rest !== "") parts.push(make("p", rest));
    }
    if (offer !== "") parts.push(make("p", `${offer}.`));
    if (others.length > 0) parts.push(make("h3", "Besides"), ...others.map((one) => make("p", one.say)));
    const answered = (state.reading?.alerts ?? []).filter((alert) => alert.state !== "unacknowledged");
    if (answered.length > 0) parts.push(make("h3", "Answered, or over"), ...answered.map((alert) => make("p", `${alert.say} (${alert.state})`)));
    if (speed !== undefined && speed.because !== "") parts.push(make("h3", "Speed by what is seen"), make("p", `${speed.because.charAt(0).toUpperCase()}${speed.because.slice(1)}. Traffic, depth, room to turn and your own limit come beside it.`));
    if (next !== "") parts.push(make("h3", "On the plan"), make("p", next));
    this.#list.replaceChildren(...parts);
  }
}
