/** Under way by day: a question now and then about an echo that the eye can check. Asked only while this is open. */
import { make, setText } from "../panels/dom";
import { Refused } from "./ask";

interface Told {
  readonly why?: string;
  readonly say?: string;
  readonly words?: readonly string[];
  readonly verdict?: string;
}

/** How often the helm is asked whether there is something to ask, ms. */
const EVERY_MS = 5000;

export class DayPanel {
  readonly element = make("section", "", { class: "day", "aria-label": "By day", hidden: "" });
  readonly #say = make("h2", "");
  readonly #words = make("div", "", { class: "answers" });
  readonly #line = make("p", "", { role: "status" });
  #timer: number | null = null;
  #read: string | null = null;
  #isAsked = false;

  constructor() {
    this.element.append(make("p", "Only with somebody else at the look-out. Asked by day, under way, and when nothing is close.", { class: "caution" }), this.#say, this.#words, this.#line);
  }

  show(shown: boolean): void {
    this.element.hidden = !shown;
    if (this.#timer !== null) window.clearInterval(this.#timer);
    this.#timer = null;
    if (!shown) return;
    void this.#ask();
    this.#timer = window.setInterval(() => void this.#ask(), EVERY_MS);
  }

  async #ask(): Promise<void> {
    try {
      const told = await tell({ do: "ask" });
      if (told.say === undefined) {
        // Not quiet any more: what was asked is taken away.
        this.#isAsked = false;
        this.#read = null;
        this.#words.replaceChildren();
        setText(this.#say, "Nothing is asked now");
        setText(this.#line, `${told.why ?? ""}.`);
      } else if (!this.#isAsked) {
        this.#isAsked = true;
        setText(this.#say, told.say);
        setText(this.#line, "Read it off the radar first.");
        this.#choose(told.words ?? [], (word) => this.#look(word, told.words ?? []));
      }
    } catch (problem) {
      setText(this.#line, problem instanceof Refused ? problem.message : String(problem));
    }
  }

  #look(word: string, words: readonly string[]): void {
    this.#read = word;
    setText(this.#say, "Now look. What is there?");
    setText(this.#line, `You read: ${word}.`);
    this.#choose([...words, "the eye cannot tell"], (eye) => void this.#told(words.includes(eye) ? eye : null));
  }

  async #told(eye: string | null): Promise<void> {
    try {
      const told = await tell({ do: "told", read: this.#read, eye });
      this.#words.replaceChildren();
      setText(this.#say, told.verdict ?? "");
      setText(this.#line, "The next comes when it is quiet.");
    } catch (problem) {
      setText(this.#line, problem instanceof Refused ? problem.message : String(problem));
    }
    this.#isAsked = false;
  }

  #choose(words: readonly string[], take: (word: string) => void): void {
    this.#words.replaceChildren(
      ...words.map((word) => {
        const button = make("button", word, { type: "button" });
        button.addEventListener("click", () => take(word));
        return button;
      }),
    );
  }
}

async function tell(asking: { readonly do: string; readonly [key: string]: unknown }): Promise<Told> {
  const response = await fetch(new URL("practice/day", document.baseURI), { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(asking) }).catch(() => null);
  if (response === null) throw new Refused("The link to the helm is lost.");
  const body = (await response.json().catch(() => ({}))) as Told & { readonly problem?: string };
  if (!response.ok) throw new Refused(body.problem ?? `The helm answered ${response.status}.`);
  return body;
}
