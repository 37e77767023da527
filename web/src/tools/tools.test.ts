import { describe, expect, test } from "vitest";
import type { Place } from "../layers/ink/tools/measure";
import type { LegCheck, Trial } from "../state/types";
import { Draft } from "./draft";
import { LinesTool, offOf, type Lines } from "./lines";
import { MeasureTool } from "./measure";
import { awayFromLeg, RouteTool, type RouteAsks } from "./route";
import type { ToolSheet } from "./tool";
import { dragTurnRad, TrialTool } from "./trial";
import type { TrialAsked } from "../wire/frame";

const at = (latDeg: number, lonDeg: number): Place => ({ latDeg, lonDeg });
/** One pixel a thousandth of a degree, north up, the origin at 500, 400. */
const sheet: ToolSheet = {
  placeAt: (x, y) => at((400 - y) / 1000, (x - 500) / 1000),
  pixelOf: (lat, lon) => [500 + lon * 1000, 400 - lat * 1000],
  isDirty: false,
};
const touch = (x: number, y: number) => ({ x, y, place: sheet.placeAt(x, y) ?? at(0, 0) });
Object.assign(globalThis, { window: Object.assign(globalThis, { innerWidth: 1000, innerHeight: 800 }) });

describe("a draft", () => {
  test("every change can be taken back, a drag in one step", () => {
    const draft = new Draft();
    draft.add(at(0, 0));
    draft.add(at(1, 1));
    draft.lift();
    for (let k = 2; k < 9; k++) draft.moveTo(1, at(k, k));
    expect(draft.points).toEqual([at(0, 0), at(8, 8)]);
    draft.undo();
    expect(draft.points).toEqual([at(0, 0), at(1, 1)]);
    draft.remove(0);
    expect(draft.points).toEqual([at(1, 1)]);
    draft.undo();
    draft.undo();
    draft.undo();
    expect(draft.points).toEqual([]);
    expect(draft.canUndo).toBe(false);
    draft.undo();
    expect(draft.points).toEqual([]);
  });

  test("a way found keeps both ends where the finger put them, and an end moved far is a corner", () => {
    const draft = new Draft();
    for (const p of [at(0, 0), at(0, 9), at(0, 20)]) draft.add(p);
    draft.replaceLeg(1, [at(0.01, 0), at(3, 3), at(0, 9)]);
    expect(draft.points).toEqual([at(0, 0), at(0.01, 0), at(3, 3), at(0, 9), at(0, 20)]);
    draft.undo();
    draft.replaceLeg(1, [at(0.0001, 0), at(3, 3), at(4, 6), at(0.0001, 9)]);
    expect(draft.points).toEqual([at(0, 0), at(3, 3), at(4, 6), at(0, 9), at(0, 20)]);
    draft.undo();
    expect(draft.points.length).toBe(3);
  });

  test("it never grows past what the helm takes", () => {
    const draft = new Draft();
    for (let k = 0; k < 120; k++) draft.add(at(k / 10, 0));
    expect(draft.points.length).toBe(100);
  });
});

