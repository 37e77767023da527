import { describe, expect, it } from "vitest";
import { layoutOf, type Layout, type Rect } from "./layout";

const SIZES = [[390, 844], [360, 640], [430, 932], [844, 390], [667, 375], [800, 1280], [768, 1024], [1280, 800], [1024, 700], [1440, 900], [1366, 768], [1920, 1080]] as const;

const apart = (a: Rect, b: Rect): boolean => a.x + a.width <= b.x || b.x + b.width <= a.x || a.y + a.height <= b.y || b.y + b.height <= a.y;
const inside = (a: Rect, width: number, height: number): boolean => a.x >= 0 && a.y >= 0 && a.x + a.width <= width && a.y + a.height <= height && a.width > 0 && a.height > 0;
const area = (a: Rect): number => a.width * a.height;

describe.each(SIZES)("a screen of %i × %i", (width, height) => {
  it.each(["left", "right"] as const)("keeps half of itself for the picture and the band clear, %s hand", (hand) => {
    const layout: Layout = layoutOf(width, height, hand);
    const { picture, band, bar, figures, drawer, free } = layout;
    for (const rect of [picture, band, bar, figures, drawer, free]) expect(inside(rect, width, height)).toBe(true);
    expect(area(picture)).toBeGreaterThanOrEqual(0.5 * width * height);
    expect(area(free)).toBeGreaterThanOrEqual(0.5 * width * height);
    expect(apart(band, drawer) && apart(band, picture) && apart(band, bar)).toBe(true);
    expect(apart(free, drawer)).toBe(true);
    expect(apart(picture, bar) && apart(bar, figures)).toBe(true);
    // Five controls of a thumb's breadth; lying, a phone is too low for more than 12 mm in one direction.
    const [long, short] = bar.height > bar.width ? [bar.height / 5, bar.width] : [bar.width / 5, bar.height];
    expect(Math.max(long, short)).toBeGreaterThanOrEqual(72);
    expect(Math.min(long, short)).toBeGreaterThanOrEqual(layout.kind === "phone-lying" ? 58 : 72);
  });
});

describe("the kinds", () => {
  it("are five, each its own", () => {
    const kinds = [[390, 844], [844, 390], [800, 1280], [1280, 800], [1440, 900]].map(([w, h]) => layoutOf(w ?? 0, h ?? 0, "right").kind);
    expect(new Set(kinds).size).toBe(5);
  });
});
