import { describe, expect, it } from "vitest";
import { isCharted } from "../layers/ink/nochart";
import { shortName } from "../layers/ink/chartink";
import { LOOKS, NIGHT_BLUE_MAX, NIGHT_GREEN_MAX } from "../look/table";
import { safetyDepthM } from "../state/depth";
import type { Affairs, ChartData, Hello } from "../state/types";
import { chartStyle } from "./style";
import { thingsOf, type Raw } from "./things";
import { unknownName, unknownTile } from "./unknown";

const chart: ChartData = {
  key: "k", tiles: ["chart/k/{z}/{x}/{y}.mvt"], minzoom: 6, maxzoom: 14, bounds: [-129, -39, -127, -37],
  cells: [{ name: "MADE", scale: 12000, issued: "2031-01-01", not_for_navigation: true }],
  coverage: {
    type: "MultiPolygon",
    coordinates: [
      [[[-129, -39], [-127, -39], [-127, -37], [-129, -37], [-129, -39]], [[-128.2, -38.2], [-127.8, -38.2], [-127.8, -37.8], [-128.2, -37.8], [-128.2, -38.2]]],
      [[[-126, -39], [-125, -39], [-125, -38], [-126, -38], [-126, -39]]],
    ],
  },
};

describe("the chart's style", () => {
  it("comes from the look's table alone, and at night holds next to no green and blue", () => {
    for (const look of ["night", "dusk", "day"] as const) {
      const style = chartStyle(LOOKS[look], chart, 1.8, (c) => [...c.tiles]);
      const colours = [...JSON.stringify(style).matchAll(/rgb\((\d+) (\d+) (\d+)\)/g)].map((m) => [Number(m[1]), Number(m[2]), Number(m[3])]);
      expect(colours.length).toBeGreaterThan(15);
      const inks = new Set(Object.values(LOOKS[look]).map(String));
      for (const colour of colours) {
        expect(inks.has(String(colour))).toBe(true);
        if (look !== "night") continue;
        expect(colour[1]).toBeLessThanOrEqual(NIGHT_GREEN_MAX);
        expect(colour[2]).toBeLessThanOrEqual(NIGHT_BLUE_MAX);
      }
    }
  });

  it("asks no address but the helm's, and draws no words by itself", () => {
    const style = chartStyle(LOOKS.night, chart, 1.8, (c) => [...c.tiles]);
    expect(JSON.stringify(style)).not.toMatch(/https?:|"symbol"|glyphs|sprite/);
    expect(chartStyle(LOOKS.night, null, 1.8).layers).toEqual([]);
  });

  it("has every layer's name once", () => {
    const ids = chartStyle(LOOKS.night, chart, 1.8, (c) => [...c.tiles]).layers.map((layer) => layer.id);
    expect(new Set(ids).size).toBe(ids.length);
  });
});

describe("water that no chart knows", () => {
  it("is hatched both ways in the look's own inks, and joins at every edge", () => {
    for (const look of ["night", "dusk", "day"] as const) {
      const inks = LOOKS[look];
      const tile = unknownTile(unknownName(inks));
      if (tile === null) throw new Error("no tile");
      const at = (x: number, y: number): number[] => [...tile.data.slice(4 * (((y + tile.height) % tile.height) * tile.width + ((x + tile.width) % tile.width))).slice(0, 4)];
      for (let k = 0; k < tile.width; k++) {
        // Both diagonals, one of them through the corner.
        expect(at(k, k)).toEqual([...inks.contour, 255]);
        expect(at(k, -k)).toEqual([...inks.contour, 255]);
      }
      expect(at(10, 0)).toEqual([...inks.sheet, 255]);
      // Beside a line by a pixel along the row: 0.71 of one across it, so that 0.29 of it lies there.
      const [red] = at(5, 4);
      expect(red).toBe(Math.round(inks.sheet[0] + (1 - Math.SQRT1_2) * (inks.contour[0] - inks.sheet[0])));
    }
    expect(unknownTile("something else")).toBeNull();
  });

  it("is what the chart's style begins with", () => {
    const [first] = chartStyle(LOOKS.dusk, chart, 1.8, (c) => [...c.tiles]).layers;
    expect(first).toMatchObject({ type: "background", paint: { "background-pattern": unknownName(LOOKS.dusk) } });
  });
});

