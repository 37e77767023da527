/** The drawing loop: chart below, radar on it, ink over all; only what changed is drawn. */
import { Pace } from "./state/pace";
import { paneOfLabels } from "./layers/ink/labels";
import type { Store } from "./state/store";
import { BOAT_UNKNOWN } from "./state/store";
import { isPresent, offered, whatMatters } from "./state/say";
import { RANGES_NM } from "./geo/units";
import { mapView, unproject, type Camera } from "./geo/camera";
import { groundOf, type Ground } from "./layers/ink/ground";
import { Seen } from "./layers/ink/seen";
import { drawInk, echoAt } from "./layers/ink/layer";
import type { Place } from "./layers/ink/tools/measure";
import { at, type Boat, type View } from "./layers/ink/view";
import { ScanLayer } from "./layers/scan/layer";
import { lay, layoutOf, type Layout, type Rect } from "./look/layout";
import { LOOKS, type Inks } from "./look/table";
import type { Look } from "./state/store";
import type { ChartMap } from "./map/map";
import { NOTHING, type Things } from "./map/things";
import { panesOf, type Pane } from "./map/panes";
import { Eye } from "./map/eye";
import { safetyDepthM } from "./state/depth";
import type { Reading } from "./state/types";
import type { Tool } from "./tools/tool";

/** Ink is redrawn no oftener than this when nothing but time passes, ms. */
const IDLE_MS = 250;
/**
 * Frames are drawn no oftener than this, ms: a boat's motion over the sheet is a few pixels a second. Where a processor
 * draws for the graphics card each costs it dearly, and a finger on the sheet is the only thing in a hurry.
 */
const GAP_MS = { card: 45, processor: 125, finger: 45 } as const;
/** A camera that moved less than this is the same camera: pixels, radians. */
const STILL_PX = 0.35;
const STILL_RAD = 0.0015;

/** Length of a trail, seconds. */
const TRAIL_S = { short: 90, long: 360 } as const;

export class Screen {
  readonly scan: ScanLayer;
  readonly eye: Eye;
  readonly #ink: HTMLCanvasElement;
  readonly #ctx: CanvasRenderingContext2D;
  readonly #pace = new Pace();
  #chart: ChartMap | undefined;
  #ground: Ground = groundOf(null, 0, 0);
  #groundOf: Reading | null = null;
  #views: { pane: Pane; view: View }[] = [];
  #cameras: readonly Camera[] = [];
  #last = { frame: 0, drawn: 0, ink: 0, scan: 0, seen: 0 };
  readonly #seen = new Seen();
  #layKey = "";
  #tool: Tool | null = null;
  #layout: Layout = layoutOf(window.innerWidth, window.innerHeight, "right");
  /** A drawer lies over part of the picture. */
  isDrawerOpen = false;
  /** So much of what is free lies under the time bar, page pixels. */
  footPx = 0;
  /** A finger is on the sheet. */
  isTouched = false;
  look: Look = "night";
  /** Something changed: draw at the next frame. */
  isDirty = true;
  frames = 0;
  #drawnUnixMs: number | null = null;
  /** When the antenna gave the newest spokes not drawn yet, Unix ms. */
  pendingUnixMs: number | null = null;
  readonly delaysMs: number[] = [];

  constructor(private readonly store: Store, private readonly sheet: HTMLElement, private readonly chartBox: HTMLElement, scanCanvas: HTMLCanvasElement, inkCanvas: HTMLCanvasElement) {
    this.scan = new ScanLayer(scanCanvas);
    this.eye = new Eye((rangeIndex) => store.send({ type: "set", change: { rangeIndex } }));
    this.#ink = inkCanvas;
    // Where a processor draws for the graphics card, strokes are far cheaper on a canvas that never leaves it.
    const ctx = inkCanvas.getContext("2d", { willReadFrequently: this.scan.isDrawnByProcessor });
    if (this.scan.isDrawnByProcessor) this.#pace.coarsest();
    if (ctx === null) throw new Error("this browser cannot draw");
    this.#ctx = ctx;
  }

  set chart(map: ChartMap) {
    this.#chart = map;
    this.#cameras = [];
    this.isDirty = true;
  }

  /** Where everything lies from now on. */
  set layout(layout: Layout) {
    this.#layout = layout;
    lay(this.sheet, layout.picture);
    this.#layKey = "";
    this.isDirty = true;
  }

  get layout(): Layout {
    return this.#layout;
  }

  /** What no drawer covers of the picture, in its own pixels. */
  get free(): Rect {
    const { picture, free } = this.#layout;
    const left = this.isDrawerOpen ? free : picture;
    return { ...left, x: left.x - picture.x, y: left.y - picture.y };
  }

