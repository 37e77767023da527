import { describe, expect, it } from "vitest";
import { lasted, nearest, shareOf } from "./timebar";

const marks = [
  { at_ms: 10_000, kind: "call", urgency: 2, say: "first" },
  { at_ms: 60_000, kind: "closest", urgency: 4, say: "second" },
] as const;

describe("the time bar", () => {
  it("has its ends at 0 and 1 and nothing beyond", () => {
    const bar = { first_ms: 1000, last_ms: 5000 };
    expect([0, 1000, 3000, 5000, 9000].map((at) => shareOf(bar, at))).toEqual([0, 0, 0.5, 1, 1]);
    expect(shareOf({ first_ms: 1, last_ms: 1 }, 1)).toBe(0);
  });
  it("says the mark that comes next, and not one long past", () => {
    expect(nearest(marks, 0, 21_500)?.say).toBe("first");
    expect(nearest(marks, 11_000, 21_500)?.say).toBe("first");
    expect(nearest(marks, 20_000, 21_500)).toBeUndefined();
    expect(nearest(marks, 45_000, 21_500)?.say).toBe("second");
  });
  it("counts in minutes, and in hours where there are any", () => {
    expect([0, 59_499, 61_000, 3_661_000].map(lasted)).toEqual(["0:00", "0:59", "1:01", "1:01:01"]);
  });
});
