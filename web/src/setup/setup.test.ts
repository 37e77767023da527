import { describe, expect, it } from "vitest";
import { valueWords } from "./pages/answers";
import { sureWords, onDial } from "./pages/bow";
import { cellWords, frameOf, weight } from "./pages/covermap";
import { isOfUse, placeWords, radarWords, said, touched } from "./pages/hear";
import { typedText } from "./pages/pad";
import { stateWords } from "./pages/questions";
import { notKnown } from "./pages/start";
import type { Bow } from "../state/types";
import type { CellCovered, Chosen, PlaceHeard, Question } from "./types";

const RADAR = { spokes: 900, spokes_per_s: 144, spokes_per_turn: 360, cells: 384, cell_m: 6, range_m: 2304, bits: 8, turns_per_min: -24, radars: 1, has_time: true };
const PLACE: PlaceHeard = {
  link: "udp://0.0.0.0:8600", kind: "udp", state: "listening", line: "", said: "", by_hand: false, carries: "radar", words: "radar video", age_s: 0.1,
  is_silent: false, bytes: 1, sentences: [], ticker: [], bad: 0, no_fix: false, vessels: 0, radar: RADAR, values: [],
};
const CHOSEN: Chosen = { radar: null, nmea: [], charts: [], tides: [], prefer: {}, length_unit: "metres" };
const QUESTION: Question = {
  key: "boat.length_m", group: "boat", form: "length", ask: "How long is she?", help: "", unit: "", step: 0.1, low: 2, high: 60, default: null, choices: [],
  is_needed: true, value: null, state: "unknown",
};
const CELL: CellCovered = {
  name: "MADE5", scale: 12000, edition: 3, update: 2, issued: "2019-05-01", age_days: 4300, is_old: true, not_for_navigation: true,
  coverage: { type: "Polygon", coordinates: [[[-128, -38], [-127, -38], [-127, -37], [-128, -37], [-128, -38]]] },
};

describe("what is heard", () => {
  it("says a radar in figures", () => {
    expect(radarWords(RADAR, "nm")).toBe("144 spokes a second, 360 a turn, 384 cells to 1.2 miles, 24 turns a minute, anticlockwise");
  });
  it("says what is wrong with a place", () => {
    expect(placeWords({ ...PLACE, line: "port 8600 is in use", is_silent: true, age_s: 9.6, bad: 2, no_fix: true })).toBe(
      "Port 8600 is in use; silent for 10 seconds; the receiver says that it has no fix; 2 sentences with a wrong checksum or none",
    );
  });
  it("takes one radar, and any number of instruments, and lets go again", () => {
    expect(touched(CHOSEN, PLACE)).toEqual({ radar: PLACE.link, nmea: [] });
    const other = { ...PLACE, link: "udp://0.0.0.0:8601" };
    expect(touched({ ...CHOSEN, radar: PLACE.link }, other).radar).toBe(other.link);
    expect(touched({ ...CHOSEN, radar: PLACE.link }, PLACE).radar).toBeNull();
    const nmea = { ...PLACE, carries: "nmea" as const, radar: null, link: "a" };
    expect(touched({ ...CHOSEN, nmea: ["b"] }, nmea).nmea).toEqual(["b", "a"]);
    expect(touched({ ...CHOSEN, nmea: ["b", "a"] }, nmea).nmea).toEqual(["b"]);
  });
  it("says a source as people read it", () => {
    const offer = { link: "can:can0", talker: "35", kind: "129029", value: "", age_s: 0 };
    expect(said(offer)).toBe("group 129029 of device 35 on can:can0");
    expect(said({ ...offer, link: "ws://server:3000", talker: "bus.35", kind: "SK" })).toBe("Signal K source bus.35 on ws://server:3000");
    expect(said({ ...offer, link: "udp://0.0.0.0:10110", talker: "HE", kind: "HDT" })).toBe("HE HDT on udp://0.0.0.0:10110");
  });
  it("offers a bus and a Signal K server as it does sentences, and nothing that cannot be read", () => {
    const carrying = (["nmea", "bus", "signalk", "radar"] as const).map((carries) => isOfUse({ ...PLACE, carries }));
    expect(carrying).toEqual([true, true, true, true]);
    expect((["nothing", "asterix", "unknown"] as const).some((carries) => isOfUse({ ...PLACE, carries }))).toBe(false);
  });
});

