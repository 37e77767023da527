/** Wiring only. */
import "@fontsource-variable/atkinson-hyperlegible-next/wght.css";
import "./look/sheet.css";
import "./tools/tools.css";
import { sunAltitudeDeg } from "./geo/sun";
import { RANGES_NM, sayDistance } from "./geo/units";
import { lookBySun, paint } from "./look/table";
import type { ChartMap } from "./map/map";
import { Card } from "./panels/card";
import { byId, make, setText } from "./panels/dom";
import { Fan } from "./panels/fan";
import { fanPages, keyTable } from "./panels/controls";
import { Foot } from "./panels/foot";
import { keySheet, listenKeys } from "./panels/keys";
import { Lock } from "./panels/lock";
import { PlanSheet } from "./panels/plan";
import { Voice } from "./panels/voice";
import { Screen } from "./screen";
import { SetupDoor } from "./setup/door";
import { Tools } from "./tools/all";
import { safetyDepthM } from "./state/depth";
import { whatMatters } from "./state/say";
import { keepSettings, keptSettings, Store, BOAT_UNKNOWN } from "./state/store";
import type { ChartData, ChartPlace, Trial } from "./state/types";
import type { Control } from "./wire/frame";
import type { Touch } from "./tools/tool";
import { Link } from "./wire/link";
import { keepOffline } from "./keep";
import { keepAwake } from "./wake";

const store = new Store(keptSettings(window.localStorage));
const foot = new Foot(byId("foot"));
const word = make("p", "", { id: "word" });
const scanCanvas = byId("scan") as HTMLCanvasElement;
const inkCanvas = byId("ink") as HTMLCanvasElement;
const screen = new Screen(store, foot, byId("chart"), scanCanvas, inkCanvas);
const voice = new Voice(window.speechSynthesis as SpeechSynthesis | undefined);
const veil = byId("veil");
let chartMap: ChartMap | undefined;
let chartUrl: string | null = null;

const link = new Link({
  open: () => {
    store.send({ type: "open", at: performance.now() });
    tools.again();
  },
  closed: () => store.send({ type: "lost", at: performance.now() }),
  refused: (why) => store.send({ type: "refused", why }),
  frame: (frame) => {
    const at = performance.now();
    switch (frame.kind) {
      case "hello":
        store.send({ type: "hello", hello: frame.body });
        break;
      case "status": {
        const { answer, ...affairs } = frame.body;
        if (answer !== undefined) store.send({ type: "answer", line: answer, at });
        else if (store.state.affairs !== null || affairs.notice !== undefined) {
          store.send({ type: "affairs", affairs: affairs as NonNullable<typeof store.state.affairs>, at });
        }
        break;
      }
      case "pose":
        store.send({ type: "pose", pose: frame.body, at });
        break;
      case "reading":
        store.send({ type: "reading", reading: frame.body, at });
        break;
      case "trial":
        store.send({ type: "trial", trial: "say" in frame.body ? (frame.body as Trial) : null });
        tools.refresh();
        break;
      case "reply":
        tools.take(frame.body);
        break;
      case "heard":
        setup.heard(frame.body);
        break;
      case "fan":
        setup.fan(frame.body);
        break;
      case "call":
        voice.take(frame.body, store.state.settings.voice, (store.state.affairs?.silent_s ?? 0) > 0);
        break;
      case "chart":
        void fetchChart(frame.body);
        break;
      case "spokes":
        screen.scan.update(frame.body, at / 1000);
        screen.pendingUnixMs = frame.body.receivedUnixMs;
        store.send({ type: "heard", at });
        break;
    }
  },
});

async function fetchChart(place: ChartPlace): Promise<void> {
  if (place.url === chartUrl) return;
  chartUrl = place.url;
  if (place.url === null) {
    store.send({ type: "chart", chart: null });
    return;
  }
  try {
    const response = await fetch(place.url);
    if (!response.ok) throw new Error(`${response.status}`);
    const chart = (await response.json()) as ChartData;
    if (place.url === chartUrl) store.send({ type: "chart", chart });
  } catch (problem) {
    chartUrl = null;
    console.warn("chart not read:", problem);
  }
}

