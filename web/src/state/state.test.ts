import { describe, expect, it } from "vitest";
import { echoSentences, echoTitle, headline, isPresent, offerWords, shortReason, standingFaults, unanswered, urgencies, whatMatters } from "./say";
import { initial, keptSettings, reduce, DEFAULTS, type State } from "./store";
import { runOn } from "./smooth";
import type { Affairs, Alert, Echo, Fault, Reading } from "./types";

const affairs: Affairs = {
  radar_age_s: 0.1, reading_age_s: 0.5, notice: "", fraction: null, ended: null, paused: false, speed: 1, story_ms: null, silent_s: 0,
  loudspeaker: null, sight: "unsure", fog_s: null, screens: 1, links: [],
};

const echo: Echo = {
  id: 9, lat: -38, lon: -128, range_m: 778, bearing_deg: 24, relative_bearing_deg: 352, cog_deg: 215, sog_kn: 12, length_m: null, is: "vessel",
  confidence: 0.9, p_moving: 0.99, charted_as: null, ais: null, cpa_m: 140, tcpa_s: 245, cpa_sigma_m: 40, why: "It moved 120 m.",
};

const reading: Reading = {
  time: "2031-03-02T19:04:11.250Z", own: { lat: -38, lon: -128, cog_deg: 20, sog_kn: 8, heading_deg: 20 }, echoes: [echo], missing: [],
  hidden: null, seeing: [], seeing_line: null, stopping_m: 90,
  registration: { heading_bias_deg: null, east_m: null, north_m: null, sigma_m: null, agrees: null },
  speed: { advised_kn: 6, because: "" }, faults: [],
  calls: [], standing: [{ key: "echo 9", urgency: 4, say: "urgent", echo: 9 }, { key: "speed", urgency: 1, say: "mild", echo: null }], coasting: [], tails: {}, turn: 1,
};

function live(change: Partial<State> = {}): State {
  let state = reduce(initial(), { type: "open", at: 1000 });
  state = reduce(state, { type: "affairs", affairs, at: 1000 });
  state = reduce(state, { type: "reading", reading, at: 1000 });
  return { ...state, ...change };
}

