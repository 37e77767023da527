/** Plain sentences made from what is held: pure, so that each can be tested. */
import { threeFigures, whereabouts } from "../geo/angles";
import { inOneSystem, sayDistance, sayKnots, sayTime, type DistanceUnit } from "../geo/units";
import { byCompass } from "./compass";
import type { Alert, CallNow, Echo, Instruction, Manoeuvres, Missing } from "./types";
import type { State } from "./store";

/** S-57 object classes in a skipper's words: the words of chart/s57/names.py, and held to them by a test there. */
const OBJECT: Readonly<Record<string, string>> = {
  BOYLAT: "lateral buoy",
  BOYCAR: "cardinal buoy",
  BOYISD: "isolated danger buoy",
  BOYSAW: "safe water buoy",
  BOYSPP: "special buoy",
  BOYINB: "installation buoy",
  BCNLAT: "lateral beacon",
  BCNCAR: "cardinal beacon",
  BCNISD: "isolated danger beacon",
  BCNSAW: "safe water beacon",
  BCNSPP: "special beacon",
  LIGHTS: "light",
  LITFLT: "light float",
  LITVES: "light vessel",
  LNDMRK: "landmark",
  PILPNT: "pile",
  WRECKS: "wreck",
  UWTROC: "rock",
  OBSTRN: "obstruction",
  OFSPLF: "platform",
  MORFAC: "mooring",
  MARCUL: "marine farm",
  FSHFAC: "fishing stakes",
  BRIDGE: "bridge",
  SLCONS: "shore works",
  PONTON: "pontoon",
  DAYMAR: "daymark",
  LNDARE: "land",
};

export function objectWord(object: string): string {
  return OBJECT[object] ?? "charted thing";
}

/** What an echo is, in a few words. */
export function echoTitle(echo: Echo): string {
  switch (echo.is) {
    case "vessel":
      return echo.ais?.name ?? "A boat";
    case "charted":
      return echo.charted_as?.name ?? capital(echo.charted_as === null ? "charted thing" : objectWord(echo.charted_as.object));
    case "bridge":
      return echo.charted_as?.name ?? "Bridge";
    case "shore":
      return "Shore";
    case "uncharted":
      return "Not charted, lying still";
    case "clutter":
      return "Sea or rain";
    case "false":
      return "A false echo";
  }
}

function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

export function sureness(confidence: number): string {
  if (confidence >= 0.95) return "sure";
  if (confidence >= 0.8) return "fairly sure";
  if (confidence >= 0.6) return "likely";
  return "a guess";
}

/** The card's sentences: where, how it moves, how near it will come, what says so. */
export function echoSentences(echo: Echo, unit: DistanceUnit): string[] {
  const lines: string[] = [];
  const where = echo.relative_bearing_deg === null ? "" : `, ${whereabouts(echo.relative_bearing_deg)}`;
  lines.push(`${sayDistance(echo.range_m, unit)} off${where}, bearing ${threeFigures(echo.bearing_deg)}°.`);
  if (echo.is === "vessel") {
    lines.push(
      echo.cog_deg === null || echo.sog_kn < 0.3
        ? "Hardly moving."
        : `Making ${threeFigures(echo.cog_deg)}° at ${sayKnots(echo.sog_kn)} kn over the ground.`,
    );
    if (echo.ais === null) lines.push("No AIS.");
  }
  if (echo.cpa_m !== null && echo.tcpa_s !== null) {
    lines.push(
      echo.tcpa_s <= 0
        ? "Drawing away."
        : `Closest ${sayDistance(echo.cpa_m, unit)}${
            echo.cpa_sigma_m === null ? "" : ` give or take ${sayDistance(echo.cpa_sigma_m, unit)}`
          } in ${sayTime(echo.tcpa_s)}.`,
    );
  }
  if (echo.charted_as !== null && echo.is !== "vessel") {
    lines.push(
      `Charted in ${echo.charted_as.cell} as ${objectWord(echo.charted_as.object)}, ${Math.round(echo.charted_as.offset_m)} m from where it shows.`,
    );
  }
  lines.push(`${capital(sureness(echo.confidence))}: ${lowerFirst(echo.why)}`);
  return lines;
}

function lowerFirst(text: string): string {
  // Only words that begin a sentence by habit: a name keeps its capital.
  return /^(It|The|A|An|This|That|No|Not|Seen|Nothing|Moves|Moved|Stands|Still)\b/.test(text) ? text.charAt(0).toLowerCase() + text.slice(1) : text;
}

export function missingTitle(mark: Missing): string {
  return `${mark.name ?? capital(objectWord(mark.object))} should be here and is not seen`;
}

/** The picture is old after this; two turns of a slow antenna. */
export const OLD_S = 5;

/** How old the radar picture is now, by the helm's word and the time since it spoke; null: never had one. */
export function radarAgeS(state: State, nowMs: number): number | null {
  const age = state.affairs?.radar_age_s;
  if (age === null || age === undefined) return null;
  return age + (nowMs - state.affairsAt) / 1000;
}