describe("the route tool", () => {
  const none: LegCheck = { length_m: 1, course_deg: 0, least_depth_m: 5, stops: [], against: [] };
  function tool(answer: (n: number) => LegCheck[]): { tool: RouteTool; asked: (readonly Place[])[]; saved: number[] } {
    const asked: (readonly Place[])[] = [];
    const saved: number[] = [];
    const asks: RouteAsks = {
      check: (points, then) => {
        asked.push(points);
        then({ legs: answer(points.length - 1) });
      },
      way: (_from, _to, then) => then({ points: [at(0, 0), at(0.05, 0.05), at(0.1, 0)], notes: ["straight across lies land"] }),
      save: (_points, stopped) => saved.push(stopped),
      kept: () => undefined,
    };
    return { tool: new RouteTool(sheet, () => at(0, 0), () => "nm", asks, () => undefined, () => undefined), asked, saved };
  }
  const press = (t: RouteTool, name: string): void => t.blades().find((b) => b.name === name)?.press();

  test("it begins at the boat; touches add, a drag moves, a touch on a leg puts a point in", () => {
    const { tool: t } = tool((n) => Array.from({ length: n }, () => none));
    t.enter();
    t.down(touch(500, 200));
    t.up(touch(500, 200));
    expect(t.draft.points).toEqual([at(0, 0), at(0.2, 0)]);
    t.down(touch(503, 204));
    t.move(touch(560, 240));
    t.up(touch(560, 240));
    expect(t.draft.points.length).toBe(2);
    expect(t.draft.points[1]).toEqual(sheet.placeAt(560, 240));
    // In the middle of the leg, out of reach of both ends.
    t.down(touch(530, 322));
    t.up(touch(530, 322));
    expect(t.draft.points.length).toBe(3);
    expect(t.draft.points[1]).toEqual(sheet.placeAt(530, 322));
    press(t, "undo");
    press(t, "undo");
    expect(t.draft.points[1]).toEqual(at(0.2, 0));
  });

  test("a refused leg is told, counts when it is kept, and a way is sought for it first", () => {
    const bad: LegCheck = { ...none, stops: [{ say: "land 0.1 NM along it, on the track", lat: 0, lon: 0 }] };
    const { tool: t, saved } = tool((n) => Array.from({ length: n }, (_, i) => (i === 0 && n === 1 ? bad : none)));
    t.enter();
    t.down(touch(500, 300));
    t.up(touch(500, 300));
    expect(t.says()).toEqual({ text: expect.stringContaining("Leg 1 refused: land"), isLoud: true });
    press(t, "save");
    expect(saved).toEqual([1]);
    press(t, "find way");
    expect(t.draft.points).toEqual([at(0, 0), at(0.05, 0.05), at(0.1, 0)]);
    expect(t.says().isLoud).toBe(false);
    expect(t.says().text).toContain("The way: straight across lies land.");
    press(t, "undo");
    expect(t.says().text).not.toContain("The way:");
  });

  test("a leg that the chart has not answered for is never told as clear", () => {
    const { tool: t } = tool(() => []);
    (t as unknown as { asks: RouteAsks }).asks.check = () => undefined;
    t.enter();
    t.down(touch(500, 300));
    t.up(touch(500, 300));
    expect(t.says().text).toContain("being asked");
    expect(t.unanswered).toBe(1);
  });

  test("by keys alone", () => {
    const { tool: t } = tool((n) => Array.from({ length: n }, () => none));
    t.enter();
    expect(t.key("Enter", false)).toBe(false);
    for (let k = 0; k < 3; k++) t.key("ArrowUp", false);
    expect(t.key("Enter", false)).toBe(true);
    expect(t.draft.points.length).toBe(2);
    expect(t.draft.points[1]?.latDeg).toBeCloseTo(0.066, 6);
    t.key("Backspace", false);
    expect(t.draft.points.length).toBe(1);
    expect(t.key("k", false)).toBe(false);
  });
});

test("the distance from a touch to a leg", () => {
  expect(awayFromLeg([5, 3], [0, 0], [10, 0])).toBe(3);
  expect(awayFromLeg([-3, 4], [0, 0], [10, 0])).toBe(5);
  expect(awayFromLeg([3, 4], [0, 0], [0, 0])).toBe(5);
});

describe("measure", () => {
  const make = (): MeasureTool => new MeasureTool(sheet, () => at(0, 0), () => "metres", () => undefined);
  test("a touch is from the boat, a drag between two places", () => {
    const t = make();
    t.enter();
    t.down(touch(500, 300));
    t.up(touch(501, 301));
    expect(t.says().text).toMatch(/^From the boat: .*000° true|^From the boat: .*001° true/);
    t.down(touch(400, 400));
    t.move(touch(600, 400));
    t.up(touch(600, 400));
    expect(t.says().text).toMatch(/^Between the two: 22\d\d0 metres, 090° true/);
  });
  test("by keys: arrows move the far end, Enter measures from there", () => {
    const t = make();
    t.enter();
    expect(t.key("ArrowRight", false)).toBe(true);
    t.key("Enter", false);
    t.key("ArrowRight", false);
    expect(t.says().text).toMatch(/^Between the two: .* 090° true/);
    t.key("Backspace", false);
    expect(t.says().text).toMatch(/^From the boat/);
  });
});

