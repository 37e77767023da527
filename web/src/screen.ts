/** The drawing loop: one camera a pane, chart below, radar on it, ink over all; only what changed is drawn. */
import { Pace } from "./state/pace";
import { EasedAngle, EasedPlace, runOn } from "./state/smooth";
import type { Store } from "./state/store";
import { BOAT_UNKNOWN } from "./state/store";
import { isPresent, offered } from "./state/say";
import { RANGES_NM } from "./geo/units";
import { mapView, unproject, type Camera } from "./geo/camera";
import { groundOf, type Ground } from "./layers/ink/ground";
import { Labels } from "./layers/ink/labels";
import { drawInk, echoAt } from "./layers/ink/layer";
import type { Place } from "./layers/ink/tools/measure";
import { at, type Boat, type View } from "./layers/ink/view";
import { ScanLayer } from "./layers/scan/layer";
import { LOOKS, type Inks } from "./look/table";
import type { Look } from "./state/store";
import type { ChartMap } from "./map/map";
import { NOTHING, type Things } from "./map/things";
import { cameraOf, panesOf, upOf, type Pane } from "./map/panes";
import { safetyDepthM } from "./state/depth";
import type { Foot } from "./panels/foot";
import type { Reading } from "./state/types";
import type { Tool } from "./tools/tool";

/** Ink is redrawn no oftener than this when nothing but time passes, ms. */
const IDLE_MS = 100;
/** A camera that moved less than this is the same camera: pixels, radians. */
const STILL_PX = 0.25;
const STILL_RAD = 0.0012;

/** Length of a trail, seconds. */
const TRAIL_S = { short: 90, long: 360 } as const;

export class Screen {
  readonly scan: ScanLayer;
  readonly #ink: HTMLCanvasElement;
  readonly #ctx: CanvasRenderingContext2D;
  readonly #heading = new EasedAngle();
  readonly #up = new EasedAngle();
  readonly #place = new EasedPlace();
  readonly #pace = new Pace();
  #chart: ChartMap | undefined;
  #ground: Ground = groundOf(null, 0, 0);
  #groundOf: Reading | null = null;
  #views: { pane: Pane; view: View }[] = [];
  #cameras: Camera[] = [];
  #lastMs = 0;
  #inkAt = 0;
  #scanAt = 0;
  #footAt = 0;
  #footTop = 0;
  #thread: { echo: number | null; urgency: number; offers: boolean } = { echo: null, urgency: 1, offers: false };
  #layKey = "";
  #tool: Tool | null = null;
  /** Where a held sheet was laid, and which bearing was up. */
  #hold: { place: Place; up: number } | null = null;
  look: Look = "night";
  /** Something changed: draw at the next frame. */
  isDirty = true;
  frames = 0;
  #drawnUnixMs: number | null = null;
  /** When the antenna gave the newest spokes not drawn yet, Unix ms. */
  pendingUnixMs: number | null = null;
  readonly delaysMs: number[] = [];

  constructor(private readonly store: Store, private readonly foot: Foot, private readonly chartBox: HTMLElement, scanCanvas: HTMLCanvasElement, inkCanvas: HTMLCanvasElement) {
    this.scan = new ScanLayer(scanCanvas);
    this.#ink = inkCanvas;
    // Where a processor draws for the graphics card, strokes are far cheaper on a canvas that never leaves it.
    const ctx = inkCanvas.getContext("2d", { willReadFrequently: this.scan.isDrawnByProcessor });
    if (this.scan.isDrawnByProcessor) this.#pace.coarsest();
    if (ctx === null) throw new Error("this browser cannot draw");
    this.#ctx = ctx;
    window.addEventListener("resize", () => (this.isDirty = true));
  }

  set chart(map: ChartMap) {
    this.#chart = map;
    this.#cameras = [];
    this.isDirty = true;
  }

  /** What the sheet is touched for now; null: for echoes. */
  set tool(tool: Tool | null) {
    if (tool === this.#tool) return;
    const camera = this.#cameras[0];
    // Held as it lies at this moment: a finger may be on it before the next frame.
    this.#hold = tool?.holdsView === true && camera !== undefined ? { place: { latDeg: camera.plane.latDeg, lonDeg: camera.plane.lonDeg }, up: camera.up } : null;
    this.#tool = tool;
    this.isDirty = true;
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
    return found === undefined ? null : echoAt(found.view, x - found.pane.x, y - found.pane.y);
  }

  /** Page pixel of a place in the first pane; for tests. */
  pixelOf(latDeg: number, lonDeg: number): [number, number] | null {
    const found = this.#views[0];
    if (found === undefined) return null;
    const [x, y] = at(found.view, latDeg, lonDeg);
    return [x + found.pane.x, y + found.pane.y];
  }

  placeAt(x: number, y: number): Place | null {
    const found = this.#paneAt(x, y);
    return found === undefined ? null : unproject(found.view.camera, x - found.pane.x, y - found.pane.y);
  }

  #paneAt(x: number, y: number): { pane: Pane; view: View } | undefined {
    return this.#views.find(({ pane }) => x >= pane.x && y >= pane.y && x < pane.x + pane.width && y < pane.y + pane.height);
  }

