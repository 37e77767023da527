import { describe, expect, it } from "vitest";
import { anchorOf, AutoRange, Framing, holdingIndex, reachPx, speedIndex } from "./framing";
import { NM_M, RANGES_NM } from "./units";

const FREE = { x: 0, y: 0, width: 900, height: 680 };

describe("where the boat lies", () => {
  it("is low, and lower the faster she goes", () => {
    const [, still] = anchorOf(FREE, false, 0, Number.NaN);
    const [, fast] = anchorOf(FREE, false, 20, Number.NaN);
    expect(still).toBeGreaterThan(0.6 * FREE.height);
    expect(fast).toBeGreaterThan(still);
    expect(fast).toBeLessThan(0.85 * FREE.height);
  });

  it("with north up leaves room on the side she goes to", () => {
    // Going east she lies left of the middle.
    const [x, y] = anchorOf(FREE, true, 15, Math.PI / 2);
    expect(x).toBeLessThan(FREE.width / 2 - 50);
    expect(y).toBeCloseTo(FREE.height / 2, 6);
  });
});

describe("the range by itself", () => {
  it("shows what is reached in six minutes, and half a mile at the least", () => {
    expect(RANGES_NM[speedIndex(0)]).toBe(0.5);
    expect(RANGES_NM[speedIndex(10)]).toBe(1);
    expect(RANGES_NM[speedIndex(12)]).toBe(1.5);
    expect(RANGES_NM[speedIndex(Number.NaN)]).toBe(0.5);
  });

  it("holds what is called, wherever it lies", () => {
    const anchor = anchorOf(FREE, false, 12, Number.NaN);
    const reach = reachPx(FREE.width, FREE.height, false);
    for (const bearing of [0, 1, 2, 3, 4, 5]) {
      for (const nm of [0.2, 0.8, 1.4]) {
        const offset: [number, number] = [nm * NM_M * Math.sin(bearing), -nm * NM_M * Math.cos(bearing)];
        const k = reach / ((RANGES_NM[holdingIndex(0, anchor, FREE, reach, [offset])] ?? 1) * NM_M);
        expect(anchor[0] + offset[0] * k).toBeGreaterThan(20);
        expect(anchor[0] + offset[0] * k).toBeLessThan(FREE.width - 20);
        expect(anchor[1] + offset[1] * k).toBeLessThan(FREE.height - 20);
        expect(anchor[1] + offset[1] * k).toBeGreaterThan(20);
      }
    }
  });

  it("does not follow a want that comes and goes", () => {
    const auto = new AutoRange();
    for (let k = 0; k < 200; k++) expect(auto.step(6, k % 5 === 0 ? 7 : 6, 0.2)).toBe(6);
    for (let k = 0; k < 100; k++) expect(auto.step(6, 5, 0.2)).toBe(6);
    let index = 6;
    for (let k = 0; k < 40; k++) index = auto.step(index, 5, 0.2);
    expect(index).toBe(5);
  });
});

describe("the frame", () => {
  it("never jumps: neither the place nor the scale moves by much in one step", () => {
    const framing = new Framing();
    let before = framing.step([450, 450], 1, 400, 0.05);
    for (let k = 0; k < 240; k++) {
      const now = framing.step([450, 300], 3, 400, 0.05);
      expect(Math.hypot(now.x - before.x, now.y - before.y)).toBeLessThan(12);
      expect(Math.abs(Math.log(now.pxPerM / before.pxPerM))).toBeLessThan(0.2);
      before = now;
    }
    expect(before.isSettled).toBe(true);
    expect(before.y).toBe(300);
    expect(before.pxPerM * 3 * NM_M).toBeCloseTo(400, 6);
  });
});
