import { depthPath, scopePixels } from "./pictures";
import { describe, expect, it } from "vitest";
import { legLines } from "./plan";

const LEG = {
  number: 3, to: "Fairway", course_deg: 116.6, length_m: 1296, end_ms: 0, speed_kn: 18, least_depth_m: null,
  lights: ["Two, Fl G 4s 5m 3M"], marks: ["One"], opens: ["a point 0.20 M on the port bow opens"], refused: ["land Test Cay"],
  gate: null,
};

describe("a leg of the plan", () => {
  it("says course, length, time and what is not charted", () => {
    const { head, lines } = legLines(LEG, "nm", () => "21:05", "");
    expect(head).toBe("3  117°  7 cables to Fairway");
    expect(lines[0]).toBe("18 kn, there by 21:05, depth not charted");
  });
  it("says the course by the compass at the wheel beside the true one", () => {
    expect(legLines(LEG, "nm", () => "21:05", "131° magnetic").head).toBe("3  117° (131° magnetic)  7 cables to Fairway");
  });
  it("says when low water closes it", () => {
    const gate = { least_m: 1.7, by: "charted 0.0 m", open_ms: [[60_000, 7_200_000]] };
    const clock = (ms: number) => `${ms / 60_000} min`;
    expect(legLines({ ...LEG, gate }, "nm", clock, "").lines[2]).toBe("Closed at low water (charted 0.0 m): open 1 min to 120 min");
    expect(legLines({ ...LEG, gate: { ...gate, open_ms: [] } }, "nm", clock, "").lines[2]).toContain("at no time within half a day");
  });
  it("says a refusal before lights and marks", () => {
    const { lines } = legLines(LEG, "nm", () => "21:05", "");
    expect(lines[1]).toBe("Refused: land Test Cay");
    expect(lines.at(-1)).toBe("A point 2 cables on the port bow opens");
  });
});

describe("a leg as pictures", () => {
  it("draws no bottom where nothing is charted, and breaks the line there", () => {
    // By hand: 0, 100, 200, 300 m on 360 wide; the deepest is 10 m and a tenth, so 5 m lies 96 * 5 / 11 down.
    const drawn = depthPath([0, 100, 200, 300], [5, null, 10, 5], 2);
    expect(drawn.deepest).toBeCloseTo(11);
    expect(drawn.bottom).toBe("M0.0 43.6M240.0 87.3L360.0 43.6");
    expect(drawn.ground.match(/Z/g)).toHaveLength(2);
    expect(depthPath([0, 100], [null, null], 2)).toEqual({ ground: "", bottom: "", deepest: 4.4 });
    // What dries stands at the surface, not above it.
    expect(depthPath([0, 100], [-1, 3], 2).bottom.startsWith("M0.0 0.0")).toBe(true);
  });

  it("inks the radar's levels between the sheet and the strong echo, never brighter", () => {
    const inks = { sheet: [0, 0, 0], echoStrong: [168, 10, 4] } as const;
    const data = scopePixels(2, btoa(String.fromCharCode(0, 110, 220, 255)), inks);
    expect([...data]).toEqual([0, 0, 0, 255, 84, 5, 2, 255, 168, 10, 4, 255, 168, 10, 4, 255]);
  });
});