describe("the depth a boat needs", () => {
  const hello = (draught_m?: number): Hello => ({ boat: { ...(draught_m === undefined ? {} : { draught_m, depth_margin_m: 0.6 }) } }) as unknown as Hello;
  const tide = (tide_m: number | null): Affairs => ({ tide_m }) as unknown as Affairs;
  it("is draught and margin less the tide", () => {
    expect(safetyDepthM({ hello: hello(0.9), affairs: tide(0) })).toBeCloseTo(1.5, 9);
    expect(safetyDepthM({ hello: hello(0.9), affairs: tide(1.04) })).toBeCloseTo(0.5, 9);
    // Elementary: 0.9 and 0.6 less 1.06 are 0.44, and 0.4 is less than that.
    expect(safetyDepthM({ hello: hello(0.9), affairs: tide(1.06) })).toBeCloseTo(0.5, 9);
    expect(safetyDepthM({ hello: hello(0.9), affairs: tide(null) })).toBeCloseTo(1.5, 9);
    expect(safetyDepthM({ hello: hello(0.9), affairs: tide(-0.4) })).toBeCloseTo(1.9, 9);
  });
  it("is cautious while the boat is not known", () => {
    expect(safetyDepthM({ hello: null, affairs: null })).toBe(5);
    expect(safetyDepthM({ hello: hello(), affairs: null })).toBe(5);
  });
});

describe("where there is a chart", () => {
  it("is inside a coverage and not in its hole", () => {
    expect(isCharted(chart, -37.5, -128)).toBe(true);
    expect(isCharted(chart, -38, -128)).toBe(false);
    expect(isCharted(chart, -38.5, -125.5)).toBe(true);
    expect(isCharted(chart, -38.5, -126.5)).toBe(false);
    expect(isCharted(null, -37.5, -128)).toBe(false);
  });
});

const raw = (properties: Record<string, unknown>, lon = -128, lat = -38): Raw => ({ geometry: { type: "Point", coordinates: [lon, lat] }, properties });

describe("what the tiles say", () => {
  it("is each thing once, though tiles of two zooms hold it", () => {
    const mark = { k: "mark", f: "C/1", o: "BCNLAT", n: "Tern beacon", h: "fixed", lit: 1, t: "Fl G 4s", z: 10.5 };
    const things = thingsOf([raw(mark), raw(mark, -128.000001), raw({ ...mark, o: "BOYLAT", h: "floating", lit: undefined })]);
    expect(things.marks.map((m) => [m.object, m.isFloating, m.isLit])).toEqual([["BCNLAT", false, true], ["BOYLAT", true, false]]);
    expect(thingsOf([raw({ k: "sounding", d: 4.1, z: 12 }), raw({ k: "sounding", d: 4.1, z: 12 })]).soundings).toHaveLength(1);
  });

  it("is in the order it is written: soundings by zoom and then the shoaler first", () => {
    const deep = [[7, 12], [3, 13], [2, 12]].map(([d, z], i) => raw({ k: "sounding", d, z }, -128 + 0.01 * i));
    expect(thingsOf(deep).soundings.map((s) => s.depthM)).toEqual([2, 7, 3]);
  });

  it("leaves out what is not said, and takes no word for it", () => {
    const things = thingsOf([
      raw({ k: "bridge", f: "C/2", b: 1 }), raw({ k: "danger", f: "C/3", o: "WRECKS", h: "covered" }), raw({ k: "sounding" }),
      raw({ k: "light", f: "C/4", s: "[[210,250,\"R\"],[250,262,\"W\"],[\"x\"]]" }), raw({ k: "light", f: "C/5", s: "{" }), { geometry: { type: "Point" }, properties: { k: "mark" } },
    ]);
    expect(things.bridges[0]).toMatchObject({ name: null, clearM: null, openM: null, opens: true });
    expect(things.dangers[0]).toMatchObject({ depthM: null, aroundM: null, shows: false });
    expect(things.soundings).toEqual([]);
    expect(things.lights.map((l) => l.sectors.length)).toEqual([2, 0]);
    expect(things.marks).toEqual([]);
  });
});

describe("names from afar", () => {
  it("are what is painted on the mark", () => {
    expect(shortName("Main Channel Lighted Buoy 13")).toBe("“13”");
    expect(shortName("River Buoy 5A")).toBe("“5A”");
    expect(shortName("Roads Buoy B")).toBe("“B”");
    expect(shortName("10")).toBe("“10”");
    expect(shortName("Tern beacon")).toBe("Tern beacon");
  });
});