export interface Said {
  readonly urgency: number;
  readonly say: string;
  readonly echo: number | null;
  /** True when the words are this page's own, not the reading's. */
  readonly own: boolean;
}

const FAULT: Readonly<Record<string, readonly [string, number]>> = {
  radar: ["The radar picture", 4],
  position: ["Own position", 4],
  heading: ["The heading", 4],
  clock: ["The clock", 3],
  chart: ["The chart", 3],
  ais: ["AIS", 2],
  depth: ["The sounder", 2],
};
const FAULT_STATE: Readonly<Record<string, string>> = {
  silent: "is not coming",
  frozen: "is frozen",
  stale: "is old",
  jumped: "has jumped",
  damaged: "is damaged",
  disagrees: "does not agree with the rest",
  deaf: "shows no echo of anything, not even the sea",
  late: "comes late: the computer cannot keep up",
};

/**
 * The faults that stand, in words: the reading calls a fault once and again after minutes, and what it takes away is gone all the while.
 * Left out: one that a call still says.
 */
export function standingFaults(state: State): { readonly urgency: number; readonly say: string }[] {
  const reading = state.reading;
  if (reading === null) return [];
  const out = [];
  for (const fault of reading.faults) {
    const ranges = fault.what === "radar" && fault.state === "disagrees"; // they are put right, nothing is withdrawn
    const [what, urgency] = ranges ? ["True ranges", 3] as const : FAULT[fault.what] ?? [capital(fault.what), 3];
    const say = ranges ? "True ranges are not what the radar tells; put right here" : `${what} ${FAULT_STATE[fault.state] ?? fault.state}`;
    if (state.standing.some((call) => call.key === `fault ${fault.what} ${fault.state}`)) continue;
    const isCarried = fault.what === "position" && reading.own.position_from === "radar and chart";
    const lastS = (Date.parse(reading.time) - Date.parse(fault.since)) / 1000;
    const since = Number.isFinite(lastS) && lastS >= 1 ? ` (${sayTime(lastS)})` : "";
    out.push({ urgency: isCarried ? 2 : urgency, say: say + since + (isCarried ? ": radar and chart carry it on" : "") });
  }
  return out;
}

/** What to say at the foot now, most urgent first; never empty. Losing the link or the picture comes before all. */
export function whatMatters(state: State, nowMs: number): Said[] {
  const own = (urgency: number, say: string): Said => ({ urgency, say, echo: null, own: true });
  if (state.refused !== null) return [own(4, capital(state.refused))];
  const age = radarAgeS(state, nowMs);
  if (state.link !== "open") {
    if (state.heardAt === null) {
      if (state.link === "waiting") return [own(1, "Looking for the helm")];
      const ago = state.heardBefore === null ? "" : `, last heard ${sayTime((nowMs - state.heardBefore) / 1000)} ago`;
      return [own(4, `The helm does not answer${ago}. Nothing here is the present: see that its computer is on and this screen on its network`)];
    }
    const gone = Math.round((nowMs - state.heardAt) / 1000);
    return [own(4, `The link to the helm is lost: what you see is ${sayTime(Math.max(gone, age ?? 0))} old`)];
  }
  const affairs = state.affairs;
  if (affairs === null) return [own(1, "Waiting for the helm")];
  if (affairs.ended !== null) return [own(4, capital(affairs.ended))];
  const said: Said[] = [];
  if (!affairs.paused && age !== null && age > OLD_S) said.push(own(4, `No radar for ${sayTime(age)}: this picture is old`));
  // A link that is gone is told of at once; what it takes away is the reading's to say.
  for (const link of affairs.links) if (link.state === "lost") said.push(own(3, link.text));
  if (state.reading === null) {
    said.push(own(1, affairs.notice === "" ? "Waiting for the first reading" : capital(affairs.notice)));
    return said;
  }
  const readingAge = (affairs.reading_age_s ?? 0) + (nowMs - state.affairsAt) / 1000;
  if (!affairs.paused && readingAge > 2 * OLD_S) {
    said.push(own(4, `Nothing has been read for ${sayTime(readingAge)}`));
    return said;
  }
  const hasNoRadar = said.some((words) => words.say.startsWith("No radar"));
  const faults = standingFaults(state).filter((fault) => !(hasNoRadar && fault.say.startsWith("The radar picture")));
  // The order is of this turn, and speech is past: while one stands, calls of what is met are not shown beside it.
  const order = state.reading.instruction ?? null;
  const calls = order === null ? state.standing : state.standing.filter((call) => call.echo === null && !isOfWay(call.key));
  if (order !== null) said.push({ urgency: orderUrgency(order), say: `${order.say}. ${steer(state, order)}${order.because}`, echo: order.echo ?? null, own: false });
  const told = [...calls.map(ofCall), ...faults.map((fault) => own(fault.urgency, fault.say))];
  said.push(...told.sort((a, b) => b.urgency - a.urgency));
  // Empty is not clear: what was called may still stand, and the words do not promise open water.
  if (said.length === 0) said.push(own(1, "Nothing new to call. Keep looking out"));
  return said;
}

