import { describe, expect, it } from "vitest";
import { affine, project, type Camera } from "../geo/camera";
import { Plane } from "../geo/mercator";
import { rangeAlong, smoothed } from "./ink/ground";
import { Labels } from "./ink/labels";
import { loudness, unnamed } from "./ink/echoes";
import { doubtM } from "./ink/own";
import { isOverrun, runsAhead } from "./ink/seeing";
import { Seen } from "./ink/seen";
import { Levels } from "./scan/levels";
import { invert } from "./scan/uniforms";
import { mostWords, scaleTop, shareAt } from "../band/speed";
import { panesOf, upOf } from "../map/panes";
import { Pace } from "../state/pace";
import { EasedAngle } from "../state/smooth";
import type { Echo, Reading } from "../state/types";
import { Voice } from "../panels/voice";

const circle = (r: number): [number, number][] => Array.from({ length: 360 }, (_, k) => [r * Math.sin((k * Math.PI) / 180), r * Math.cos((k * Math.PI) / 180)]);

describe("the seeing line", () => {
  it("is met where it is", () => {
    expect(rangeAlong(circle(500), 0, 0, 1.2)).toBeCloseTo(500, 0);
    expect(rangeAlong(circle(500), 100, 0, Math.PI / 2)).toBeCloseTo(400, 0);
    expect(rangeAlong([], 0, 0, 0)).toBeNull();
  });

  it("is never promised further out by smoothing", () => {
    const ragged = circle(500).map(([e, n], k): [number, number] => (k % 40 < 4 ? [e * 0.5, n * 0.5] : [e, n]));
    for (const [e, n] of smoothed(ragged, 0, 0)) {
      const bearing = Math.atan2(e, n);
      expect(Math.hypot(e, n)).toBeLessThanOrEqual((rangeAlong(ragged, 0, 0, bearing) ?? 0) + 0.5);
    }
  });

  it("is drawn ahead in pieces that nowhere run to the middle", () => {
    // All round 300 m, but for a gap of 20° fine on the bow where land draws it in to 20 m.
    const seen = Array.from({ length: 180 }, (_, k) => (k > 2 && k < 13 ? 20 : 300));
    const runs = runsAhead(seen, 0, 1);
    expect(runs.length).toBeGreaterThan(1);
    for (const run of runs) {
      run.forEach(([a, r], i) => {
        const before = run[i - 1];
        if (before !== undefined) expect(Math.abs(r - before[1])).toBeLessThanOrEqual(1.2 * Math.max(r, before[1]) * (a - before[0]));
        expect(Math.abs(a)).toBeLessThan(0.75);
      });
    }
  });

  it("is eased: nearer soon, farther slowly, and never at a leap", () => {
    const seen = new Seen();
    const ground = (r: number) => ({ plane: new Plane(0, 0), hidden: [], seeing: circle(r) });
    const [far, near] = [ground(800), ground(200)];
    seen.step(far, 0, 0, 0.2);
    const first = seen.step(near, 0, 0, 0.25)[0] ?? 0;
    expect(first).toBeLessThan(760);
    expect(first).toBeGreaterThan(400);
    for (let k = 0; k < 40; k++) seen.step(near, 0, 0, 0.25);
    expect(seen.step(near, 0, 0, 0.25)[0]).toBeLessThan(205);
    const back = ground(800);
    let after = 0;
    for (let k = 0; k < 4; k++) after = seen.step(back, 0, 0, 0.25)[0] ?? 0;
    expect(after).toBeLessThan(320);
  });

  it("is overrun when the boat stops beyond it, and not else", () => {
    expect(isOverrun(circle(500), 0, 0, 520, 0)).toBe(true);
    expect(isOverrun(circle(500), 0, 0, 480, 0)).toBe(false);
    expect(isOverrun(circle(500), 0, 0, null, 0)).toBeNull();
    expect(isOverrun([], 0, 0, 480, 0)).toBeNull();
    expect(isOverrun(circle(500), 0, 0, 480, Number.NaN)).toBeNull();
  });
});

describe("the boat", () => {
  it("has a ring of doubt only while radar and chart carry her position on", () => {
    const own = { lat: -38, lon: -128, cog_deg: 20, sog_kn: 8, heading_deg: 20 };
    const reading = (more: object): Reading => ({ own: { ...own, ...more } }) as unknown as Reading;
    expect(doubtM(null)).toBeNull();
    expect(doubtM(reading({}))).toBeNull();
    expect(doubtM(reading({ position_from: "receiver", position_sigma_m: 3 }))).toBeNull();
    expect(doubtM(reading({ position_from: "radar and chart", position_sigma_m: 4 }))).toBe(8);
  });
});

