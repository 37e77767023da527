/** A question in our own ink, never the browser's white box. */
import { make } from "./dom";
import { steppedWithin } from "./keys";

export function askFirst(question: string, yes: string, then: () => void): void {
  document.getElementById("ask")?.remove();
  const before = document.activeElement;
  const box = make("div", "", { id: "ask", role: "alertdialog", "aria-label": question, class: "sheet-over" });
  const answers = make("div", "", { class: "answers" });
  const close = (): void => {
    box.remove();
    if (before instanceof HTMLElement) before.focus({ preventScroll: true });
  };
  const button = (text: string, press: () => void): HTMLButtonElement => {
    const made = make("button", text, { type: "button" });
    made.addEventListener("click", press);
    return made;
  };
  const no = button("no", close);
  answers.append(
    button(yes, () => {
      close();
      then();
    }),
    no,
  );
  box.append(make("h2", question), answers);
  box.addEventListener("keydown", (event) => {
    if (event.key === "Escape") close();
    else if (steppedWithin(event)) event.preventDefault();
    event.stopPropagation();
  });
  document.body.append(box);
  no.focus();
}
