/** The keyboard, a USB knob, a remote: plain key events, one table that the sheet of keys is printed from. */
import { make } from "./dom";

export interface Key {
  readonly keys: readonly string[];
  readonly shown: string;
  readonly does: string;
  readonly press: () => void;
}

export function listenKeys(table: readonly Key[], isLocked: () => boolean): void {
  window.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const on = event.target;
    // A focused button takes its own Enter and Space.
    const isButton = on instanceof HTMLButtonElement;
    if (isButton && (event.key === "Enter" || event.key === " ")) return;
    const key = table.find((k) => k.keys.includes(event.key) || k.keys.includes(event.key.toLowerCase()));
    if (key === undefined || (isLocked() && !key.keys.includes("Escape"))) return;
    event.preventDefault();
    key.press();
  });
}

export function keySheet(table: readonly Key[], close: () => void): HTMLElement {
  const sheet = make("section", "", { class: "sheet-over", "aria-label": "Keys" });
  sheet.hidden = true;
  const list = make("dl");
  for (const key of table) list.append(make("dt", key.shown), make("dd", key.does));
  const back = make("button", "back", { type: "button" });
  back.addEventListener("click", close);
  const answers = make("div", "", { class: "answers" });
  answers.append(back);
  sheet.append(make("h2", "Keys"), list, answers);
  return sheet;
}
