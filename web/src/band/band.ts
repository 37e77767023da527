/** The band along the lower edge: the order and its reason, two lines that nothing covers; above them the speed. */
import { headline, offerWords, shortReason, unanswered, whatMatters } from "../state/say";
import type { State } from "../state/store";
import { make, setText } from "../panels/dom";
import { SpeedLine } from "./speed";

/** Sizes a line is tried in, the largest first, page pixels. */
const SAY_PX = [40, 36, 32, 29, 26, 23, 21, 19, 17] as const;

export class Band {
  readonly #speed = new SpeedLine();
  readonly #words = make("div", "", { id: "words" });
  readonly #say = make("p", "", { id: "say", "aria-live": "assertive" });
  readonly #because = make("p", "", { id: "because" });
  #fitted = "";

  constructor(readonly element: HTMLElement, private readonly also: HTMLElement, open: () => void) {
    this.#words.append(this.#say, this.#because);
    this.#words.addEventListener("click", open);
    element.append(this.#speed.element, this.#words);
  }

  show(state: State, nowMs: number): void {
    const said = whatMatters(state, nowMs);
    const first = said[0] ?? { urgency: 1, say: "", echo: null, own: true };
    const [large, rest] = headline(first.say);
    const words = `${large}.`.replace(/([.!?])\.$/, "$1");
    setText(this.#say, words);
    this.#say.dataset["urgency"] = String(first.urgency);
    const waits = unanswered(state)[0];
    this.element.dataset["waits"] = waits === undefined ? "" : waits.urgency === 4 ? "alarm" : "warning";
    const withdrawn = first.own && first.urgency === 4;
    const offer = first.own ? "" : offerWords(state);
    // Why the speed is what it is, where nothing is called that the words could be taken for the reason of.
    const because = withdrawn || first.urgency > 1 ? "" : (state.reading?.speed.because ?? "");
    const reason = rest !== "" ? shortReason(rest) : because === "" ? "" : `By what is seen: ${because}.`;
    setText(this.#because, [reason, offer === "" ? "" : `${offer}.`].filter((line) => line !== "").join(" "));
    this.#fit();
    const more = said.slice(1, 4);
    if (this.also.children.length !== more.length) this.also.replaceChildren(...more.map(() => make("li")));
    more.forEach((one, i) => {
      const item = this.also.children[i] as HTMLElement | undefined;
      if (item === undefined) return;
      setText(item, headline(one.say)[0]);
      item.dataset["urgency"] = String(one.urgency);
    });
    this.also.hidden = more.length === 0;
    const made = withdrawn || state.pose === null || Number.isNaN(state.pose.sogKn) ? null : state.pose.sogKn;
    this.#speed.show(made, withdrawn ? null : (state.reading?.speed.advised_kn ?? null));
  }

  /** The largest size in which the order takes its line, or two lines where it is long, and the reason what is left. */
  #fit(): void {
    const { clientWidth: width, clientHeight: height } = this.#words;
    const key = `${this.#say.textContent}|${this.#because.textContent}|${width}|${height}`;
    if (key === this.#fitted || width === 0) return;
    this.#fitted = key;
    for (const size of SAY_PX) {
      this.#say.style.fontSize = `${size}px`;
      const lines = Math.round(this.#say.offsetHeight / (size * 1.1));
      // Broken only where it would else be too small to be read at a glance.
      if (lines > (size > 26 ? 1 : 2)) continue;
      if (this.#say.offsetHeight + this.#because.offsetHeight <= height) return;
    }
  }
}