/** The echo that the words at the foot are about; null: none. */
export function calledEcho(state: State): number | null {
  const order = state.reading?.instruction ?? null;
  if (order !== null) return order.echo ?? null;
  const first = state.standing[0];
  return first !== undefined && first.urgency >= 2 ? first.echo : null;
}

const ACTS: ReadonlySet<string> = new Set(["turn", "slow", "stop"]);

/** How urgent each echo is that is spoken of: by the order of this turn, and by the calls whose words stand. */
export function urgencies(state: State): Map<number, number> {
  const urgency = new Map<number, number>();
  for (const call of state.standing) if (call.echo !== null) urgency.set(call.echo, Math.max(urgency.get(call.echo) ?? 0, call.urgency));
  const order = state.reading?.instruction ?? null;
  // The order is of this turn; what was said of another may be past by now, but never louder than what is asked.
  if (order?.echo != null) urgency.set(order.echo, Math.max(urgency.get(order.echo) ?? 0, orderUrgency(order)));
  return urgency;
}

/** "179° compass. ": what the compass at the wheel is to show for the order's true course; "" where there is none. */
function steer(state: State, order: Instruction): string {
  const shown = byCompass(state.reading, order.to_deg ?? undefined);
  return shown === "" ? "" : `${shown}. `;
}

/** An order to act stands above what is only known; the tone and the shout are the call's, which comes once. */
function orderUrgency(order: Instruction): number {
  return ACTS.has(order.do) ? 3 : 2;
}

/** Whether a call is of the way ahead or of speed, which an order speaks of too. */
function isOfWay(key: string | undefined): boolean {
  return key !== undefined && /^(danger |speed|opening )/.test(key);
}

/** The smallest changes that keep all off, while the call that matters most is one of those they are for; else null. */
export function offered(state: State): Manoeuvres | null {
  const offers = state.reading?.manoeuvres ?? null;
  const first = state.standing[0];
  if (offers === null || first === undefined || first.urgency < 3 || first.echo === null) return null;
  return offers.for.includes(first.echo) ? offers : null;
}

/** "Clears: 25° to starboard, course 140, or slow to 6 knots", or that neither does; "" with nothing to offer. */
export function offerWords(state: State): string {
  const order = state.reading?.instruction ?? null;
  if (order !== null) {
    // Only the other way to the same end: never a second turn beside the order's.
    const slow = order.do === "turn" ? (state.reading?.manoeuvres?.slow ?? null) : null;
    return slow === null ? "" : slow.speed_kn < 0.5 ? "Or stop" : `Or slow to ${sayKnots(slow.speed_kn)} knots`;
  }
  const offers = offered(state);
  if (offers === null) return "";
  const ways: string[] = [];
  if (offers.turn !== null) {
    const deg = Math.round(offers.turn.turn_deg);
    ways.push(`${Math.abs(deg)}° to ${deg < 0 ? "port" : "starboard"}, course ${threeFigures(offers.turn.course_deg)}`);
  }
  if (offers.slow !== null) ways.push(offers.slow.speed_kn < 0.5 ? "stop" : `slow to ${sayKnots(offers.slow.speed_kn)} knots`);
  if (ways.length === 0) return offers.say;
  return `Clears: ${ways.join(", or ")}${offers.turn?.is_slight === true ? ". Rule 8: turn far enough to be noticed" : ""}`;
}

/** The next thing on the plan, "" when there is none or the boat is not on it. */
export function nextOnPlan(state: State): string {
  const next = state.reading?.plan?.now?.coming[0];
  return next === undefined ? "" : `${capital(inOneSystem(next.say, state.hello?.boat.distance_unit ?? "nm"))}.`;
}

/** Alarms and warnings that nobody has answered, the most urgent first; a caution asks for no answer. */
export function unanswered(state: State): readonly Alert[] {
  return (state.reading?.alerts ?? []).filter((alert) => alert.state === "unacknowledged" && alert.urgency >= 3);
}

/** Why, in a few words: what stands before the rule, which is told on touch. */
export function shortReason(reason: string): string {
  const [before] = reason.split(/\s*\(?\bRule \d/);
  const said = before?.trim() ?? "";
  return said === "" ? reason : /[.!?]$/.test(said) ? said : `${said}.`;
}

/** A call's first sentence, which is said large, and the rest of it. */
export function headline(say: string): [string, string] {
  const found = /^(.+?[^\s.]\.)\s+(\S.*)$/s.exec(say);
  return found?.[1] === undefined || found[2] === undefined ? [say, ""] : [found[1], found[2]];
}

function ofCall(call: CallNow): Said {
  return { urgency: call.urgency, say: call.more === undefined || call.more === "" ? call.say : `${call.say} ${call.more}`, echo: call.echo, own: false };
}

/** True while what was read may be drawn as the present. */
export function isPresent(state: State, nowMs: number): boolean {
  if (state.link !== "open" || state.affairs === null) return false;
  if (state.affairs.paused) return true;
  return (state.affairs.reading_age_s ?? Infinity) + (nowMs - state.affairsAt) / 1000 <= 2 * OLD_S;
}