describe("questions", () => {
  it("says a default as a default, what is assumed as assumed, and what is unknown as unknown", () => {
    expect(stateWords(QUESTION, "metres")).toBe("Not known.");
    expect(stateWords({ ...QUESTION, state: "assumed", value: 1.5 }, "feet")).toBe("Not known: 4.92 feet is assumed, and that is said.");
    expect(stateWords({ ...QUESTION, state: "default", default: 463, form: "metres", unit: "metres" }, "feet")).toBe("Default: 463 metres.");
    expect(stateWords({ ...QUESTION, state: "given", value: 9 }, "metres")).toBe("");
  });
  it("says values as a skipper counts", () => {
    expect(valueWords(QUESTION, null, "metres")).toBe("not known");
    expect(valueWords({ ...QUESTION, form: "stops" }, [{ speed_kn: 10, distance_m: 38 }], "metres")).toBe("10 kn in 38 m");
    expect(valueWords({ ...QUESTION, form: "choice", choices: [{ value: "bow", words: "from the bow" }] }, "bow", "metres")).toBe("from the bow");
  });
  it("lists what nobody knows", () => {
    const list = notKnown([QUESTION, { ...QUESTION, key: "b", state: "given" }, { ...QUESTION, key: "c", state: "assumed", value: 3 }], "metres");
    expect(list.map((one) => one.say)).toEqual(["How long is she? Not known.", "How long is she? 3 metres is assumed."]);
  });
  it("types text key by key", () => {
    let text = "";
    for (const key of ["P", "l", "x", "Backspace", "Shift", "o"]) text = typedText(text, key);
    expect(text).toBe("Plo");
  });
});

describe("coverage", () => {
  it("says scale, edition, date and age", () => {
    expect(cellWords(CELL)).toEqual(["MADE5  1:12 000", "edition 3, update 2, issued 2019-05-01, 11 years old"]);
    expect(cellWords({ ...CELL, issued: "", age_days: null, update: 0 })[1]).toBe("edition 3, no date of issue");
  });
  it("draws the larger scale heavier", () => {
    expect(weight(5000)).toBeGreaterThan(weight(50000));
    expect(weight(50000)).toBeGreaterThan(weight(1000000) - 1e-9);
  });
  it("frames every cell and the boat", () => {
    expect(frameOf([], null, 400, 300)).toBeNull();
    const frame = frameOf([CELL], [-38.5, -127.5], 400, 300);
    if (frame === null) throw new Error("no frame");
    const x = (lon: number): number => (lon / 360 + 0.5 - frame.x0) / frame.perPx;
    for (const lon of [-128, -127, -127.5]) {
      expect(x(lon)).toBeGreaterThanOrEqual(0);
      expect(x(lon)).toBeLessThanOrEqual(400);
    }
  });
});

describe("the bow mark", () => {
  const bow: Bow = { state: "measuring", say: "", bias_deg: 1.8, sigma_deg: 0.2, seconds: 10, of_seconds: 25, offset_deg: 0, new_deg: null, before_deg: null, compass: null };
  it("says how sure it is, and how long it takes", () => {
    expect(sureWords(bow)).toBe("Measured +1.8 degrees, give or take 0.2 (one standard deviation), over 10 seconds. It takes 25.");
    expect(sureWords({ ...bow, bias_deg: null })).toBe("");
  });
  it("draws clockwise to the right, and holds to the dial's edge", () => {
    expect(onDial(0)[0]).toBeCloseTo(0);
    expect(onDial(2)[0]).toBeGreaterThan(0);
    expect(onDial(90)).toEqual(onDial(8));
  });
});
