/** The figures a skipper looks for, small and quiet; a dash where nothing is known. */
import { threeFigures } from "../geo/angles";
import { sayKnots, shortDistance, sayTime, type DistanceUnit } from "../geo/units";
import { byCompass } from "../state/compass";
import { isPresent } from "../state/say";
import type { State } from "../state/store";
import { BOAT_UNKNOWN } from "../state/store";
import { make, setText } from "../panels/dom";

export interface Figure {
  readonly name: string;
  readonly value: string;
  /** By the compass at the wheel: "179° compass"; "" where it is not known. */
  readonly beside?: string;
}

const NONE = "—";

/** Pure, so that it can be tested. Nothing that is old is told: what was the present goes with the link. */
export function figuresOf(state: State, nowMs: number): Figure[] {
  const unit: DistanceUnit = (state.hello?.boat ?? BOAT_UNKNOWN).distance_unit;
  const isNow = isPresent(state, nowMs);
  const pose = isNow ? state.pose : null;
  const reading = isNow ? state.reading : null;
  const degrees = (value: number | undefined): string => (value === undefined || Number.isNaN(value) ? NONE : `${threeFigures(value)}°`);
  const knots = pose === null || Number.isNaN(pose.sogKn) ? NONE : `${sayKnots(pose.sogKn)} kn`;
  const tide = isNow ? (state.affairs?.tide_m ?? null) : null;
  const depth = reading?.depth_m == null ? NONE : `${(Math.floor(reading.depth_m * 10) / 10).toFixed(1)} m`;
  const figures: Figure[] = [
    { name: "heading", value: degrees(pose?.headingDeg), beside: byCompass(reading, pose?.headingDeg) },
    { name: "over ground", value: pose === null || Number.isNaN(pose.cogDeg) ? knots : `${degrees(pose.cogDeg)} ${knots}` },
    { name: tide === null ? "depth" : `depth, tide ${tide < 0 ? "−" : "+"}${Math.abs(tide).toFixed(1)}`, value: depth },
  ];
  const plan = reading?.plan ?? null;
  if (plan === null) return figures;
  const now = plan.now;
  const next = now === null ? undefined : plan.legs?.find((leg) => leg.number === now.leg + 1);
  const sog = pose === null || Number.isNaN(pose.sogKn) || pose.sogKn < 0.5 ? null : pose.sogKn * (1852 / 3600);
  figures.push(
    { name: next === undefined ? "to the end" : `turn to ${threeFigures(next.course_deg)}°`, beside: byCompass(reading, next?.course_deg), value: now === null ? NONE : `${shortDistance(now.to_go_leg_m, unit)}${sog === null ? "" : `, ${sayTime(now.to_go_leg_m / sog)}`}` },
    { name: "off the leg", value: now === null ? NONE : offLeg(now.off_track_m, unit) },
  );
  return figures;
}

/** Positive: the boat lies to starboard of the leg. */
function offLeg(m: number, unit: DistanceUnit): string {
  if (Math.abs(m) < 5) return "on it";
  return `${shortDistance(Math.abs(m), unit)} ${m > 0 ? "to stbd" : "to port"}`;
}

export class Figures {
  readonly #list = make("dl");

  constructor(readonly element: HTMLElement) {
    element.append(this.#list);
  }

  show(state: State, nowMs: number): void {
    const figures = figuresOf(state, nowMs);
    if (this.#list.children.length !== figures.length) {
      this.#list.replaceChildren(
        ...figures.map(() => {
          const box = make("div");
          box.append(make("dt"), make("dd"), make("dd", "", { class: "beside" }));
          return box;
        }),
      );
    }
    figures.forEach((figure, i) => {
      const [name, value, beside] = this.#list.children[i]?.children ?? [];
      if (name !== undefined) setText(name, figure.name);
      if (value !== undefined) setText(value, figure.value);
      if (beside !== undefined) setText(beside, figure.beside ?? "");
    });
  }
}