describe("the scan", () => {
  it("finds the ground under a pixel", () => {
    const camera: Camera = { plane: new Plane(-38, -128), x: 300, y: 200, up: 0.9, pxPerM: 0.25, width: 600, height: 400 };
    const m = affine(camera, camera.plane);
    const out = new Float32Array(9);
    invert(m, 1, out);
    const [x, y] = project(m, 120, -340);
    const [a, b, , c, d, , e, f] = out as unknown as number[];
    expect((a ?? 0) * x + (c ?? 0) * y + (e ?? 0)).toBeCloseTo(120, 2);
    expect((b ?? 0) * x + (d ?? 0) * y + (f ?? 0)).toBeCloseTo(-340, 2);
  });

  it("sets itself above the receiver's noise", () => {
    const levels = new Levels();
    const quiet = new Uint8Array(20_000).map((_, i) => 20 + (i % 9));
    for (let k = 0; k < 400; k++) levels.add(quiet);
    const [weak, strong] = levels.get();
    expect(weak * 255).toBeGreaterThan(28);
    expect(weak * 255).toBeLessThan(60);
    expect(strong).toBeGreaterThan(weak);
  });

  it("is drawn coarser only where drawing is slow, and never back and forth", () => {
    const pace = new Pace();
    for (let k = 0; k < 100; k++) pace.frame(16);
    expect(pace.ratio).toBe(1);
    for (let k = 0; k < 100; k++) pace.frame(80);
    expect(pace.ratio).toBe(0.5);
    for (let k = 0; k < 100; k++) pace.frame(16);
    expect(pace.ratio).toBe(0.5);
  });
});

describe("words", () => {
  it("keep clear of each other and of the edge", () => {
    const labels = new Labels(200, 100);
    labels.block(0, 0, 100, 100);
    expect(labels.isFree({ x: 50, y: 10, w: 20, h: 10 })).toBe(false);
    expect(labels.isFree({ x: 120, y: 10, w: 20, h: 10 })).toBe(true);
    expect(labels.isFree({ x: 190, y: 10, w: 20, h: 10 })).toBe(false);
  });
});

describe("loudness", () => {
  const echo = (change: Partial<Echo>): Echo => ({
    id: 1, lat: 0, lon: 0, range_m: 900, bearing_deg: 0, relative_bearing_deg: 0, cog_deg: null, sog_kn: 0, length_m: null, is: "charted",
    confidence: 1, p_moving: 0, charted_as: null, ais: null, cpa_m: null, tcpa_s: null, cpa_sigma_m: null, why: "", ...change,
  });
  it("lets what is explained recede, and shouts only what is called", () => {
    expect(loudness(echo({}), 0)).toBe("whisper");
    expect(loudness(echo({ is: "uncharted" }), 0)).toBe("speak");
    expect(loudness(echo({ is: "vessel", cpa_m: 100, tcpa_s: 300 }), 2)).toBe("speak");
    expect(loudness(echo({ is: "vessel" }), 3)).toBe("shout");
    expect(loudness(echo({ is: "charted" }), 1)).toBe("speak");
    expect(loudness(echo({ is: "charted" }), 4)).toBe("shout");
    expect(loudness(echo({ is: "vessel" }), 0, true)).toBe("whisper");
    expect(loudness(echo({ is: "vessel" }), 3, true)).toBe("shout");
  });
  it("names the nearest of many that no chart knows, and every boat", () => {
    const boats = [10, 11].map((id) => echo({ id, is: "vessel", range_m: 9000 }));
    const crowd = [8, 7, 6, 5, 4, 3, 2, 1].map((id) => echo({ id, is: "uncharted", range_m: 100 * id }));
    expect([...unnamed([...crowd, ...boats])].sort()).toEqual([7, 8]);
    expect(unnamed(crowd.slice(2)).size).toBe(0);
  });
});

describe("the speed line", () => {
  it("holds both marks", () => {
    for (const [made, most] of [[8, 6], [22, 18], [null, 6], [3, null]] as const) {
      const top = scaleTop(made, most);
      expect(top).toBeGreaterThanOrEqual(Math.max(made ?? 0, most ?? 0));
      expect(shareAt(top, top)).toBe(1);
      expect(shareAt(0, top)).toBe(0);
    }
  });
  it("names a limit and never a permission", () => {
    expect(mostWords(18, false)).toMatch(/^at most 18 kn/);
    expect(mostWords(null, false)).toMatch(/no speed can be said/);
    expect(mostWords(null, true)).toBe("no speed fits");
  });
});

describe("panes", () => {
  const whole = { x: 0, y: 0, width: 1280, height: 800 };
  it("lay side by side by width, one above the other by height", () => {
    expect(panesOf("beside", 1280, 800, whole).map((p) => p.x)).toEqual([0, 640]);
    const tall = panesOf("beside", 800, 1280, { x: 0, y: 0, width: 800, height: 1280 });
    expect(tall.find((p) => p.hasRadar)?.y).toBe(0);
    expect(panesOf("radar", 10, 10, { x: 0, y: 0, width: 10, height: 10 })[0]?.hasChart).toBe(false);
  });

  it("know what a drawer leaves of them", () => {
    const [pane] = panesOf("over", 1280, 800, { ...whole, width: 800 });
    expect(pane?.width).toBe(1280);
    expect(pane?.free.width).toBe(800);
  });

  it("fall back to course when there is no heading, and to north when there is neither", () => {
    expect(upOf("head", Number.NaN, 90)).toBeCloseTo(Math.PI / 2, 12);
    expect(upOf("head", Number.NaN, Number.NaN)).toBe(0);
    expect(upOf("north", 50, 60)).toBe(0);
  });
});

