/** Wiring only. */
import "@fontsource-variable/atkinson-hyperlegible-next/wght.css";
import "./look/sheet.css";
import "./tools/tools.css";
import { isSurelyDay, sunAltitudeDeg } from "./geo/sun";
import { RANGES_NM, shortDistance } from "./geo/units";
import { lay, layoutOf } from "./look/layout";
import { LOOKS, lookBySun, paint } from "./look/table";
import type { ChartMap } from "./map/map";
import { Band } from "./band/band";
import { Figures } from "./band/figures";
import { Card } from "./drawers/card";
import { Drawers } from "./drawers/drawers";
import { EchoList } from "./drawers/echoes";
import { FirstSheet } from "./drawers/first";
import { NowSheet } from "./drawers/now";
import { PlanSheet } from "./drawers/plan";
import { Bar } from "./panels/bar";
import { byId, make, setText } from "./panels/dom";
import { fiveControls, keyTable, listedControls, Doer } from "./panels/controls";
import { listenHands } from "./panels/hands";
import { keySheet, listenKeys } from "./panels/keys";
import { Tones } from "./panels/tones";
import { Lock } from "./panels/lock";
import { TimeBar } from "./panels/timebar";
import { Voice } from "./panels/voice";
import { Screen } from "./screen";
import { SetupDoor } from "./setup/door";
import { Tools } from "./tools/all";
import { safetyDepthM } from "./state/depth";
import { isPresent } from "./state/say";
import { heardBefore, keepHeard, keepSettings, keptSettings, Store, BOAT_UNKNOWN } from "./state/store";
import type { ChartData, ChartPlace, Trial } from "./state/types";
import type { Control } from "./wire/frame";
import type { Touch } from "./tools/tool";
import { Link } from "./wire/link";
import { keepOffline } from "./keep";
import { keepAwake } from "./wake";

const store = new Store(keptSettings(window.localStorage), heardBefore(window.localStorage));
const word = make("p", "", { id: "word" });
const also = make("ul", "", { id: "also", "aria-label": "Besides" });
const scanCanvas = byId("scan") as HTMLCanvasElement;
const inkCanvas = byId("ink") as HTMLCanvasElement;
const screen = new Screen(store, byId("sheet"), byId("chart"), scanCanvas, inkCanvas);
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

const drawers = new Drawers(
  () => (bar?.isHeld === true ? bar.held : null),
  () => {
    screen.isDrawerOpen = drawers.now !== null;
    screen.isDirty = true;
    layFree();
    showBeneath();
  },
);
const planSheet = new PlanSheet((ms) => localTime(new Date(ms).toISOString(), store.state.hello?.boat.local_time_zone ?? "UTC"), drawers,
  (leg, then) => tools.picture(leg, then), () => LOOKS[screen.look]);