describe("what matters", () => {
  it("says the most urgent call first", () => {
    expect(whatMatters(live(), 1100).map((s) => s.say)).toEqual(["urgent", "mild"]);
  });

  it("puts an old picture before every call", () => {
    expect(whatMatters(live(), 7100)[0]?.say).toMatch(/^No radar for 6 s/);
    expect(whatMatters(live(), 7100)[0]?.urgency).toBe(4);
  });

  it("withdraws calls that are themselves too old to be true", () => {
    const late = whatMatters(live(), 13_000);
    expect(late.some((s) => s.say === "urgent")).toBe(false);
    expect(isPresent(live(), 13_000)).toBe(false);
    expect(isPresent(live(), 1100)).toBe(true);
    // An age that nobody tells is no present.
    expect(isPresent(live({ affairs: { ...affairs, reading_age_s: null } }), 1100)).toBe(false);
  });

  it("says a lost link and how old the picture is, and nothing of the past", () => {
    const lost = reduce(live(), { type: "lost", at: 2000 });
    const said = whatMatters(lost, 9000);
    expect(said).toHaveLength(1);
    expect(said[0]?.say).toContain("8 s old");
    // A picture that was old already is as old as it is, not as the link.
    const older = reduce(live({ affairs: { ...affairs, radar_age_s: 20 } }), { type: "lost", at: 2000 });
    expect(whatMatters(older, 9000)[0]?.say).toContain("28 s old");
  });

  it("says after a reload that no helm answers, since when, and what to look for", () => {
    const never = reduce(initial(DEFAULTS, null), { type: "lost", at: 100 });
    expect(whatMatters(never, 200)[0]).toMatchObject({ urgency: 4 });
    expect(whatMatters(never, 200)[0]?.say).not.toContain("ago");
    const before = reduce(initial(DEFAULTS, -180_000), { type: "lost", at: 100 });
    expect(whatMatters(before, 0)[0]?.say).toMatch(/does not answer, last heard 3 min ago.*computer is on/);
    expect(whatMatters(initial(DEFAULTS, -180_000), 0)[0]?.say).toBe("Looking for the helm");
  });

  it("does not call a story that stands still old", () => {
    const still = live({ affairs: { ...affairs, paused: true } });
    expect(whatMatters(still, 60_000)[0]?.say).toBe("urgent");
  });

  it("says which link is lost", () => {
    const lost = live({ affairs: { ...affairs, links: [{ link: "udp://:8600", state: "lost", text: "udp://:8600: nothing heard" }] } });
    expect(whatMatters(lost, 1100)[0]?.say).toBe("udp://:8600: nothing heard");
  });

  it("never promises open water", () => {
    const quiet = live({ reading: { ...reading, calls: [] }, standing: [] });
    expect(whatMatters(quiet, 1100)[0]?.say).toBe("Nothing new to call. Keep looking out");
  });

  it("goes on saying a fault for as long as it stands", () => {
    const fault: Fault = { what: "heading", state: "silent", since: new Date(Date.parse(reading.time) - 70_000).toISOString() };
    const quiet = live({ reading: { ...reading, calls: [], faults: [fault] }, standing: [] });
    expect(whatMatters(quiet, 1100).map((s) => [s.urgency, s.say])).toEqual([[4, "The heading is not coming (1 min 10 s)"]]);
    // Once, while its call is still held.
    const call = { key: "fault heading silent", urgency: 4, say: "The heading is not coming.", more: "What rests on it is withdrawn.", echo: null };
    expect(whatMatters(live({ reading: quiet.reading, standing: [call] }), 1100).map((s) => s.say)).toEqual([`${call.say} ${call.more}`]);
    // Before what is less urgent, after nothing more urgent.
    const mild = { key: "speed", urgency: 1, say: "mild", echo: null };
    expect(whatMatters(live({ reading: quiet.reading, standing: [mild] }), 1100).map((s) => s.urgency)).toEqual([4, 1]);
  });

  it("gives each fault its urgency: what takes the picture or the place away is the highest", () => {
    const told = (["radar", "position", "heading", "clock", "chart", "ais", "depth"] as const).map((what) => {
      const fault: Fault = { what, state: "silent", since: reading.time };
      return standingFaults(live({ reading: { ...reading, calls: [], faults: [fault] }, standing: [] }))[0]?.urgency;
    });
    expect(told).toEqual([4, 4, 4, 3, 3, 2, 2]);
  });

  it("says that ranges are put right, unless a call says it", () => {
    const fault: Fault = { what: "radar", state: "disagrees", since: reading.time };
    const told = (standing: readonly { key: string; say: string }[]): readonly string[] =>
      standingFaults(live({ reading: { ...reading, calls: [], faults: [fault] }, standing: standing as never })).map((one) => one.say);
    expect(told([])).toEqual(["True ranges are not what the radar tells; put right here"]);
    expect(told([{ key: "fault radar disagrees", say: "True ranges are 2 times what the radar tells; put right here." }])).toEqual([]);
  });

  it("says that radar and chart carry the position on", () => {
    const fault: Fault = { what: "position", state: "silent", since: reading.time };
    const carried = { ...reading, calls: [], faults: [fault], own: { ...reading.own, position_from: "radar and chart" as const } };
    expect(whatMatters(live({ reading: carried, standing: [] }), 1100)[0]?.say).toBe(
      "Own position is not coming: radar and chart carry it on",
    );
  });

  it("says that a radar never seen is not there, by its notice", () => {
    const before = { ...live(), reading: null, affairs: { ...affairs, radar_age_s: null, notice: "the radar is warming" } };
    expect(whatMatters(before, 1100)[0]?.say).toBe("The radar is warming");
  });
});

describe("the smallest changes", () => {
  const change = (turn_deg: number) => ({
    turn_deg, course_deg: 30, speed_kn: 8, closest_m: 500, closest_id: 9, say: "", is_slight: Math.abs(turn_deg) < 30,
  });
  const with_ = (turn_deg: number) =>
    live({
      reading: { ...reading, manoeuvres: { keep_off_m: 463, for: [9], turn: change(turn_deg), slow: null, say: "" } },
      standing: [{ key: "echo 9", urgency: 4, say: "urgent", echo: 9 }],
    });

  it("remind of Rule 8 where a turn would hardly be noticed", () => {
    expect(offerWords(with_(10))).toBe("Clears: 10° to starboard, course 030. Rule 8: turn far enough to be noticed");
    expect(offerWords(with_(-40))).toBe("Clears: 40° to port, course 030");
  });

  it("are not offered for a call about something else", () => {
    expect(offerWords({ ...with_(10), standing: [{ key: "echo 4", urgency: 4, say: "urgent", echo: 4 }] })).toBe("");
  });
});

