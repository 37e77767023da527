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

  it("tells land, shoal water, coast, safety contour and echo from water by tone", () => {
    const { sheet, shoal, land, coast, contour, safety, echoWeak, echoStrong, speak } = LOOKS.night;
    // In luminance alone, as an eye adapted to the dark judges: WCAG's formula adds a lit room's glare. Own choice: each
    // step at least half as bright again as the one before.
    const steps = [shoal, land, coast, safety].map(luminance);
    for (let i = 1; i < steps.length; i++) expect(steps[i]).toBeGreaterThan(1.3 * (steps[i - 1] ?? 0));
    expect(contrast(coast, sheet)).toBeGreaterThan(2);
    expect(contrast(coast, land)).toBeGreaterThan(1.7);
    expect(contrast(safety, shoal)).toBeGreaterThan(2.5);
    expect(contrast(land, sheet)).toBeGreaterThan(1.2);
    expect(contrast(echoWeak, sheet)).toBeGreaterThan(1.6);
    expect(contrast(echoStrong, land)).toBeGreaterThan(2);
    expect(luminance(contour)).toBeLessThan(luminance(coast));
    // A shore close by fills much of the sheet: its echo must not light the wheelhouse, nor drown what speaks.
    expect(luminance(echoStrong)).toBeLessThan(0.7 * luminance(speak));
  });

  it("never starts from anything but black", () => {
    expect(LOOKS.night.sheet).toEqual([0, 0, 0]);
  });
});

describe("day", () => {
  it("is a light sheet with dark ink: the sun outshines any dark one", () => {
    const { sheet, land, coast, safety, echoStrong } = LOOKS.day;
    expect(luminance(sheet)).toBeGreaterThan(0.8);
    expect(contrast(coast, sheet)).toBeGreaterThan(4.5);
    expect(contrast(safety, sheet)).toBeGreaterThan(4.5);
    expect(contrast(echoStrong, land)).toBeGreaterThan(3);
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