const toolWords = make("p", "", { id: "tool", role: "status" });
const head = make("div", "", { id: "head" });
head.append(word, also, toolWords);
const wayBack = make("button", "", { id: "back", type: "button" });
byId("sheet").append(head, wayBack);
const tools = new Tools(store, screen, (control) => link.ask(control), () => localTime(storyNow(), store.state.hello?.boat.local_time_zone ?? "UTC"), drawers);
const box = tools.box(() => bar as Bar, toolWords);
const setup = new SetupDoor(store, (control) => link.ask(control));
const reach = {
  store, screen, voice, ask: (control: Control) => link.ask(control), keys: () => drawers.show(sheetOfKeys), plan: () => showPlan(!planSheet.isShown),
  echoes: () => showList(), now: () => showNow(), closeDrawer: () => drawers.close(), routes: () => tools.list(), box, tools, setup,
};
const doer = new Doer(reach);
let bar: Bar | null = new Bar(byId("bar"), fiveControls(reach), listedControls(reach), drawers.show, drawers.hide);
bar.onPress = () => box.touched();
const card = new Card(store, (control) => link.ask(control), drawers);
const list = new EchoList((echo) => store.send({ type: "touch", echo }), () => drawers.hide(list.element));
const timeBar = new TimeBar((control) => link.ask(control));
byId("sheet").append(timeBar.element);
const nowSheet = new NowSheet({ heard: doer.heard, again: doer.again, close: () => drawers.hide(nowSheet.element) });
const tones = new Tones();
const firstSheet: FirstSheet = new FirstSheet(
  (agreed) => {
    tones.wake();
    store.send({ type: "set", change: { tones: agreed } });
  },
  () => {
    tones.wake();
    window.setTimeout(() => tones.sound(4), 150);
  },
);
for (const touched of ["pointerdown", "keydown"]) {
  window.addEventListener(touched, () => {
    if (store.state.settings.tones === true && !tones.isReady) tones.wake();
  });
}
const band = new Band(byId("band"), also, () => (nowSheet.element.hidden ? showNow() : drawers.hide(nowSheet.element)));
const figures = new Figures(byId("figures"));
const lockBox = make("div", "", { id: "lock" });
document.body.append(lockBox);
const lock = new Lock(lockBox, () => store.send({ type: "lock", locked: false }));
const keys = keyTable(reach, bar);
const sheetOfKeys = keySheet(keys, () => drawers.hide(sheetOfKeys));
drawers.add(bar.held, bar.list, card.element, list.element, nowSheet.element, planSheet.element, sheetOfKeys, firstSheet.element);
wayBack.addEventListener("click", doer.back);
listenKeys(keys, { isLocked: () => store.state.locked, tool: (key, isFine) => box.key(key, isFine) });

/** Where there is room for it the list of echoes stands whenever no drawer does. */
function showBeneath(): void {
  list.isFixed = screen.layout.list !== null;
  if (screen.layout.list !== null && drawers.now === null) {
    list.element.hidden = false;
    refreshDrawers();
  }
}

/** A new screen is asked once whether it may sound; not where nothing is connected and the set-up is what matters. */
function askFirstly(): void {
  const isAsked = store.state.settings.tones === null && store.state.hello !== null && store.state.hello.source !== "none";
  if (isAsked) drawers.show(firstSheet.element);
  else drawers.hide(firstSheet.element);
}

function showPlan(shown: boolean): void {
  planSheet.show(shown);
  refreshDrawers();
  if (shown) planSheet.toNow();
}

function showList(): void {
  drawers.show(list.element);
  refreshDrawers();
  list.element.focus({ preventScroll: true });
}

function showNow(): void {
  drawers.show(nowSheet.element);
  refreshDrawers();
}

function refreshDrawers(): void {
  const at = performance.now();
  planSheet.refresh(store.state.reading, (store.state.hello?.boat ?? BOAT_UNKNOWN).distance_unit);
  list.refresh(store.state, at);
  nowSheet.refresh(store.state, at);
}

/** Lay everything into its place: another size of the window, another hand. */
function layOut(): void {
  const hand = store.state.settings.hand ?? store.state.hello?.boat.free_hand ?? "right";
  const layout = layoutOf(window.innerWidth, window.innerHeight, hand);
  document.body.dataset["layout"] = layout.kind;
  document.body.dataset["hand"] = hand;
  for (const [id, rect] of [["band", layout.band], ["bar", layout.bar], ["figures", layout.figures]] as const) lay(byId(id), rect);
  const { style } = document.documentElement;
  for (const [name, value] of Object.entries(layout.drawer)) style.setProperty(`--drawer-${name}`, `${value as number}px`);
  // The set-up lies over the picture and leaves the band, but where nothing is connected there is nothing to say.
  style.setProperty("--band-height", store.state.hello?.source === "none" ? "0px" : `${layout.band.height}px`);
  byId("band").hidden = byId("figures").hidden = store.state.hello?.source === "none";
  screen.layout = layout;
  layFree();
  if (layout.list === null && drawers.now === list.element) drawers.hide(list.element);
  showBeneath();
  band.show(store.state, performance.now());
}

