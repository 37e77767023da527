import { describe, expect, it } from "vitest";
import { byCompass, shownFor } from "./compass";
import type { Reading } from "./types";

// 14° west: the compass shows 14 more than true (Bowditch: variation west, compass best).
const west = Array.from({ length: 36 }, (_, k) => (k * 10 + 14) % 360);

describe("the compass at the wheel", () => {
  it("shows a true course by its table, round the end of it too", () => {
    expect(shownFor(west, 165)).toBeCloseTo(179);
    expect(shownFor(west, 355)).toBeCloseTo(369);
    expect(shownFor(west, -3)).toBeCloseTo(11);
    // Between two courses the difference changes evenly: 12 more on 0, 14 on 10.
    expect(shownFor([12, ...west.slice(1)], 5)).toBeCloseTo(18);
  });

  it("is said by what it is, and nothing where the place is not known", () => {
    const reading = (compass: Reading["compass"]): Reading => ({ compass }) as Reading;
    expect(byCompass(reading({ by: "card", shows_deg: west }), 355)).toBe("009° compass");
    expect(byCompass(reading({ by: "variation", shows_deg: west }), 165)).toBe("179° magnetic");
    expect(byCompass(reading(null), 165)).toBe("");
    expect(byCompass(reading({ by: "variation", shows_deg: west }), undefined)).toBe("");
  });
});