  #frame(now: number): void {
    const dt = Math.min((now - this.#lastMs) / 1000, 0.5);
    this.#pace.frame(now - this.#lastMs);
    this.#lastMs = now;
    this.frames += 1;
    if (this.#drawnUnixMs !== null) {
      // Counted when the frame after it begins: by then the drawn one has been handed on to be shown.
      this.delaysMs.push(performance.timeOrigin + performance.now() - this.#drawnUnixMs);
      if (this.delaysMs.length > 600) this.delaysMs.shift();
      this.#drawnUnixMs = null;
    }
    const { store } = this;
    const state = store.state;
    if (now - this.#footAt > 250 || this.isDirty) {
      this.#footAt = now;
      const first = this.foot.show(state, now);
      this.#thread = { echo: first.echo, urgency: first.urgency, offers: offered(state) !== null };
      this.#footTop = this.foot.top;
    }
    const pose = state.pose;
    const own = state.reading?.own;
    const hasPlace = pose !== null && !Number.isNaN(pose.latDeg);
    const paused = state.affairs?.paused === true;
    const poseAge = pose === null ? 0 : (Number.isNaN(pose.ageS) ? 0 : pose.ageS) + (now - state.poseAt) / 1000;
    let target = hasPlace ? (paused ? pose : runOn(pose, poseAge)) : own?.lat != null && own.lon != null ? { latDeg: own.lat, lonDeg: own.lon } : null;
    if (target === null) {
      const [west, south, east, north] = state.chart?.bounds ?? [0, 0, 0, 0];
      target = { latDeg: (south + north) / 2, lonDeg: (west + east) / 2 };
    }
    const place = this.#place.step(target, dt, 0.4, 60);
    const headingTarget = pose === null ? Number.NaN : (pose.headingDeg * Math.PI) / 180;
    const heading = Number.isNaN(headingTarget) ? Number.NaN : this.#heading.step(headingTarget, dt, 0.15);
    const cogDeg = pose === null ? Number.NaN : pose.cogDeg;
    const boat: Boat = { ...place, headingDeg: (heading * 180) / Math.PI, cogDeg, sogKn: pose === null ? Number.NaN : pose.sogKn };
    const { up, lay, rangeIndex } = state.settings;
    const upTarget = upOf(up, boat.headingDeg, cogDeg);
    // Course-up is steadied harder: a course over the ground wanders where a heading does not.
    let upRad = this.#up.step(upTarget, dt, up === "course" ? 1.2 : 0.18);
    let middle: Place = place;
    if (this.#tool?.holdsView === true) {
      // The sheet stands still under a drawing finger; the boat goes on over it.
      this.#hold ??= { place: { ...place }, up: upRad };
      middle = this.#hold.place;
      upRad = this.#hold.up;
    }
    const rangeNm = RANGES_NM[rangeIndex] ?? 1;

    const width = window.innerWidth;
    const height = window.innerHeight;
    const panes = panesOf(lay, width, height, this.#footTop);
    const cameras = panes.map((pane) => cameraOf(pane, up, upRad, middle, rangeNm, this.#footTop));
    const moved = cameras.length !== this.#cameras.length || cameras.some((camera, i) => isMoved(camera, this.#cameras[i]));
    const ratio = Math.min(window.devicePixelRatio, 2);
    const lays = `${lay}|${width}|${height}|${this.#scanRatio(ratio)}|${ratio}|${Math.round(this.#footTop)}`;
    if (lays !== this.#layKey) {
      this.#layKey = lays;
      this.#layOut(panes, ratio, width, height);
      this.isDirty = true;
    }
    if (this.#groundOf !== state.reading) {
      this.#groundOf = state.reading;
      this.#ground = groundOf(state.reading, place.latDeg, place.lonDeg);
      this.isDirty = true;
    }
    if (moved || this.isDirty) {
      this.#cameras = cameras;
      panes.forEach((pane, i) => {
        const camera = cameras[i];
        if (pane.hasChart && camera !== undefined) this.#chart?.look(camera);
      });
    }
    const used = this.#cameras;
    if (moved || this.isDirty || now - this.#scanAt > IDLE_MS || this.pendingUnixMs !== null) {
      this.#scanAt = now;
      panes.forEach((pane, i) => {
        const camera = used[i];
        if (!pane.hasRadar || camera === undefined) return;
        const { trails } = state.settings;
        // In the story's minutes: it may run faster than life.
        this.scan.trailS = trails === "off" ? 0 : TRAIL_S[trails] / (state.affairs?.speed ?? 1);
        const strength = pane.hasChart ? state.settings.radarStrength : 1;
        this.scan.draw(camera, { ...place, headingRad: Number.isNaN(heading) ? 0 : heading }, this.inks, paused ? this.scan.newestAt + 0.01 : now / 1000, strength, this.#scanRatio(ratio));
      });
      this.#drawnUnixMs = this.pendingUnixMs;
      this.pendingUnixMs = null;
    }
    if (moved || this.isDirty || now - this.#inkAt > IDLE_MS) {
      this.#inkAt = now;
      this.#drawInk(panes, used, boat, rangeNm, now, ratio);
    }
    this.isDirty = false;
  }

  #scanRatio(ratio: number): number {
    // Radar cells are metres wide: more than one texel a page pixel shows nothing new.
    return Math.min(ratio, 1) * this.#pace.ratio;
  }

  #layOut(panes: readonly Pane[], ratio: number, width: number, height: number): void {
    this.#ink.width = Math.round(width * ratio);
    this.#ink.height = Math.round(height * ratio);
    const chart = panes.find((pane) => pane.hasChart);
    this.chartBox.style.display = chart === undefined ? "none" : "block";
    if (chart !== undefined) box(this.chartBox, chart);
    const radar = panes.find((pane) => pane.hasRadar);
    if (radar !== undefined) {
      box(this.scan.canvas, radar);
      this.scan.canvas.width = Math.round(radar.width * this.#scanRatio(ratio));
      this.scan.canvas.height = Math.round(radar.height * this.#scanRatio(ratio));
    }
  }

  #drawInk(panes: readonly Pane[], cameras: readonly Camera[], boat: Boat, rangeNm: number, now: number, ratio: number): void {
    const state = this.store.state;
    const ctx = this.#ctx;
    this.#views = [];
    panes.forEach((pane, i) => {
      const camera = cameras[i];
      if (camera === undefined) return;
      const footTop = Math.min(this.#footTop - pane.y, pane.height);
      const view: View = {
        ctx,
        camera,
        inks: this.inks,
        state,
        boat,
        unit: (state.hello?.boat ?? BOAT_UNKNOWN).distance_unit,
        labels: labelsOf(pane),
        ground: this.#ground,
        fade: !isPresent(state, now) ? 0.35 : state.trial !== null || this.#tool?.fadesPresent === true ? 0.5 : 1,
        rangeNm,
        footTop,
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
      drawInk(view, this.#thread, this.#tool);
      ctx.restore();
    });
  }
}

function labelsOf(pane: Pane): Labels {
  const labels = new Labels(pane.width, pane.height);
  for (const id of ["word", "tool"]) {
    const words = document.getElementById(id)?.getBoundingClientRect();
    if (words !== undefined && words.width > 0) labels.block(words.left - pane.x - 6, words.top - pane.y - 6, words.width + 12, words.height + 10);
  }
  const thumb = document.getElementById("thumb")?.getBoundingClientRect();
  if (thumb !== undefined) labels.block(thumb.left - pane.x, thumb.top - pane.y, thumb.width, thumb.height);
  return labels;
}

function box(element: HTMLElement, pane: Pane): void {
  element.style.left = `${pane.x}px`;
  element.style.top = `${pane.y}px`;
  element.style.width = `${pane.width}px`;
  element.style.height = `${pane.height}px`;
}

function isMoved(a: Camera, b: Camera | undefined): boolean {
  if (b === undefined || a.width !== b.width || a.height !== b.height || a.pxPerM !== b.pxPerM || a.x !== b.x || a.y !== b.y) return true;
  const east = (a.plane.x0 - b.plane.x0) * a.plane.metresPerUnit * a.pxPerM;
  const north = (a.plane.y0 - b.plane.y0) * a.plane.metresPerUnit * a.pxPerM;
  return Math.hypot(east, north) > STILL_PX || Math.abs(a.up - b.up) > STILL_RAD;
}