describe("the one order", () => {
  const order = { do: "turn" as const, to_deg: 165, to_kn: null, say: "TURN STARBOARD 40° to 165", because: "Vessel, port bow." };
  const withOrder = (change = {}) =>
    live({ reading: { ...reading, instruction: { ...order, ...change } }, standing: [{ key: "echo 9", urgency: 4, say: "Turn starboard", echo: 9 }] });

  it("stands first, live, and what was said of the same is not shown beside it", () => {
    const said = whatMatters(withOrder(), 0);
    expect(said.map((s) => s.say)).toEqual(["TURN STARBOARD 40° to 165. Vessel, port bow."]);
    expect(said[0]?.urgency).toBe(3);
  });

  it("shouts whom it is about, though no call of it stands any more", () => {
    const quiet = { ...withOrder({ echo: 4 }), standing: [] };
    expect(urgencies(quiet).get(4)).toBe(3);
    expect(urgencies({ ...withOrder({ do: "hold", echo: 4 }), standing: [] }).get(4)).toBe(2);
  });

  it("to turn has the other way to the same end beside it, and never a second turn", () => {
    const slow = (speed_kn: number) => ({ turn_deg: 0, course_deg: 20, speed_kn, closest_m: 500, closest_id: 9, say: "", is_slight: false });
    const turn = { turn_deg: 60, course_deg: 80, speed_kn: 8, closest_m: 500, closest_id: 9, say: "", is_slight: false };
    const words = (speed_kn: number): string => {
      const state = withOrder();
      return offerWords({ ...state, reading: { ...(state.reading as Reading), manoeuvres: { keep_off_m: 463, for: [9], turn, slow: slow(speed_kn), say: "" } } });
    };
    expect(words(3.2)).toBe("Or slow to 3.2 knots");
    expect(words(0)).toBe("Or stop");
  });

  it("to hold is not shouted, and nothing is offered beside it", () => {
    const hold = withOrder({ do: "hold", say: "HOLD 120" });
    expect(whatMatters(hold, 0)[0]?.urgency).toBe(2);
    expect(offerWords(hold)).toBe("");
  });
});

describe("the reducer", () => {
  it("lets go of an echo that is gone", () => {
    const touched = reduce(live(), { type: "touch", echo: 9 });
    expect(touched.touched).toBe(9);
    expect(reduce(touched, { type: "reading", reading: { ...reading, echoes: [] }, at: 2 }).touched).toBeNull();
  });

  it("drops the reading when the helm has none any more", () => {
    expect(reduce(live(), { type: "affairs", affairs: { ...affairs, reading_age_s: null }, at: 2 }).reading).toBeNull();
  });

  it("keeps settings, and survives what it cannot read", () => {
    expect(keptSettings({ getItem: () => "{" })).toEqual(DEFAULTS);
    expect(keptSettings({ getItem: () => '{"rangeIndex": 999}' }).rangeIndex).toBeLessThan(30);
    expect(keptSettings({ getItem: () => '{"dim": 0.4}' }).dim).toBe(0.4);
  });
});

describe("calls", () => {
  it("stand as long as the reading says", () => {
    expect(live().standing.map((c) => c.say)).toEqual(["urgent", "mild"]);
    expect(reduce(live(), { type: "reading", reading: { ...reading, standing: [] }, at: 2000 }).standing).toEqual([]);
  });
  it("go when heard", () => {
    expect(reduce(live(), { type: "acknowledged", key: "echo 9" }).standing.map((c) => c.say)).toEqual(["mild"]);
  });
  it("large in their first sentence only", () => {
    expect(headline("A boat, 0.4 mile, comes near. Rule 15: Keep out of the way.")).toEqual([
      "A boat, 0.4 mile, comes near.", "Rule 15: Keep out of the way.",
    ]);
    expect(headline("Stop")).toEqual(["Stop", ""]);
  });
});