const planSheet = new PlanSheet((ms) => localTime(new Date(ms).toISOString(), store.state.hello?.boat.local_time_zone ?? "UTC"));
document.body.append(planSheet.element);
const toolWords = make("p", "", { id: "tool", role: "status" });
const head = make("div", "", { id: "head" });
head.append(word, toolWords);
byId("sheet").after(head);
const tools = new Tools(store, screen, (control) => link.ask(control), () => localTime(storyNow(), store.state.hello?.boat.local_time_zone ?? "UTC"));
const box = tools.box(() => fan, toolWords);
const setup = new SetupDoor(store, (control) => link.ask(control));
const reach = { store, screen, voice, ask: (control: Control) => link.ask(control), keys: () => showKeys(true), plan: () => showPlan(!planSheet.isShown), routes: () => tools.list(), box, tools, setup };
const fan: Fan = new Fan(byId("fan"), fanPages(reach));
fan.onPress = () => box.touched();
const card = new Card(byId("card"), store, (control) => link.ask(control));
const lockBox = make("div", "", { id: "lock" });
document.body.append(lockBox);
const lock = new Lock(lockBox, () => store.send({ type: "lock", locked: false }));
const keys = keyTable(reach, fan);
const sheetOfKeys = keySheet(keys, () => showKeys(false));
document.body.append(sheetOfKeys);
listenKeys(keys, { isLocked: () => store.state.locked, tool: (key, isFine) => box.key(key, isFine) });

function showKeys(shown: boolean): void {
  sheetOfKeys.hidden = !shown;
  if (shown) sheetOfKeys.querySelector("button")?.focus();
}

function showPlan(shown: boolean): void {
  planSheet.show(shown);
  planSheet.refresh(store.state.reading?.plan, (store.state.hello?.boat ?? BOAT_UNKNOWN).distance_unit);
}

/** When it is in the story, or now. */
function storyNow(): string {
  return store.state.reading?.time ?? new Date().toISOString();
}

function touchOf(event: PointerEvent): Touch | null {
  const place = screen.placeAt(event.clientX, event.clientY);
  return place === null ? null : { x: event.clientX, y: event.clientY, place };
}

byId("sheet").addEventListener("pointermove", (event) => {
  const touch = event.isPrimary && box.now !== null && !store.state.locked ? touchOf(event) : null;
  if (touch !== null) box.move(touch);
});
for (const end of ["pointerup", "pointercancel"] as const) {
  byId("sheet").addEventListener(end, (event) => {
    const touch = event.isPrimary && box.now !== null && !store.state.locked ? touchOf(event) : null;
    if (touch !== null) box.up(touch);
  });
}
byId("sheet").addEventListener("pointerdown", (event) => {
  if (store.state.locked || !event.isPrimary) return;
  keepAwake();
  if (box.now !== null) {
    const touch = touchOf(event);
    if (touch === null) return;
    byId("sheet").setPointerCapture(event.pointerId);
    box.down(touch);
    return;
  }
  const echo = screen.echoAt(event.clientX, event.clientY);
  if (fan.isOpen) fan.close();
  store.send({ type: "touch", echo });
});
byId("sheet").addEventListener(
  "wheel",
  (event) => {
    event.preventDefault();
    if (store.state.locked || Math.abs(event.deltaY) < 4) return;
    const index = store.state.settings.rangeIndex + Math.sign(event.deltaY);
    store.send({ type: "set", change: { rangeIndex: Math.min(Math.max(index, 0), RANGES_NM.length - 1) } });
  },
  { passive: false },
);

function chooseLook(): void {
  const { settings, reading, pose } = store.state;
  const storyMs = reading === null ? null : Date.parse(reading.time);
  const look =
    settings.look ?? (storyMs === null || pose === null || Number.isNaN(pose.latDeg) ? "night" : lookBySun(sunAltitudeDeg(storyMs, pose.latDeg, pose.lonDeg)));
  if (look === screen.look && document.documentElement.dataset["look"] !== undefined) return;
  screen.look = look;
  paint(look);
  chartMap?.paint(screen.inks, safetyDepthM(store.state));
  screen.isDirty = true;
}

function localTime(iso: string, zone: string): string {
  try {
    return new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone }).format(new Date(iso));
  } catch {
    // A zone this browser does not know.
    return `${iso.slice(11, 16)} UTC`;
  }
}

