/** The ladder: every step, what is held of it with its interval, when it wants practice again, and what one is ready for. */
import { make } from "../panels/dom";
import type { Progress, StepHeld } from "./types";

const WORD: Readonly<Record<StepHeld["word"], string>> = { new: "new", begun: "begun", held: "held", fading: "wants practice again" };

export function ladderPage(progress: Progress, practise: (step: string) => void, own: () => void): HTMLElement[] {
  const steps = make("ol", "", { class: "steps" });
  for (const step of progress.steps) steps.append(stepRow(step, step.key === progress.next, practise));
  const levels = make("ul", "", { class: "levels" });
  for (const level of progress.levels) {
    const row = make("li", "", { class: level.ready ? "ready" : "" });
    row.append(make("strong", level.ready ? "ready to try" : "not yet"), make("span", level.to_try));
    if (!level.ready) row.append(make("small", `wants ${level.wants.join(", ")}`));
    levels.append(row);
  }
  return [
    make("h2", "The ladder"),
    make("p", progress.caution, { class: "caution" }),
    steps,
    ...ownRuns(progress.own ?? 0, own),
    make("h2", "What you are ready for, as practice"),
    levels,
    make("p", "The bar is the share of answers you would give right, as far as they tell: its middle 90 %. Answers fade, so the last twenty or so count. Beside what of the IMO Model Course 1.07 and of STCW A-II/1 each step stands is said from their headings, from memory; no step is a part of any approved training."),
  ];
}

/** What was confirmed by eye on the skipper's own recordings. */
function ownRuns(count: number, own: () => void): HTMLElement[] {
  if (count === 0) return [];
  const button = make("button", "from your own runs", { type: "button", class: "own" });
  button.addEventListener("click", own);
  const line = make("p", "", { class: "own-runs" });
  line.append(button, make("span", ` ${count} ${count === 1 ? "echo" : "echoes"} that you saw with your own eyes, as the radar had ${count === 1 ? "it" : "them"}.`));
  return [make("h2", "Your own water"), line];
}

function stepRow(step: StepHeld, isNext: boolean, practise: (step: string) => void): HTMLElement {
  const row = make("li", "", { "data-step": step.key, "data-word": step.word });
  const button = make("button", step.title, { type: "button" });
  button.addEventListener("click", () => practise(step.key));
  const due = step.due_in_h === null ? "" : step.is_due ? ", due now" : `, due in ${when(step.due_in_h)}`;
  const line = step.answers === 0 ? (step.open ? "new" : "opens after the one before; you may try it") : `${WORD[step.word]}${due}`;
  row.append(button, bar(step), make("span", `${line}${isNext ? " · next" : ""}`, { class: "state" }));
  row.append(make("small", `${step.teaches} By day: ${step.by_day}`), make("small", `Beside ${step.beside}.`, { class: "beside" }));
  return row;
}

function bar(step: StepHeld): HTMLElement {
  const whole = make("span", "", { class: "bar", role: "img", "aria-label": step.answers === 0 ? "nothing known yet" : `right in ${percent(step.low)} to ${percent(step.high)}, from ${step.answers} answers` });
  if (step.answers > 0) {
    const part = make("span", "");
    part.style.left = percent(step.low);
    part.style.width = percent(step.high - step.low);
    const mean = make("span", "", { class: "mean" });
    mean.style.left = percent(step.mean);
    whole.append(part, mean);
  }
  return whole;
}

function percent(share: number): string {
  return `${Math.round(100 * share)}%`;
}

function when(hours: number): string {
  return hours < 1 ? `${Math.max(1, Math.round(60 * hours))} min` : hours < 48 ? `${Math.round(hours)} h` : `${Math.round(hours / 24)} days`;
}
