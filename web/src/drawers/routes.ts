/** Routes kept at the helm: follow one, the other way along it, or none; and keeping a drawn one. */
import { sayDistance, type DistanceUnit } from "../geo/units";
import type { RouteKept } from "../state/types";
import type { Drawers } from "./drawers";
import { make } from "../panels/dom";
import { askFirst } from "../panels/ask";
import { steppedWithin } from "../panels/keys";

export interface RouteAnswers {
  follow(name: string, back: boolean): void;
  stop(): void;
  remove(name: string): void;
  draw(): void;
}

function button(text: string, press: () => void): HTMLButtonElement {
  const made = make("button", text, { type: "button" });
  made.addEventListener("click", press);
  return made;
}

export class RoutesSheet {
  readonly element = make("section", "", { class: "sheet-over", "aria-label": "Routes", tabindex: "-1" });
  readonly #list = make("div");

  constructor(private readonly does: RouteAnswers, private readonly drawers: Drawers) {
    this.element.append(make("h2", "Routes"), this.#list);
  }

  show(): void {
    this.drawers.show(this.element);
    this.element.focus({ preventScroll: true });
  }

  hide(): void {
    this.drawers.hide(this.element);
  }

  tell(routes: readonly RouteKept[], following: string | null, folder: string, unit: DistanceUnit): void {
    const parts: HTMLElement[] = [make("p", following === null ? "No route is followed." : `Followed now: ${following}.`)];
    const first = make("div", "", { class: "answers" });
    if (following !== null) first.append(button("follow none", () => this.does.stop()));
    first.append(button("draw one", () => this.does.draw()), button("back", () => this.hide()));
    parts.push(first);
    if (routes.length === 0) parts.push(make("p", "None are kept yet."));
    for (const route of routes) {
      parts.push(make("h3", route.name));
      if (route.problem !== null) {
        parts.push(make("p", route.problem));
        continue;
      }
      const length = route.length_m == null ? "length not known" : sayDistance(route.length_m, unit);
      parts.push(make("p", route.points == null ? length : `${length}, ${route.points} points`));
      const answers = make("div", "", { class: "answers" });
      answers.append(
        button("follow", () => this.does.follow(route.name, false)),
        button("follow it back", () => this.does.follow(route.name, true)),
        button("remove", () => askFirst(`Remove the route ${route.name}?`, "remove", () => this.does.remove(route.name))),
      );
      parts.push(answers);
    }
    parts.push(make("p", `Kept as GPX in ${folder}; "moonless plan" makes the night plan of one.`));
    this.#list.replaceChildren(...parts);
  }

  problem(text: string): void {
    this.#list.prepend(make("p", text));
  }
}

/** Ask for a name, which is there already, and whether to follow it. */
export function askName(name: string, warning: string, then: (name: string, follow: boolean) => void): void {
  document.getElementById("ask")?.remove();
  const box = make("div", "", { id: "ask", role: "dialog", "aria-label": "Keep this route", class: "sheet-over" });
  const field = make("input", "", { type: "text", id: "route-name", maxlength: "40", autocomplete: "off", spellcheck: "false" });
  field.value = name;
  const label = make("label", "Its name ", { for: "route-name" });
  label.append(field);
  const close = (): void => box.remove();
  const keep = (follow: boolean): void => {
    close();
    then(field.value, follow);
  };
  const answers = make("div", "", { class: "answers" });
  const save = button("save", () => keep(false));
  answers.append(save, button("save and follow", () => keep(true)), button("back", close));
  box.append(make("h2", "Keep this route"));
  if (warning !== "") box.append(make("p", warning, { class: "warning" }));
  box.append(label, answers);
  box.addEventListener("keydown", (event) => {
    const isWriting = event.target === field && event.key !== "ArrowDown" && event.key !== "ArrowUp";
    let took = true;
    if (event.key === "Escape") close();
    else if (event.key === "Enter" && event.target === field) keep(false);
    else took = !isWriting && steppedWithin(event);
    if (took) event.preventDefault();
    event.stopPropagation();
  });
  document.body.append(box);
  // The name stands already: nobody has to write in the dark.
  save.focus();
}
