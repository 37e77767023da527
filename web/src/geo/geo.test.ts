import { describe, expect, it } from "vitest";
import { threeFigures, whereabouts, wrapPi, wrapTau } from "./angles";
import { affine, mapView, project, unproject, type Camera } from "./camera";
import { latOf, lonOf, mercatorX, mercatorY, Plane, rangeBearing } from "./mercator";
import { isSurelyDay, sunAltitudeDeg } from "./sun";
import { down, RANGES_NM, ringLabel, ringStepNm, inOneSystem, sayDistance, sayTime } from "./units";

const camera = (up: number, x = 400, y = 300): Camera => ({ plane: new Plane(-38, -128), x, y, up, pxPerM: 0.2, width: 800, height: 600 });

describe("angles", () => {
  it("wraps", () => {
    expect(wrapTau(-0.1)).toBeCloseTo(2 * Math.PI - 0.1, 12);
    expect(wrapPi(Math.PI)).toBeCloseTo(-Math.PI, 12);
    expect(threeFigures(359.6)).toBe("000");
    expect(threeFigures(7)).toBe("007");
    expect(threeFigures(-10)).toBe("350");
  });

  it("says where in a skipper's words", () => {
    expect(whereabouts(0)).toBe("ahead");
    expect(whereabouts(350)).toBe("fine on the port bow");
    expect(whereabouts(90)).toBe("on the starboard beam");
    expect(whereabouts(-130)).toBe("on the port quarter");
    expect(whereabouts(180)).toBe("astern");
    expect(whereabouts(50)).toBe("on the starboard bow");
    expect(whereabouts(310)).toBe("on the port bow");
  });
});

describe("Mercator", () => {
  it("agrees with EPSG guidance note 7-2, Popular Visualisation Pseudo Mercator", () => {
    // IOGP 373-7-2, section 3.2.1.2 example: 24°22'54.433"N, 100°20'00.000"W gives E = -11169055.58 m, N = 2800000.00 m.
    const lat = 24 + 22 / 60 + 54.433 / 3600;
    const lon = -(100 + 20 / 60);
    const world = 2 * Math.PI * 6378137;
    expect((mercatorX(lon) - 0.5) * world).toBeCloseTo(-11169055.58, 1);
    expect(Math.abs((0.5 - mercatorY(lat)) * world - 2800000.0)).toBeLessThan(0.05);
  });

  it("goes there and back", () => {
    expect(latOf(mercatorY(-38.25))).toBeCloseTo(-38.25, 10);
    expect(lonOf(mercatorX(-128.5))).toBeCloseTo(-128.5, 10);
  });

  it("measures a minute of latitude as a mile, to the sphere's few metres", () => {
    const { rangeM, bearingDeg } = rangeBearing(-12.4, -118.3, -12.4 + 1 / 60, -118.3);
    expect(Math.abs(rangeM - 1852)).toBeLessThan(6);
    expect(bearingDeg).toBeCloseTo(0, 6);
  });
});

describe("camera", () => {
  it("puts the heading up", () => {
    const up = 0.7;
    const [x, y] = project(affine(camera(up), camera(up).plane), 1000 * Math.sin(up), 1000 * Math.cos(up));
    expect(x).toBeCloseTo(400, 9);
    expect(y).toBeCloseTo(300 - 200, 9);
  });

  it("puts starboard right", () => {
    const up = 2.1;
    const abeam = up + Math.PI / 2;
    const [x, y] = project(affine(camera(up), camera(up).plane), 1000 * Math.sin(abeam), 1000 * Math.cos(abeam));
    expect(x).toBeCloseTo(600, 9);
    expect(y).toBeCloseTo(300, 9);
  });

  it("draws any plane's point where its own would be", () => {
    const c = camera(1.3);
    const other = new Plane(-38.02, -127.97);
    const [lat, lon] = [-38.011, -127.985];
    const a = project(affine(c, c.plane), c.plane.east(lon), c.plane.north(lat));
    const b = project(affine(c, other), other.east(lon), other.north(lat));
    expect(b[0]).toBeCloseTo(a[0], 6);
    expect(b[1]).toBeCloseTo(a[1], 6);
  });

  it("finds the place under a pixel", () => {
    const c = camera(-0.4);
    const place = unproject(c, 123, 456);
    const [x, y] = project(affine(c, c.plane), c.plane.east(place.lonDeg), c.plane.north(place.latDeg));
    expect(x).toBeCloseTo(123, 6);
    expect(y).toBeCloseTo(456, 6);
  });

  it("gives the map the same scale", () => {
    const view = mapView(camera(0));
    expect(512 * 2 ** view.zoom).toBeCloseTo(0.2 * camera(0).plane.metresPerUnit, 3);
    expect(view.center[0]).toBeCloseTo(-128, 9);
  });

  it("turns the map as the picture is turned", () => {
    // The map library's own word for it: the compass direction that is up, clockwise from north, degrees.
    expect(mapView(camera(Math.PI / 2)).bearing).toBeCloseTo(90, 9);
    expect(mapView(camera(-Math.PI / 6)).bearing).toBeCloseTo(-30, 9);
  });
});

