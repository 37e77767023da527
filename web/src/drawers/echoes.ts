/** Every echo that is told, as words in the order of urgency: for screen readers, and for who would rather read. */
import { whereabouts } from "../geo/angles";
import { sayDistance, sayKnots, type DistanceUnit } from "../geo/units";
import { echoTitle, isPresent, missingTitle, urgencies } from "../state/say";
import { BOAT_UNKNOWN, type State } from "../state/store";
import type { Echo } from "../state/types";
import { make, setText } from "../panels/dom";

/** Lines on the sheet at once: further ones say nothing to a helmsman. */
const MOST = 24;
const ORDER = { vessel: 0, uncharted: 1, bridge: 2, charted: 3, false: 4, shore: 9, clutter: 9 } as const;

/** What is told of, the most urgent first, then what moves, then the nearer. Pure. */
export function inOrder(state: State): Echo[] {
  const urgency = urgencies(state);
  const order = state.reading?.instruction?.echo ?? null;
  const of = (echo: Echo): number => (echo.id === order ? 5 : (urgency.get(echo.id) ?? 0));
  return [...(state.reading?.echoes ?? [])]
    .filter((echo) => ORDER[echo.is] < 9)
    .sort((a, b) => of(b) - of(a) || ORDER[a.is] - ORDER[b.is] || a.range_m - b.range_m);
}

/** One echo in two lines: what it is, and where and how it moves. */
export function echoLine(echo: Echo, unit: DistanceUnit): [string, string] {
  const where = echo.relative_bearing_deg === null ? "" : ` ${whereabouts(echo.relative_bearing_deg)}`;
  const moves = echo.is !== "vessel" ? "" : echo.cog_deg === null || echo.sog_kn < 0.3 ? ", hardly moving" : `, ${sayKnots(echo.sog_kn)} kn`;
  const near = echo.cpa_m === null || echo.tcpa_s === null || echo.tcpa_s <= 0 || echo.is !== "vessel" ? "" : `; nearest ${sayDistance(echo.cpa_m, unit)}`;
  return [echoTitle(echo), `${sayDistance(echo.range_m, unit)}${where}${moves}${near}`];
}

export class EchoList {
  readonly element = make("section", "", { id: "echoes", "aria-label": "Echoes", tabindex: "-1" });
  readonly #title = make("h2", "Echoes");
  readonly #list = make("ol");
  readonly #close = make("button", "close", { type: "button", class: "blade" });

  constructor(private readonly touch: (echo: number) => void, close: () => void) {
    const head = make("div", "", { class: "head" });
    this.#close.addEventListener("click", close);
    head.append(this.#title, this.#close);
    this.element.append(head, this.#list);
  }

  /** Where it has a place of its own there is nothing to close. */
  set isFixed(isFixed: boolean) {
    this.#close.hidden = isFixed;
  }

  refresh(state: State, nowMs: number): void {
    if (this.element.hidden) return;
    const unit = (state.hello?.boat ?? BOAT_UNKNOWN).distance_unit;
    const isNow = isPresent(state, nowMs);
    const echoes = isNow ? inOrder(state).slice(0, MOST) : [];
    const missing = isNow ? (state.reading?.missing ?? []) : [];
    setText(this.#title, !isNow ? "Echoes: none is told, the picture is old" : echoes.length + missing.length === 0 ? "Echoes: none is told" : "Echoes");
    const called = urgencies(state);
    const count = echoes.length + missing.length;
    while (this.#list.children.length > count) this.#list.lastElementChild?.remove();
    while (this.#list.children.length < count) {
      const item = make("li");
      const button = make("button", "", { type: "button" });
      button.append(make("b"), make("span"));
      button.addEventListener("click", () => {
        const id = button.dataset["echo"];
        if (id !== undefined && id !== "") this.touch(Number(id));
      });
      item.append(button);
      this.#list.append(item);
    }
    [...this.#list.children].forEach((item, i) => {
      const button = item.firstElementChild as HTMLButtonElement;
      const [name, line] = button.children;
      if (name === undefined || line === undefined) return;
      const echo = echoes[i];
      const mark = missing[i - echoes.length];
      const [title, words] = echo !== undefined ? echoLine(echo, unit) : [mark === undefined ? "" : missingTitle(mark), ""];
      setText(name, title);
      setText(line, words);
      button.dataset["echo"] = echo === undefined ? "" : String(echo.id);
      button.dataset["urgency"] = String(echo === undefined ? 1 : (called.get(echo.id) ?? 0));
      button.dataset["is"] = echo?.is ?? "missing";
      button.toggleAttribute("aria-current", echo !== undefined && echo.id === state.touched);
    });
  }
}
