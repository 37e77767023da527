/** The plan on one sheet: leg by leg, the one being run marked and shown as pictures, the others on asking. */
import { threeFigures } from "../geo/angles";
import { down, inOneSystem, sayDistance, sayKnots, type DistanceUnit } from "../geo/units";
import { byCompass } from "../state/compass";
import type { LegPictures, PlanLeg, Reading } from "../state/types";
import type { Inks } from "../look/table";
import { legFigures } from "./pictures";
import type { Drawers } from "./drawers";
import { make } from "../panels/dom";

/** The lines of one leg: pure, so that they can be tested. `wheel`: its course by the compass at the wheel, or "". */
export function legLines(leg: PlanLeg, unit: DistanceUnit, clock: (ms: number) => string, wheel: string): { head: string; lines: string[] } {
  const beside = wheel === "" ? "" : ` (${wheel})`;
  const head = `${leg.number}  ${threeFigures(leg.course_deg)}°${beside}  ${sayDistance(leg.length_m, unit)} to ${leg.to}`;
  const depth = leg.least_depth_m === null ? "depth not charted" : `least charted ${down(leg.least_depth_m, 1)} m`;
  const lines = [`${sayKnots(leg.speed_kn)} kn, there by ${clock(leg.end_ms)}, ${depth}`];
  for (const refused of leg.refused) lines.push(`Refused: ${refused}`);
  if (leg.gate !== null) {
    const open = leg.gate.open_ms.map(([from, to]) => `${clock(from ?? 0)} to ${clock(to ?? 0)}`).join(", ");
    lines.push(`Closed at low water (${leg.gate.by}): open ${open === "" ? "at no time within half a day" : open}`);
  }
  if (leg.lights.length > 0) lines.push(`Lights: ${leg.lights.join("; ")}`);
  if (leg.marks.length > 0) lines.push(`By radar: ${leg.marks.join("; ")}`);
  for (const opens of leg.opens) lines.push(inOneSystem(opens.charAt(0).toUpperCase() + opens.slice(1), unit));
  return { head, lines };
}

export class PlanSheet {
  readonly element = make("section", "", { class: "sheet-over", "aria-label": "Plan", tabindex: "-1" });
  readonly #list = make("div");
  #key = "";
  #route = "";
  /** Legs whose pictures are asked for, and what came. */
  readonly #asked = new Set<number>();
  readonly #pictures = new Map<number, LegPictures>();

  constructor(
    private readonly clock: (ms: number) => string,
    private readonly drawers: Drawers,
    private readonly ask: (leg: number, then: (pictures: LegPictures | null) => void) => void,
    private readonly inks: () => Inks,
  ) {
    const back = make("button", "back", { type: "button" });
    back.addEventListener("click", () => this.show(false));
    const answers = make("div", "", { class: "answers" });
    answers.append(back);
    this.element.append(make("h2", "Plan"), this.#list, answers);
  }

  get isShown(): boolean {
    return !this.element.hidden;
  }

  show(shown: boolean): void {
    if (!shown) {
      this.drawers.hide(this.element);
      return;
    }
    this.drawers.show(this.element);
    this.element.focus({ preventScroll: true });
  }

  /** Begin at the leg that is run: those behind are a scroll away. */
  toNow(): void {
    const now = this.#list.querySelector<HTMLElement>("[aria-current=step]");
    if (now !== null) this.element.scrollTop = now.offsetTop - 10;
  }

  refresh(reading: Reading | null, unit: DistanceUnit): void {
    if (!this.isShown) return;
    const plan = reading?.plan;
    const legs = plan?.legs ?? [];
    const now = plan?.now?.leg ?? null;
    const inks = this.inks();
    const route = JSON.stringify(plan?.route ?? []);
    if (route !== this.#route) {
      this.#route = route;
      this.#asked.clear();
      this.#pictures.clear();
    }
    if (now !== null && legs.length > 0) this.#see(now);
    const wheel = legs.map((leg) => byCompass(reading, leg.course_deg));
    const key = `${legs.length}|${now}|${unit}|${plan == null}|${[...this.#pictures.keys()].join()}|${inks.sheet.join()}|${route.length}|${wheel.join()}`;
    if (key === this.#key) return;
    this.#key = key;
    const parts: HTMLElement[] = [];
    if (plan == null) parts.push(make("p", "No route was given: start the helm with --route."));
    else if (legs.length === 0) parts.push(make("p", "The plan is being worked out; the route is followed by its turns meanwhile."));
    for (const [i, leg] of legs.entries()) {
      const { head, lines } = legLines(leg, unit, this.clock, wheel[i] ?? "");
      const title = make("h3", leg.number === now ? `${head}  (now)` : head);
      if (leg.number === now) title.setAttribute("aria-current", "step");
      parts.push(title, ...lines.map((line) => make("p", line)));
      const pictures = this.#pictures.get(leg.number);
      if (pictures !== undefined) {
        parts.push(...legFigures(pictures, leg.course_deg, inks));
        continue;
      }
      const look = make("button", "as pictures", { type: "button", "aria-label": `leg ${leg.number} as pictures` });
      look.addEventListener("click", () => this.#see(leg.number));
      const row = make("div", "", { class: "answers" });
      row.append(look);
      parts.push(row);
    }
    parts.push(make("p", "An aid, not a look-out; not for navigation."));
    this.#list.replaceChildren(...parts);
  }

  /** Ask for the pictures of a leg, once; where they cannot be made yet it may be asked again. */
  #see(leg: number): void {
    if (this.#asked.has(leg)) return;
    this.#asked.add(leg);
    const route = this.#route;
    this.ask(leg, (pictures) => {
      if (route !== this.#route) return;
      if (pictures === null) this.#asked.delete(leg);
      else this.#pictures.set(leg, pictures);
    });
  }
}
