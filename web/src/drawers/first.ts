/** Shown once on a new screen: what is what, and whether it may sound. */
import { make } from "../panels/dom";

const LINES = [
  "The band below says the one thing to do now, and why. Touch it for all of it.",
  "What is hatched is not seen by the radar: it may hold anything.",
  "Touch an echo to ask what it is. Drag the sheet, pinch it; “to the boat” brings it back.",
  "It is an aid. The look-out stays yours, by sight and hearing (Rule 5).",
] as const;

export class FirstSheet {
  readonly element = make("section", "", { id: "first", "aria-label": "Before the first mile", tabindex: "-1" });

  /** `agreed`: whether tones may sound; `hear`: an alarm's tone, to know it by. */
  constructor(agreed: (tones: boolean) => void, hear: () => void) {
    const answers = make("div", "", { class: "answers" });
    for (const [name, press] of [["yes, tones", () => agreed(true)], ["no tones", () => agreed(false)], ["let me hear", hear]] as const) {
      const button = make("button", name, { type: "button" });
      button.addEventListener("click", press);
      answers.append(button);
    }
    this.element.append(
      make("h2", "May this screen sound a short tone when something is called?"), answers,
      make("p", "One low tone: know it. Two: act soon. Four, high: act now; they come again until you press “heard”."),
      ...LINES.map((line) => make("p", line)),
    );
  }
}