describe("turns", () => {
  it("go the short way round", () => {
    const eased = new EasedAngle();
    eased.step(6.2, 0.1, 0.2);
    expect(eased.step(0.1, 0.1, 0.2)).toBeGreaterThan(6.2);
  });
});

describe("the voice", () => {
  it("says the newer urgent call first and lets only collisions through silence", () => {
    const spoken: string[] = [];
    const made: { text: string; onend: (() => void) | null; onerror: (() => void) | null; rate: number }[] = [];
    const voice = new Voice(
      { speak: (u) => void spoken.push((u as unknown as { text: string }).text), cancel: () => made.at(-1)?.onend?.() },
      (text) => {
        const utterance = { text, onend: null, onerror: null, rate: 1 };
        made.push(utterance);
        return utterance as unknown as SpeechSynthesisUtterance;
      },
    );
    const call = (number: number, urgency: number) => ({ number, key: `matter ${number}`, urgency, say: `call ${number}`, echo: null });
    voice.take(call(1, 2), true, true);
    expect(spoken).toEqual([]);
    voice.take(call(2, 4), true, true);
    expect(spoken).toEqual(["call 2"]);
    voice.take(call(3, 1), true, false);
    voice.take(call(4, 3), true, false);
    made.at(-1)?.onend?.();
    expect(spoken).toEqual(["call 2", "call 4"]);
    voice.take(call(5, 4), true, false);
    expect(spoken.at(-1)).toBe("call 5");
    voice.take(call(6, 4), false, false);
    expect(spoken.at(-1)).toBe("call 5");
  });

  it("cuts a milder call off and says it after, drops what is stale, and takes a newer word about an echo", () => {
    const spoken: string[] = [];
    let made: { onend: (() => void) | null }[] = [];
    let now = 0;
    const voice = new Voice(
      { speak: (u) => void spoken.push((u as unknown as { text: string }).text), cancel: () => made.at(-1)?.onend?.() },
      (text) => {
        const utterance = { text, onend: null, onerror: null, rate: 1 };
        made = [...made, utterance];
        return utterance as unknown as SpeechSynthesisUtterance;
      },
      () => now,
    );
    const call = (number: number, urgency: number, echo: number | null) => ({ number, key: echo === null ? `matter ${number}` : `echo ${echo}`, urgency, say: `call ${number}`, echo });
    voice.take(call(1, 2, 5), true, false);
    voice.take(call(2, 4, 9), true, false);
    expect(spoken).toEqual(["call 1", "call 2"]);
    voice.take(call(3, 2, 5), true, false);
    made.at(-1)?.onend?.();
    // The newer word about echo 5, and the cut-off one no more.
    expect(spoken).toEqual(["call 1", "call 2", "call 3"]);
    voice.take(call(4, 2, null), true, false);
    now = 60_000;
    made.at(-1)?.onend?.();
    expect(spoken.length).toBe(3);
    voice.take(call(5, 3, 1), true, false);
    voice.hush(4);
    expect(spoken.length).toBe(4);
    voice.take(call(6, 3, 1), true, true);
    expect(spoken.length).toBe(4);
  });

  it("drops an older order for a newer one, waiting or half spoken", () => {
    const spoken: string[] = [];
    const made: { onend: (() => void) | null }[] = [];
    const voice = new Voice(
      { speak: (u) => void spoken.push((u as unknown as { text: string }).text), cancel: () => made.at(-1)?.onend?.() },
      (text) => {
        made.push({ text, onend: null, onerror: null, rate: 1 } as (typeof made)[number]);
        return made.at(-1) as unknown as SpeechSynthesisUtterance;
      },
    );
    const call = (number: number, urgency: number, say: string) => ({ number, key: `matter ${number}`, urgency, say, echo: null });
    voice.take(call(1, 4, "The heading is old."), true, false);
    voice.take(call(2, 3, "Turn starboard 40, to one six five."), true, false);
    voice.take(call(3, 2, "Slow to 6 knots."), true, false);
    made.at(-1)?.onend?.();
    expect(spoken).toEqual(["The heading is old.", "Slow to 6 knots."]);
    // As urgent, and it cuts off what is being said.
    voice.take(call(4, 2, "Stop."), true, false);
    made.at(-1)?.onend?.();
    expect(spoken).toEqual(["The heading is old.", "Slow to 6 knots.", "Stop."]);
  });
});
