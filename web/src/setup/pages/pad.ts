/** Keys of our own for figures and letters: the system's keyboard is bright, and covers half of a phone. */
import { make } from "../../panels/dom";
import { button } from "../page";

const BACK = "Backspace";
/** Rows of four: a thumb reaches all of them, and a phone is as wide. */
const FIGURES = ["1", "2", "3", BACK, "4", "5", "6", "0", "7", "8", "9", "."] as const;
const LETTERS = [..."abcdefghijklmnopqrstuvwxyz"];

export type PadKind = "figures" | "letters" | "address";

export class Pad {
  readonly element = make("div", "", { class: "pad", role: "group", "aria-label": "Keys" });
  #isUpper = true;
  #isLetters: boolean;

  constructor(private readonly kind: PadKind, private readonly press: (key: string) => void, private readonly isSigned = false) {
    this.#isLetters = kind === "letters";
    this.#lay();
  }

  /** The first letter of a name is large, the next ones are not. */
  soFar(text: string): void {
    if (this.kind !== "letters") return;
    const upper = text === "" || text.endsWith(" ");
    if (upper === this.#isUpper) return;
    this.#isUpper = upper;
    for (const key of this.element.querySelectorAll<HTMLElement>("[data-letter]")) key.textContent = this.#case(key.dataset["letter"] ?? "");
  }

  #case(letter: string): string {
    return this.#isUpper && this.kind === "letters" ? letter.toUpperCase() : letter;
  }

  #lay(): void {
    this.element.classList.toggle("wide", this.#isLetters);
    const key = (text: string, send: () => string, label = text): HTMLButtonElement => button(text, () => this.press(send()), { class: "key", "aria-label": label });
    const back = (): HTMLElement => key("⌫", () => BACK, "take the last away");
    const keys: HTMLElement[] = [];
    if (this.#isLetters) {
      for (const letter of LETTERS) {
        const made = key(this.#case(letter), () => this.#case(letter), letter);
        made.dataset["letter"] = letter;
        keys.push(made);
      }
      if (this.kind === "letters") keys.push(key("space", () => " "), key("/", () => "/"), key("_", () => "_"));
      keys.push(back());
    } else {
      for (const figure of FIGURES) keys.push(figure === BACK ? back() : key(figure, () => figure, figure === "." ? "point" : figure));
      if (this.kind !== "figures") keys.push(key(":", () => ":", "colon"), key("-", () => "-", "minus"), key("/", () => "/", "slash"));
      else if (this.isSigned) keys.push(key("±", () => "-", "the other way"));
    }
    if (this.kind !== "figures") {
      keys.push(
        button(this.#isLetters ? "123" : "abc", () => {
          this.#isLetters = !this.#isLetters;
          this.#lay();
        }, { class: "key" }),
      );
    }
    this.element.replaceChildren(...keys);
  }
}

/** What a key does to a text being typed. */
export function typedText(text: string, key: string, longest = 60): string {
  if (key === "Backspace") return text.slice(0, -1);
  return key.length === 1 && text.length < longest ? text + key : text;
}
