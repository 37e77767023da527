import { describe, expect, it } from "vitest";
import { contrast, lookBySun, LOOKS, luminance, NIGHT_BLUE_MAX, NIGHT_GREEN_MAX } from "./table";

describe("night", () => {
  it("holds next to no green and blue in any ink", () => {
    for (const rgb of Object.values(LOOKS.night)) {
      expect(rgb[1]).toBeLessThanOrEqual(NIGHT_GREEN_MAX);
      expect(rgb[2]).toBeLessThanOrEqual(NIGHT_BLUE_MAX);
    }
  });

  it("has three strengths that differ by contrast, within what red on black can give", () => {
    const { sheet, whisper, speak, shout } = LOOKS.night;
    // Pure red on black is 5.25 : 1 by WCAG 2.2's formula, so its 4.5 leaves room for one strength only.
    expect(contrast(shout, sheet)).toBeGreaterThan(4.5);
    expect(contrast(speak, sheet)).toBeGreaterThan(3);
    expect(contrast(whisper, sheet)).toBeGreaterThan(1.5);
    expect(luminance(shout)).toBeGreaterThan(1.5 * luminance(speak));
    expect(luminance(speak)).toBeGreaterThan(2 * luminance(whisper));
  });

  it("never starts from anything but black", () => {
    expect(LOOKS.night.sheet).toEqual([0, 0, 0]);
  });
});

describe("every look", () => {
  it("reads by WCAG's 4.5 : 1 where the eye is not dark-adapted", () => {
    for (const look of ["dusk", "day"] as const) {
      const inks = LOOKS[look];
      expect(contrast(inks.speak, inks.sheet)).toBeGreaterThan(4.5);
      expect(contrast(inks.shout, inks.sheet)).toBeGreaterThan(7);
      expect(contrast(inks.whisper, inks.sheet)).toBeGreaterThan(3);
    }
  });

  it("follows the sun", () => {
    expect(lookBySun(-12)).toBe("night");
    expect(lookBySun(-3)).toBe("dusk");
    expect(lookBySun(10)).toBe("day");
  });

  it("knows the ends of the contrast scale", () => {
    // WCAG 2.2: black on white is 21 : 1.
    expect(contrast([0, 0, 0], [255, 255, 255])).toBeCloseTo(21, 10);
  });
});
