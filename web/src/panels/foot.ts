/** What matters now: the arc, one large sentence, the next two smaller. */
import { headline, nextOnPlan, offerWords, whatMatters, type Said } from "../state/say";
import type { State } from "../state/store";
import { SpeedArc } from "./arc";
import { make, setText } from "./dom";

export class Foot {
  readonly #arc = new SpeedArc();
  readonly #say = make("p", "", { id: "say", "aria-live": "assertive" });
  readonly #also = make("ul", "", { id: "also" });
  readonly #because = make("p", "", { id: "because" });
  readonly #clears = make("p", "", { id: "clears" });
  #arcKey = "";

  constructor(readonly element: HTMLElement) {
    element.append(this.#arc.element, this.#say, this.#clears, this.#because, this.#also);
  }

  show(state: State, nowMs: number): Said {
    const said = whatMatters(state, nowMs);
    const first = said[0] ?? { urgency: 1, say: "", echo: null, own: true };
    const [large, rest] = headline(first.say);
    setText(this.#say, `${large}.`.replace(/([.!?])\.$/, "$1"));
    this.#say.dataset["urgency"] = String(first.urgency);
    const clears = first.own ? "" : offerWords(state);
    setText(this.#clears, clears);
    this.#clears.hidden = clears === "";
    const more = said.slice(1, clears === "" ? 3 : 2).map((s) => headline(s.say)[0]);
    const next = first.own && first.urgency === 4 ? "" : nextOnPlan(state);
    if (next !== "") more.push(next);
    if (this.#also.children.length !== more.length) this.#also.replaceChildren(...more.map(() => make("li")));
    more.forEach((line, i) => {
      const item = this.#also.children[i];
      if (item !== undefined) setText(item, line);
    });
    this.#also.hidden = more.length === 0;
    const withdrawn = first.own && first.urgency === 4;
    const made = withdrawn || state.pose === null || Number.isNaN(state.pose.sogKn) ? null : state.pose.sogKn;
    const advised = withdrawn ? null : (state.reading?.speed.advised_kn ?? null);
    const width = Math.max(this.element.clientWidth - 36, 240);
    const key = `${made?.toFixed(1)}|${advised?.toFixed(1)}|${width}`;
    if (key !== this.#arcKey) {
      this.#arcKey = key;
      this.#arc.show(made, advised, width);
    }
    const because = withdrawn ? "" : (state.reading?.speed.because ?? "");
    setText(this.#because, rest !== "" ? rest : more.length < 2 ? because : "");
    return first;
  }

  /** Pixels from the top of the page where the foot's words begin. */
  get top(): number {
    return this.#arc.element.getBoundingClientRect().top;
  }
}