  /** What the sheet is touched for now; null: for echoes. */
  set tool(tool: Tool | null) {
    if (tool === this.#tool) return;
    this.#tool = tool;
    this.eye.hold(undefined);
    this.eye.jump();
    this.isDirty = true;
    // Drawn now, and held as it lies then: a finger may be on it before the next frame.
    this.#frame(performance.now(), true);
    if (tool?.holdsView === true) this.eye.hold(this.#cameras[0]);
  }

  /** What the chart says at single places in sight. */
  get things(): Things {
    return this.#chart?.things ?? NOTHING;
  }

  /** True when every tile in sight has come; for tests and pictures. */
  get isChartWhole(): boolean {
    return this.#chart?.isWhole === true;
  }

  get inks(): Inks {
    return LOOKS[this.look];
  }

  /** The words on the sheet and where they stand, page pixels; for tests. */
  get written(): readonly { readonly text: string; readonly x: number; readonly y: number; readonly w: number; readonly h: number }[] {
    const { picture } = this.#layout;
    return this.#views.flatMap(({ pane, view }) =>
      view.labels.written.map(({ text, box }) => ({ ...box, text, x: box.x + pane.x + picture.x, y: box.y + pane.y + picture.y })),
    );
  }

  start(): void {
    const loop = (now: number): void => {
      this.#frame(now);
      requestAnimationFrame(loop);
    };
    requestAnimationFrame(loop);
  }

  /** Own position as shown; null before any is known. */
  get boat(): Boat | null {
    return this.#views[0]?.view.boat ?? null;
  }

  echoAt(x: number, y: number): number | null {
    const found = this.#paneAt(x, y);
    return found === undefined ? null : echoAt(found.view, found.x, found.y);
  }

  /** Page pixel of a place in the first pane; for tests. */
  pixelOf(latDeg: number, lonDeg: number): [number, number] | null {
    const found = this.#views[0];
    if (found === undefined) return null;
    const [x, y] = at(found.view, latDeg, lonDeg);
    return [x + found.pane.x + this.#layout.picture.x, y + found.pane.y + this.#layout.picture.y];
  }

  placeAt(x: number, y: number): Place | null {
    const found = this.#paneAt(x, y);
    return found === undefined ? null : unproject(found.view.camera, found.x, found.y);
  }

  #paneAt(pageX: number, pageY: number): { view: View; x: number; y: number } | undefined {
    const [x, y] = [pageX - this.#layout.picture.x, pageY - this.#layout.picture.y];
    const found = this.#views.find(({ pane }) => x >= pane.x && y >= pane.y && x < pane.x + pane.width && y < pane.y + pane.height);
    return found === undefined ? undefined : { view: found.view, x: x - found.pane.x, y: y - found.pane.y };
  }

  #frame(now: number, isForced = false): void {
    this.#pace.frame(now - this.#last.frame);
    this.#last.frame = now;
    const gap = this.isTouched || this.#tool !== null ? GAP_MS.finger : this.scan.isDrawnByProcessor ? GAP_MS.processor : GAP_MS.card;
    if (!isForced && now - this.#last.drawn < gap) return;
    const dt = Math.min((now - this.#last.drawn) / 1000, 0.5);
    this.#last.drawn = now;
    this.frames += 1;
    if (this.#drawnUnixMs !== null) {
      // Counted when the frame after it begins: by then the drawn one has been handed on to be shown.
      this.delaysMs.push(performance.timeOrigin + performance.now() - this.#drawnUnixMs);
      if (this.delaysMs.length > 600) this.delaysMs.shift();
      this.#drawnUnixMs = null;
    }
    const state = this.store.state;
    const { picture } = this.#layout;
    const paused = state.affairs?.paused === true;
    const { free } = this;
    const panes = panesOf(state.settings.lay, picture.width, picture.height, { ...free, height: free.height - this.footPx });
    const { boat, heading, cameras, isSettled } = this.eye.step(state, now, dt, panes);
    const moved = cameras.length !== this.#cameras.length || cameras.some((camera, i) => isMoved(camera, this.#cameras[i]));
    const ratio = Math.min(window.devicePixelRatio, 2);
    const lays = `${state.settings.lay}|${picture.width}|${picture.height}|${panes[0]?.width}|${panes[0]?.height}|${this.#scanRatio(ratio)}|${ratio}`;
    if (lays !== this.#layKey) {
      this.#layKey = lays;
      this.#layOut(panes, ratio);
      this.isDirty = true;
    }
    if (this.#groundOf !== state.reading) {
      this.#groundOf = state.reading;
      this.#ground = groundOf(state.reading, boat.latDeg, boat.lonDeg);
      this.isDirty = true;
    }
    if (moved || this.isDirty) {
      this.#cameras = cameras;
      panes.forEach((pane, i) => {
        const camera = cameras[i];
        if (pane.hasChart && camera !== undefined) this.#chart?.look(camera, isSettled);
      });
    }
    const used = this.#cameras;
    if (moved || this.isDirty || now - this.#last.scan > IDLE_MS || this.pendingUnixMs !== null) {
      this.#last.scan = now;
      panes.forEach((pane, i) => {
        const camera = used[i];
        if (!pane.hasRadar || camera === undefined) return;
        const { trails } = state.settings;
        // In the story's minutes: it may run faster than life.
        this.scan.trailS = trails === "off" ? 0 : TRAIL_S[trails] / (state.affairs?.speed ?? 1);
        const strength = pane.hasChart ? state.settings.radarStrength : 1;
        const { latDeg, lonDeg } = boat;
        this.scan.draw(camera, { latDeg, lonDeg, headingRad: Number.isNaN(heading) ? 0 : heading }, this.inks, paused ? this.scan.newestAt + 0.01 : now / 1000, strength, this.#scanRatio(ratio));
      });
      this.#drawnUnixMs = this.pendingUnixMs;
      this.pendingUnixMs = null;
    }
    if (moved || this.isDirty || now - this.#last.ink > IDLE_MS) {
      this.#last.ink = now;
      this.#drawInk(panes, used, boat, now, ratio);
    }
    this.isDirty = false;
  }

  #scanRatio(ratio: number): number {
    // Radar cells are metres wide: more than one texel a page pixel shows nothing new.
    return Math.min(ratio, 1) * this.#pace.ratio;
  }

  #layOut(panes: readonly Pane[], ratio: number): void {
    const { picture } = this.#layout;
    this.#ink.width = Math.round(picture.width * ratio);
    this.#ink.height = Math.round(picture.height * ratio);
    const chart = panes.find((pane) => pane.hasChart);
    this.chartBox.style.display = chart === undefined ? "none" : "block";
    if (chart !== undefined) lay(this.chartBox, chart);
    const radar = panes.find((pane) => pane.hasRadar);
    if (radar !== undefined) {
      lay(this.scan.canvas, radar);
      this.scan.canvas.width = Math.round(radar.width * this.#scanRatio(ratio));
      this.scan.canvas.height = Math.round(radar.height * this.#scanRatio(ratio));
    }
  }

  #drawInk(panes: readonly Pane[], cameras: readonly Camera[], boat: Boat, now: number, ratio: number): void {
    const state = this.store.state;
    const ctx = this.#ctx;
    this.#views = [];
    const first = whatMatters(state, now)[0];
    const { plane } = this.#ground;
    const seen = this.#seen.step(this.#ground, plane.east(boat.lonDeg), plane.north(boat.latDeg), Math.min((now - this.#last.seen) / 1000, 3));
    this.#last.seen = now;
    const isNow = isPresent(state, now);
    const thread = { echo: first?.echo ?? null, urgency: first?.urgency ?? 1, offers: offered(state) !== null };
    panes.forEach((pane, i) => {
      const camera = cameras[i];
      if (camera === undefined) return;
      const view: View = {
        ctx,
        camera,
        inks: this.inks,
        state,
        boat,
        unit: (state.hello?.boat ?? BOAT_UNKNOWN).distance_unit,
        labels: paneOfLabels(pane, this.#layout.picture),
        ground: this.#ground,
        seen,
        isNow,
        fade: !isNow ? 0.35 : state.trial !== null || this.#tool?.fadesPresent === true ? 0.5 : 1,
        rangeNm: RANGES_NM[state.settings.rangeIndex] ?? 1,
        footTop: pane.free.y + pane.free.height,
        free: pane.free,
        nowMs: now,
        hasChart: pane.hasChart,
        hasRadar: pane.hasRadar,
        things: this.things,
        zoom: mapView(camera).zoom,
        safetyM: safetyDepthM(state),
      };
      this.#views.push({ pane, view });
      ctx.setTransform(ratio, 0, 0, ratio, pane.x * ratio, pane.y * ratio);
      ctx.save();
      ctx.beginPath();
      ctx.rect(0, 0, pane.width, pane.height);
      ctx.clip();
      drawInk(view, thread, this.#tool);
      ctx.restore();
    });
  }
}

function isMoved(a: Camera, b: Camera | undefined): boolean {
  if (b === undefined || a.width !== b.width || a.height !== b.height || a.pxPerM !== b.pxPerM || Math.hypot(a.x - b.x, a.y - b.y) > STILL_PX) return true;
  const east = (a.plane.x0 - b.plane.x0) * a.plane.metresPerUnit * a.pxPerM;
  const north = (a.plane.y0 - b.plane.y0) * a.plane.metresPerUnit * a.pxPerM;
  return Math.hypot(east, north) > STILL_PX || Math.abs(a.up - b.up) > STILL_RAD;
}
