/** The keyboard, a USB knob, a remote: plain key events, one table that the sheet of keys is printed from. */
import { make } from "./dom";

export interface Key {
  readonly keys: readonly string[];
  readonly shown: string;
  readonly does: string;
  readonly press: () => void;
}

/** Arrows within a group of buttons: a knob or remote has no Tab. True when taken. */
export function steppedWithin(event: KeyboardEvent): boolean {
  const on = event.target;
  const sheet = document.querySelector<HTMLElement>("#ask, .sheet-over:not([hidden])");
  const group = on instanceof HTMLElement ? (on.closest<HTMLElement>(".sheet-over") ?? on.closest<HTMLElement>(".drawer")) : null;
  const within = group ?? sheet;
  if (within === null) return false;
  const isSheet = within.classList.contains("sheet-over");
  if (isSheet && (event.key === "ArrowUp" || event.key === "ArrowDown") && within.scrollHeight > within.clientHeight + 2) {
    within.scrollBy(0, event.key === "ArrowDown" ? 90 : -90);
    return true;
  }
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (step === undefined) return false;
  const buttons = [...within.querySelectorAll<HTMLElement>("button, input, select")].filter((b) => b.offsetParent !== null);
  const at = buttons.indexOf(on as HTMLElement);
  buttons[at < 0 ? 0 : (at + step + buttons.length) % buttons.length]?.focus();
  return buttons.length > 0;
}

export interface KeyPlace {
  readonly isLocked: () => boolean;
  /** A tool's own key: true when taken. */
  readonly tool: (key: string, isFine: boolean) => boolean;
}

export function listenKeys(table: readonly Key[], place: KeyPlace): void {
  window.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
    const on = event.target;
    // Words being written are nobody else's; a tablet's own Escape still goes back.
    if (on instanceof HTMLInputElement || on instanceof HTMLTextAreaElement || on instanceof HTMLSelectElement) {
      if (event.key !== "Escape") return;
    }
    // A focused button takes its own Enter and Space.
    const isButton = on instanceof HTMLButtonElement;
    if (isButton && (event.key === "Enter" || event.key === " ")) return;
    if (!place.isLocked()) {
      const isOver = document.querySelector(".sheet-over:not([hidden])") !== null;
      if (steppedWithin(event) || (!isOver && !isButton && place.tool(event.key, event.shiftKey))) {
        event.preventDefault();
        return;
      }
    }
    const key = table.find((k) => k.keys.includes(event.key) || k.keys.includes(event.key.toLowerCase()));
    if (key === undefined || (place.isLocked() && !key.keys.includes("Escape"))) return;
    event.preventDefault();
    key.press();
  });
}

export function keySheet(table: readonly Key[], close: () => void): HTMLElement {
  const sheet = make("section", "", { class: "sheet-over", "aria-label": "Keys", tabindex: "-1" });
  const list = make("dl");
  for (const key of table) list.append(make("dt", key.shown), make("dd", key.does));
  const back = make("button", "back", { type: "button" });
  back.addEventListener("click", close);
  const answers = make("div", "", { class: "answers" });
  answers.append(back);
  // Its button first: focus that goes to the end would open the list at its end.
  sheet.append(make("h2", "Keys"), answers, list);
  return sheet;
}