describe("trial", () => {
  function make(): { t: TrialTool; asked: (TrialAsked | null)[] } {
    const asked: (TrialAsked | null)[] = [];
    const offers = {
      keep_off_m: 463, for: [1], say: "",
      turn: { turn_deg: 25, course_deg: 115, speed_kn: 10, closest_m: 500, closest_id: 1, say: "", is_slight: false },
      slow: { turn_deg: 0, course_deg: 90, speed_kn: 4.3, closest_m: 500, closest_id: 1, say: "", is_slight: false },
    };
    const t = new TrialTool(sheet, () => at(0, 0), () => ({ courseDeg: 90, speedKn: 10.2 }), () => null, () => offers, () => "", (a) => asked.push(a), () => undefined);
    return { t, asked };
  }
  const said = (t: TrialTool): string => t.says().text;

  test("it begins as now, and ends when put down", () => {
    const { t, asked } = make();
    t.enter();
    expect(said(t)).toBe("Trial now: 090°, 10 kn.");
    expect(asked[0]).toEqual({ course_deg: 90, speed_kn: 10, delay_s: 0 });
    t.leave();
    expect(asked.at(-1)).toBeNull();
  });

  test("round the boat turns the course and leaves the speed; outward changes speed and leaves the course", () => {
    const { t } = make();
    t.enter();
    t.down(touch(500, 250));
    t.move(touch(540, 254));
    t.move(touch(650, 400));
    t.up(touch(650, 400));
    expect(said(t)).toBe("Trial now: 180°, 10 kn.");
    t.down(touch(500, 250));
    t.move(touch(500, 218));
    t.move(touch(530, 187));
    t.up(touch(530, 187));
    expect(said(t)).toMatch(/180°, 1[34](\.\d)? kn/);
  });

  test("by keys: five degrees, one knot, the delay; finer with Shift; what is offered", () => {
    const { t } = make();
    t.enter();
    t.key("ArrowLeft", false);
    t.key("ArrowLeft", true);
    t.key("ArrowUp", false);
    t.key("Enter", false);
    expect(said(t)).toBe("Trial in 1 min: 084°, 11 kn.");
    t.key("o", false);
    expect(said(t)).toBe("Trial now: 115°, 10 kn.");
    t.key("o", false);
    // Down to the half knot: never faster than what was offered.
    expect(said(t)).toBe("Trial now: 090°, 4 kn.");
    for (let k = 0; k < 9; k++) t.key("ArrowDown", false);
    expect(said(t)).toBe("Trial now: 090°, 0 kn.");
  });

  test("its keys on the sheet turn to the side they name; one that does not clear is loud", () => {
    const { t } = make();
    t.enter();
    const press = (name: string): void => t.blades().find((b) => b.name === name)?.press();
    press("starboard");
    expect(said(t)).toContain("095°");
    press("port");
    press("port");
    expect(said(t)).toContain("085°");
    const loud = (clears: boolean): boolean => {
      const told = { clears, say: "Trial: course 090, 10 knots, now. Nearest three cables." } as unknown as Trial;
      const tool = new TrialTool(sheet, () => at(0, 0), () => ({ courseDeg: 90, speedKn: 10 }), () => told, () => null, (deg) => `${deg + 14}° magnetic`, () => undefined, () => undefined);
      tool.enter();
      expect(tool.says().text).toBe("Trial now: 090° (104° magnetic), 10 kn. Nearest three cables.");
      return tool.says().isLoud;
    };
    expect([loud(true), loud(false)]).toEqual([false, true]);
  });

  test("without course or speed it says so and asks for nothing", () => {
    const asked: (TrialAsked | null)[] = [];
    const t = new TrialTool(sheet, () => null, () => null, () => null, () => null, () => "", (a) => asked.push(a), () => undefined);
    t.enter();
    t.key("ArrowLeft", false);
    expect(t.says().isLoud).toBe(true);
    expect(asked).toEqual([]);
  });

  test("a turn round the middle is clockwise positive on the sheet", () => {
    expect(dragTurnRad([0, -100], [100, 0])).toBeCloseTo(Math.PI / 2, 9);
    expect(dragTurnRad([0, -100], [-100, 0])).toBeCloseTo(-Math.PI / 2, 9);
  });
});

describe("index lines", () => {
  function make(): { t: LinesTool; now: () => Lines | null } {
    let lines: Lines | null = null;
    const t = new LinesTool(() => at(0, 0), () => "metres", () => 0, () => null, () => lines, (l) => (lines = l), () => undefined);
    return { t, now: () => lines };
  }
  test("a touch lays one through the place, on its side", () => {
    const { t, now } = make();
    t.enter();
    expect(now()).toEqual({ bearingDeg: 0, offM: 185.2, isBoth: true });
    t.blades().find((b) => b.name === "sides")?.press();
    t.down(touch(497, 200));
    // Three thousandths of a degree to port of a northward line: 334 m by the sphere of Web Mercator.
    expect(now()?.offM).toBeCloseTo(-333.96, 1);
    expect(t.says().text).toContain("to port");
    t.down(touch(504, 200));
    expect(now()?.offM).toBeCloseTo(445.28, 1);
  });
  test("to starboard of the line is positive whichever way it runs", () => {
    // A thousandth of a degree is 111.3 m by the sphere of Web Mercator. Of a line to the east, south lies to starboard.
    expect(offOf(at(0, 0), at(-0.001, 0), 90)).toBeCloseTo(111.32, 1);
    expect(offOf(at(0, 0), at(0.001, 0), 90)).toBeCloseTo(-111.32, 1);
    expect(offOf(at(0, 0), at(0, -0.001), 180)).toBeCloseTo(111.32, 1);
    expect(offOf(at(0, 0), at(0.001, 0.001), 45)).toBeCloseTo(0, 2);
  });
  test("by keys; they stay when the tool is put down, and go when none are wanted", () => {
    const { t, now } = make();
    t.enter();
    t.key("ArrowUp", false);
    t.key("ArrowRight", false);
    expect(now()).toEqual({ bearingDeg: 5, offM: 185.2 * 1.1, isBoth: true });
    t.leave();
    expect(now()).not.toBeNull();
    t.blades().find((b) => b.name === "none")?.press();
    expect(now()).toBeNull();
  });
});
