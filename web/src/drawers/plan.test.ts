import { describe, expect, it } from "vitest";
import { legLines } from "./plan";

const LEG = {
  number: 3, to: "Fairway", course_deg: 116.6, length_m: 1296, end_ms: 0, speed_kn: 18, least_depth_m: null,
  lights: ["Two, Fl G 4s 5m 3M"], marks: ["One"], opens: ["a point 0.20 M on the port bow opens"], refused: ["land Test Cay"],
};

describe("a leg of the plan", () => {
  it("says course, length, time and what is not charted", () => {
    const { head, lines } = legLines(LEG, "nm", () => "21:05");
    expect(head).toBe("3  117°  7 cables to Fairway");
    expect(lines[0]).toBe("18 kn, there by 21:05, depth not charted");
  });
  it("says a refusal before lights and marks", () => {
    const { lines } = legLines(LEG, "nm", () => "21:05");
    expect(lines[1]).toBe("Refused: land Test Cay");
    expect(lines.at(-1)).toBe("A point 2 cables on the port bow opens");
  });
});