function sayWord(): void {
  const { settings, hello, affairs, chart, answer, answerAt, reading } = store.state;
  const unit = (hello?.boat ?? BOAT_UNKNOWN).distance_unit;
  const up = { head: "Head up", course: "Course up", north: "North up" }[settings.up];
  const parts = [`${up}, ${sayDistance((RANGES_NM[settings.rangeIndex] ?? 1) * 1852, unit)}`];
  if (reading !== null) parts.push(localTime(reading.time, hello?.boat.local_time_zone ?? "UTC"));
  if (affairs?.paused === true) parts.push("the story stands still");
  else if (affairs !== null && affairs.speed !== 1) parts.push(`${affairs.speed} times as fast as life`);
  if (affairs?.fog_s != null) parts.push(`fog signal in ${affairs.fog_s} s`);
  if (hello?.source === "demo") {
    parts.push("made waters, made radar: not for navigation");
    // The first minutes of someone who has never seen it.
    if (performance.now() < 180_000 && window.innerWidth >= 700) parts.push("touch an echo to ask what it is", "? for keys");
  }
  else if (chart?.cells.some((cell) => cell.not_for_navigation) === true) parts.push("chart copies: not for navigation");
  if (chart === null) parts.push("no chart");
  for (const line of affairs?.without ?? []) parts.push(line);
  const assumed = hello?.boat.assumed ?? [];
  if (assumed.length > 0) parts.push(`${assumed.map((name) => name.replace(/_m$/, "").replace("_", " ")).join(", ")} assumed`);
  if (!screen.scan.works) parts.push("this browser cannot draw radar (no WebGL 2)");
  if (settings.voice && !voice.isThere) parts.push("this browser has no voice");
  // The open fan may lie over the sentence: what is urgent is then said up here.
  const urgent = fan.isOpen && !fan.isHeld ? whatMatters(store.state, performance.now())[0] : undefined;
  if (urgent !== undefined && urgent.urgency >= 3) parts.unshift(urgent.say);
  const line = performance.now() - answerAt < 5000 && answer !== null ? `${parts.join(" · ")} · ${answer}` : parts.join(" · ");
  setText(word, line);
}

store.listen((state, before) => {
  screen.isDirty = screen.isDirty || state.settings !== before.settings || state.reading !== before.reading || state.touched !== before.touched || state.link !== before.link || state.standing !== before.standing || state.trial !== before.trial;
  if (state.settings !== before.settings) {
    keepSettings(window.localStorage, state.settings);
    veil.style.opacity = String(state.settings.dim);
  }
  if (state.chart !== before.chart) {
    chartMap?.show(state.chart);
    screen.isDirty = true;
  }
  if (state.hello !== before.hello || state.affairs?.tide_m !== before.affairs?.tide_m) chartMap?.paint(screen.inks, safetyDepthM(state));
  // What was asked while the link was lost did not come.
  if (state.link === "open" && before.link === "lost") chartMap?.again();
  if (state.locked !== before.locked) lock.show(state.locked);
  if (state.affairs !== null && before.affairs !== null && state.affairs.reading_age_s === null && before.affairs.reading_age_s !== null) screen.scan.forget();
  if (state.reading !== before.reading || state.touched !== before.touched) card.show();
  foot.element.style.visibility = state.touched === null ? "visible" : "hidden";
  if (state.settings !== before.settings || state.hello !== before.hello) fan.setHand(state.settings.hand ?? state.hello?.boat.free_hand ?? "right");
  if (state.settings !== before.settings || state.reading !== before.reading) chooseLook();
  planSheet.refresh(state.reading?.plan, (state.hello?.boat ?? BOAT_UNKNOWN).distance_unit);
  sayWord();
  fan.refresh();
});

chooseLook();
veil.style.opacity = String(store.state.settings.dim);
fan.setHand(store.state.settings.hand ?? "right");
sayWord();
screen.start();
link.connect(new URL("live", document.baseURI.replace(/^http/, "ws")).href);

// The map library is the largest piece: radar and words are on the sheet before it has come.
void import("./map/map").then(({ ChartMap: Ctor }) => {
  chartMap = new Ctor(byId("chart"), screen.inks, () => (screen.isDirty = true));
  chartMap.paint(screen.inks, safetyDepthM(store.state));
  chartMap.show(store.state.chart);
  screen.chart = chartMap;
});

keepOffline();

/** For tests and the benchmark: what this screen measured of itself. */
Object.assign(window, { moonless: { store, screen, box, tools, setup } });