/** What is free of the picture, in its own pixels: nothing that lies in it goes under a drawer, and the boat not under the time bar. */
function layFree(): void {
  const { style } = document.documentElement;
  for (const [name, value] of Object.entries(screen.free)) style.setProperty(`--free-${name}`, `${value as number}px`);
  document.body.toggleAttribute("data-drawer", screen.isDrawerOpen);
  screen.footPx = timeBar.heightPx;
  style.setProperty("--foot-height", `${screen.footPx}px`);
}

/** When it is in the story, or now. */
function storyNow(): string {
  return store.state.reading?.time ?? new Date().toISOString();
}

listenHands(byId("sheet"), {
  isLocked: () => store.state.locked,
  hasTool: () => box.now !== null,
  tool: (what, x, y) => {
    const place = screen.placeAt(x, y);
    if (place === null) return;
    const touch: Touch = { x, y, place };
    if (what === "down") box.down(touch);
    else if (what === "move") box.move(touch);
    else box.up(touch);
  },
  tap: (x, y) => store.send({ type: "touch", echo: screen.echoAt(x, y) }),
  drag: (dx, dy) => {
    screen.eye.drag(dx, dy);
    screen.isDirty = true;
  },
  range: (step) => doer.range(step),
  touched: (isDown) => {
    screen.isTouched = isDown;
    if (isDown) keepAwake();
  },
});

function chooseLook(): void {
  const { settings, reading, pose } = store.state;
  const storyMs = reading === null ? null : Date.parse(reading.time);
  // Nothing is connected yet: the set-up opens by this screen's own clock, light only where the sun is surely up.
  const isBeforeAll = storyMs === null && store.state.hello?.source === "none";
  const unplaced = isBeforeAll && isSurelyDay(Date.now(), new Date().getTimezoneOffset()) ? "day" : "night";
  const look =
    settings.look ?? (storyMs === null || pose === null || Number.isNaN(pose.latDeg) ? unplaced : lookBySun(sunAltitudeDeg(storyMs, pose.latDeg, pose.lonDeg)));
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
  const parts = [`${up}, ${shortDistance((RANGES_NM[settings.rangeIndex] ?? 1) * 1852, unit)}`];
  const isNow = isPresent(store.state, performance.now());
  word.classList.toggle("past", reading !== null && !isNow);
  // A clock that stands must not look like one that goes.
  if (reading !== null) parts.push(`${isNow ? "" : "picture of "}${localTime(reading.time, hello?.boat.local_time_zone ?? "UTC")}`);
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
  if (settings.tones === true && !tones.isReady) parts.push("tones wait for a touch");
  if (settings.voice && !voice.isThere) parts.push("this browser has no voice");
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
  if (state.settings.tones === true && state.reading !== before.reading) tones.step(state.reading?.alerts ?? [], (state.affairs?.silent_s ?? 0) > 0, performance.now());
  if (state.hello !== before.hello || state.settings.tones !== before.settings.tones) askFirstly();
  if (state.settings.hand !== before.settings.hand || state.hello !== before.hello) layOut();
  if (state.settings !== before.settings || state.reading !== before.reading || state.hello !== before.hello) chooseLook();
  sayAll();
  bar?.refresh();
});

/** What is said in words everywhere, as it is now. */
function sayAll(): void {
  const at = performance.now();
  band.show(store.state, at);
  figures.show(store.state, at);
  refreshDrawers();
  timeBar.show(store.state);
  if (timeBar.heightPx !== screen.footPx) layFree();
  sayWord();
  const { isPanned } = screen.eye;
  const isAway = isPanned || store.state.settings.rangeHeld;
  wayBack.hidden = !isAway;
  setText(wayBack, isPanned ? "to the boat" : "range by itself");
}

chooseLook();
veil.style.opacity = String(store.state.settings.dim);
layOut();
sayAll();
// Ages count on though nothing comes.
window.setInterval(sayAll, 500);
window.setInterval(() => {
  if (store.state.link === "open" && store.state.reading !== null) keepHeard(window.localStorage);
}, 5000);
window.addEventListener("resize", layOut);
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
Object.assign(window, { moonless: { store, screen, box, tools, setup, drawers } });
