import { describe, expect, it } from "vitest";
import { initial, reduce, type State } from "../state/store";
import type { Affairs, Reading } from "../state/types";
import { figuresOf } from "./figures";

const affairs = { radar_age_s: 0, reading_age_s: 0, notice: "", fraction: null, ended: null, paused: false, speed: 1, story_ms: null, silent_s: 0, loudspeaker: null, sight: "unsure", fog_s: null, screens: 1, links: [], tide_m: -0.3 } as unknown as Affairs;
const leg = (number: number, course_deg: number) => ({ number, to: "", course_deg, length_m: 1000, end_ms: 0, speed_kn: 10, least_depth_m: null, lights: [], marks: [], opens: [], refused: [], gate: null });
const reading = {
  time: "2031-03-02T19:04:11Z", own: {}, echoes: [], missing: [], standing: [], depth_m: 6.39,
  plan: { route: [], legs: [leg(2, 100), leg(3, 215)], now: { leg: 2, course_deg: 100, off_track_m: -40, to_go_leg_m: 926, to_go_m: 5000, coming: [] } },
} as unknown as Reading;

function live(): State {
  let state = reduce(initial(), { type: "open", at: 0 });
  state = reduce(state, { type: "affairs", affairs, at: 0 });
  state = reduce(state, { type: "reading", reading, at: 0 });
  return reduce(state, { type: "pose", at: 0, pose: { latDeg: 0, lonDeg: 0, headingDeg: 7, cogDeg: 11.6, sogKn: 9, ageS: 0 } });
}

describe("the figures", () => {
  it("are the boat's and the plan's, in one system", () => {
    const told = Object.fromEntries(figuresOf(live(), 0).map((f) => [f.name, f.value]));
    expect(told).toEqual({
      heading: "007°", "over ground": "012° 9 kn",
      // Cut to the shoal side, as charts are.
      "depth, tide −0.3": "6.3 m",
      // Five cables at nine knots: 926 m at 4.63 m/s are 200 s.
      "turn to 215°": "5 c, 3 min 20 s", "off the leg": "0.2 c to port",
    });
  });

  it("are dashes once the link is lost: nothing that was is told as what is", () => {
    const lost = reduce(live(), { type: "lost", at: 10 });
    for (const figure of figuresOf(lost, 20)) expect(figure.value).toBe("—");
  });
});