describe("an echo speaks", () => {
  it("says what, where, how it moves, how near and why", () => {
    expect(echoTitle(echo)).toBe("A boat");
    const said = echoSentences(echo, "nm").join(" ");
    expect(said).toContain("4.2 cables off, fine on the port bow, bearing 024°.");
    expect(said).toContain("Making 215° at 12 kn");
    expect(said).toContain("No AIS.");
    expect(said).toContain("Closest 0.8 cable give or take 0.2 cable in 4 min");
    expect(said).toContain("Fairly sure: it moved 120 m.");
  });

  it("is called what it is, and a vessel by the name that she tells", () => {
    const title = (is: Echo["is"], more: Partial<Echo> = {}): string => echoTitle({ ...echo, is, ...more });
    expect(title("vessel", { ais: { mmsi: 1, name: "MADE TENDER" } })).toBe("MADE TENDER");
    expect(title("uncharted")).toContain("Not charted");
    expect([title("shore"), title("bridge"), title("clutter"), title("false")]).toEqual(["Shore", "Bridge", "Sea or rain", "A false echo"]);
    const past = echoSentences({ ...echo, tcpa_s: -5, ais: { mmsi: 1, name: null } }, "nm").join(" ");
    expect(past).toContain("Drawing away.");
    expect(past).not.toContain("No AIS");
  });

  it("does not invent what is not known", () => {
    const said = echoSentences({ ...echo, relative_bearing_deg: null, cog_deg: null, cpa_m: null, tcpa_s: null }, "nm").join(" ");
    expect(said).not.toMatch(/null|NaN|undefined|Closest/);
  });
});

describe("what asks for an answer", () => {
  it("is an alarm or a warning that nobody has answered", () => {
    // IMO MSC.302(87): a caution asks for no acknowledgement, and what is acknowledged asks no more.
    const alert = (urgency: number, state: Alert["state"]): Alert => ({ key: `${urgency} ${state}`, urgency, state, say: "", escalated: false }) as unknown as Alert;
    const all = [4, 3, 2].flatMap((urgency) => (["unacknowledged", "acknowledged", "rectified"] as const).map((one) => alert(urgency, one)));
    const state = live({ reading: { ...reading, alerts: all } });
    expect(unanswered(state).map((one) => one.key)).toEqual(["4 unacknowledged", "3 unacknowledged"]);
  });
});

describe("where the boat is between two words of her place", () => {
  const pose = { latDeg: 60, lonDeg: 20, headingDeg: 0, cogDeg: 90, sogKn: 36, ageS: 0 };
  it("she runs on by course and speed", () => {
    // 36 knots are 18.52 m/s: a hundredth of a mile a second. A mile is a minute of latitude, and at 60° two of longitude.
    const east = runOn(pose, 2);
    expect(east.latDeg).toBeCloseTo(60, 6);
    expect((east.lonDeg - 20) * 60).toBeCloseTo(0.04, 3);
    const north = runOn({ ...pose, cogDeg: 0 }, 2);
    expect((north.latDeg - 60) * 60).toBeCloseTo(0.02, 3);
    expect(north.lonDeg).toBeCloseTo(20, 9);
    expect(runOn(pose, 0).lonDeg).toBeCloseTo(20, 9);
  });
  it("but not for long: where she is then is not known, and no course is no way", () => {
    expect(runOn(pose, 60)).toEqual(runOn(pose, 3));
    expect(runOn({ ...pose, cogDeg: Number.NaN }, 2)).toEqual({ latDeg: 60, lonDeg: 20 });
  });
});

describe("why, in a few words", () => {
  it("ends before the rule, whole", () => {
    const who = "Vessel, port bow, half a cable, nearest under half a cable in 10 seconds.";
    expect(shortReason(`${who} Keep to the starboard side of the channel (Rule 9(a)). Rule 14: Turn.`)).toBe(`${who} Keep to the starboard side of the channel.`);
    expect(shortReason(`${who} Rule 15: Keep out of the way.`)).toBe(who);
    expect(shortReason("Rule 6: A safe speed.")).toBe("Rule 6: A safe speed.");
  });
});
