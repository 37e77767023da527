import { describe, expect, it } from "vitest";
import type { Alert } from "../state/types";
import { SHAPES, ToneWatch } from "./tones";

const alert = (urgency: number, state: Alert["state"] = "unacknowledged", key = "a"): Alert => ({ key, urgency, state, say: "", escalated: false });

function heard(of: (s: number) => Alert[], seconds: number, isSilent = false): [number, number][] {
  const watch = new ToneWatch();
  const out: [number, number][] = [];
  for (let s = 0; s <= seconds; s++) {
    const due = watch.due(of(s), isSilent, s * 1000);
    if (due !== null) out.push([s, due]);
  }
  return out;
}

describe("tones", () => {
  it("sound once for a caution, again for what nobody has answered", () => {
    expect(heard(() => [alert(2)], 100)).toEqual([[0, 2]]);
    expect(heard(() => [alert(3)], 65)).toEqual([[0, 3], [30, 3], [60, 3]]);
    expect(heard(() => [alert(4)], 25)).toEqual([[0, 4], [10, 4], [20, 4]]);
    expect(heard(() => [alert(1)], 25)).toEqual([]);
  });

  it("stop when it is acknowledged or rectified, and come back when it is worse", () => {
    expect(heard((s) => [alert(4, s < 12 ? "unacknowledged" : "acknowledged")], 60)).toEqual([[0, 4], [10, 4]]);
    expect(heard((s) => [alert(4, s < 5 ? "unacknowledged" : "rectified")], 60)).toEqual([[0, 4]]);
    expect(heard((s) => [alert(s < 8 ? 3 : 4)], 10)).toEqual([[0, 3], [8, 4]]);
  });

  it("of two sound the more urgent, and silence lets alarms through", () => {
    expect(heard(() => [alert(2, "unacknowledged", "b"), alert(4)], 3)).toEqual([[0, 4]]);
    expect(heard(() => [alert(3)], 40, true)).toEqual([]);
    expect(heard(() => [alert(4)], 5, true)).toEqual([[0, 4]]);
  });

  it("differ in number and in pitch", () => {
    const shapes = Object.values(SHAPES);
    expect(new Set(shapes.map((s) => s.times)).size).toBe(shapes.length);
    expect(new Set(shapes.map((s) => s.hz)).size).toBe(shapes.length);
    // Short: the longest is over within a second.
    for (const s of shapes) expect((s.times - 1) * s.every + s.lasts).toBeLessThan(1);
  });
});
