/** What a touched echo has to say, and what may be answered to it. */
import { echoSentences, echoTitle } from "../state/say";
import type { Store } from "../state/store";
import type { Echo } from "../state/types";
import type { Control } from "../wire/frame";
import type { Drawers } from "./drawers";
import { make, setText } from "../panels/dom";

/** As the server takes them. */
export const SEEN_AS = ["boat", "buoy or beacon", "float or pot", "pile or stake", "rock or wreck", "birds or weed", "nothing there"] as const;

export class Card {
  readonly #title = make("h2");
  readonly #text = make("p");
  readonly #answers = make("div", "", { class: "answers" });
  #page: "first" | "seen" = "first";
  #shown: string | null = null;
  #echo: number | null = null;

  readonly element = make("section", "", { id: "card", "aria-label": "The echo touched" });

  constructor(private readonly store: Store, private readonly ask: (control: Control) => void, private readonly drawers: Drawers) {
    this.element.append(this.#title, this.#text, this.#answers);
  }

  show(): void {
    const state = this.store.state;
    const echo = state.reading?.echoes.find((e) => e.id === state.touched);
    if (echo === undefined) {
      this.drawers.hide(this.element);
      this.#shown = null;
      this.#echo = null;
      this.#page = "first";
      return;
    }
    const isNew = echo.id !== this.#echo;
    this.#echo = echo.id;
    // Another drawer that was opened since stays; a new touch comes first.
    if (isNew || this.drawers.now === null) this.drawers.show(this.element);
    if (this.element.hidden) return;
    const unit = state.hello?.boat.distance_unit ?? "nm";
    setText(this.#title, echoTitle(echo));
    setText(this.#text, echoSentences(echo, unit).join(" "));
    const key = `${echo.id}/${this.#page}`;
    if (key !== this.#shown) {
      const isOpening = this.#shown === null;
      this.#shown = key;
      this.#answers.replaceChildren(...this.#buttons(echo));
      if (isOpening && document.activeElement === document.body) return;
      if (!isOpening) (this.#answers.firstElementChild as HTMLElement | null)?.focus({ preventScroll: true });
    }
  }

  #buttons(echo: Echo): HTMLButtonElement[] {
    const button = (text: string, press: () => void): HTMLButtonElement => {
      const made = make("button", text, { type: "button" });
      made.addEventListener("click", press);
      return made;
    };
    const close = (): void => this.store.send({ type: "touch", echo: null });
    if (this.#page === "seen") {
      return [
        ...SEEN_AS.map((what) =>
          button(what, () => {
            this.ask({ do: "i see it", echo: echo.id, value: what });
            close();
          }),
        ),
        button("back", () => {
          this.#page = "first";
          this.show();
        }),
      ];
    }
    const call = this.store.state.standing.find((c) => c.echo === echo.id);
    return [
      button("I see it: it is …", () => {
        this.#page = "seen";
        this.show();
      }),
      button("keep in mind", () => {
        this.ask({ do: "keep in mind", echo: echo.id, value: "" });
        close();
      }),
      ...(call === undefined
        ? []
        : [
            button("heard", () => {
              this.ask({ do: "acknowledge", key: call.key });
              this.store.send({ type: "acknowledged", key: call.key });
              close();
            }),
          ]),
      button("close", close),
    ];
  }
}