describe("words for numbers", () => {
  it("says distances", () => {
    expect(sayDistance(1852 * 0.42, "nm")).toBe("4.2 cables");
    expect(sayDistance(1852, "nm")).toBe("1 mile");
    expect(sayDistance(1852 * 2.5, "nm")).toBe("2.5 miles");
    // One system: who counts in miles is told cables under one of them, never metres beside.
    expect(sayDistance(148, "nm")).toBe("0.8 cable");
    expect(sayDistance(60, "metres")).toBe("60 metres");
    expect(sayDistance(556, "cables")).toBe("3 cables");
    expect(sayDistance(914.4, "yards")).toBe("1000 yards");
  });

  it("puts the plan's sentences into the same system", () => {
    expect(inOneSystem("a point 0.31 NM on the port bow opens", "nm")).toBe("a point 3.1 cables on the port bow opens");
    expect(inOneSystem("Tern, unlit, 30 m to port", "metres")).toBe("Tern, unlit, 30 metres to port");
    // How far off a thing is passed is never said to be more: 92 m are 0.497 of a cable.
    expect(inOneSystem("Tern, unlit, 92 m to port", "nm")).toBe("Tern, unlit, 0.4 cable to port");
    expect(inOneSystem("Tern, unlit, 39 m to starboard", "metres")).toBe("Tern, unlit, 30 metres to starboard");
    expect(inOneSystem("Tern, unlit, 9 m to starboard", "metres")).toBe("Tern, unlit, under 10 metres to starboard");
    expect(inOneSystem("Two, Fl G 4s 5m 3M", "nm")).toBe("Two, Fl G 4s 5m 3M");
  });

  it("says no more water than there is", () => {
    expect(down(3.29, 1)).toBe("3.2");
    expect(down(3.3, 1)).toBe("3.3");
    expect(down(1.1 + 2.2 - 0.3, 1)).toBe("3.0");
    expect(down(-0.04, 1)).toBe("-0.1");
    expect(down(0, 1)).toBe("0.0");
  });

  it("says times", () => {
    expect(sayTime(45)).toBe("45 s");
    expect(sayTime(190)).toBe("3 min 10 s");
    expect(sayTime(240)).toBe("4 min");
    expect(sayTime(745)).toBe("12 min");
    expect(sayTime(117)).toBe("2 min");
    expect(sayTime(3 * 3600)).toBe("3 h");
  });

  it("has rings that divide every range", () => {
    for (const range of RANGES_NM) {
      const n = range / ringStepNm(range);
      expect(Number.isInteger(n)).toBe(true);
    }
    expect(ringLabel(1852 * 0.375, "nm")).toBe("3.75 c");
    expect(ringLabel(1852, "nm")).toBe("1 M");
    // A yard is 0.9144 m (international yard): the third ring of the half-mile range stands at 760 of them.
    expect(ringLabel(0.375 * 1852, "yards")).toBe("760 yd");
    expect(ringLabel(0.09375 * 1852, "yards")).toBe("190 yd");
    expect(ringLabel(500, "metres")).toBe("500 m");
  });
});

describe("the sun", () => {
  it("stands overhead where and when it should", () => {
    // At an equinox, 2028-03-20 02:17 UTC (from memory, to the minute), the declination is nil: on the equator at local
    // apparent noon the sun is overhead. The equation of time is about -7.4 minutes then, so noon at 0° E is 12:07:24.
    expect(sunAltitudeDeg(Date.UTC(2028, 2, 20, 12, 7, 24), 0, 0)).toBeGreaterThan(89.5);
    expect(sunAltitudeDeg(Date.UTC(2028, 2, 20, 0, 7, 24), 0, 0)).toBeLessThan(-89.5);
    // Six hours sooner she stands over 90° east, and six hours later over 90° west.
    expect(sunAltitudeDeg(Date.UTC(2028, 2, 20, 6, 7, 24), 0, 90)).toBeGreaterThan(89.4);
    expect(sunAltitudeDeg(Date.UTC(2028, 2, 20, 18, 7, 24), 0, -90)).toBeGreaterThan(89.4);
  });
});

describe("whether it is surely day", () => {
  it("is so about noon by the clock, the year round, and never in any night", () => {
    const at = (iso: string): number => Date.parse(iso);
    for (const month of ["03", "06", "09", "12"]) {
      expect(isSurelyDay(at(`2026-${month}-21T12:30:00Z`), 0)).toBe(true);
      expect(isSurelyDay(at(`2026-${month}-21T00:30:00Z`), 0)).toBe(false);
    }
    // At midsummer the sun is up at 60 north until after ten; at 60 south it sets at three. Nobody has said which it is.
    expect(isSurelyDay(at("2026-06-21T19:00:00Z"), 0)).toBe(false);
    // Ten hours behind UTC: noon there is 22 UTC.
    expect([isSurelyDay(at("2026-03-21T22:30:00Z"), 600), isSurelyDay(at("2026-03-21T12:30:00Z"), 600)]).toEqual([true, false]);
  });
});
