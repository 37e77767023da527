/** The chart under everything, drawn by MapLibre; it never takes a touch and never moves by itself. */
import { Map as GlMap, setWorkerUrl } from "maplibre-gl";
import workerUrl from "maplibre-gl/dist/maplibre-gl-worker.mjs?worker&url";
import { affine, mapView, project, unproject, type Camera } from "../geo/camera";
import { Plane } from "../geo/mercator";
import type { Inks } from "../look/table";
import type { ChartData } from "../state/types";
import { chartStyle } from "./style";
import { NOTHING, thingsOf, type Raw, type Things } from "./things";
import { unknownGround, unknownName, unknownTile } from "./unknown";

setWorkerUrl(new URL(workerUrl, document.baseURI).href);

interface TileId {
  readonly z: number;
  readonly x: number;
  readonly y: number;
}

/** Pixels the sheet may move before the chart is drawn afresh. */
const MARGIN_PX = 140;
/** Tiles come in a burst: what they say is gathered once it has passed. */
const GATHER_MS = 120;
/** A tile that did not come is asked for again after so long. */
const AGAIN_MS = 4000;
/** So much, as a logarithm, may be stretched while the range is being eased. */
const STRETCH = 0.16;
/** A graphics context that has not come back by then will not: a new one is begun. */
const LOST_MS = 2500;

/**
 * The chart is drawn north-up on a square larger than the sheet and turned by the compositor: a yawing boat costs no
 * drawing at all, which is what keeps a tablet cool and a processor-drawn screen smooth.
 *
 * Rules: where no tile draws, hatching shows, so that water no chart knows is never plain. The map draws it itself, for
 * a second hatched ground beneath costs a fifth of a frame; until it does, and whenever it may not, the ground stands.
 */
export class ChartMap {
  #map: GlMap;
  readonly #turning: HTMLElement;
  #chart: ChartData | null = null;
  #inks: Inks;
  #safetyM = 0;
  #side = 0;
  #drawn: Camera | undefined;
  #gathering: number | undefined;
  /** Running while the graphics context is lost. */
  #lost: number | undefined;
  #again: number | undefined;
  readonly #missed: TileId[] = [];
  /** What the chart says at single places in sight. */
  things: Things = NOTHING;

  constructor(container: HTMLElement, inks: Inks, private readonly onThings: () => void) {
    this.#inks = inks;
    this.#turning = document.createElement("div");
    this.#turning.className = "turning";
    container.append(this.#turning);
    unknownGround(inks, this.#turning);
    this.#map = this.#begin();
    // Waking from a sleep that took tiles or the context with it.
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible" && this.#again !== undefined) this.again();
    });
  }

  #begin(): GlMap {
    const map = new GlMap({
      container: this.#turning,
      style: chartStyle(this.#inks, this.#chart, this.#safetyM),
      interactive: false,
      attributionControl: false,
      fadeDuration: 0,
      trackResize: false,
      pixelRatio: Math.min(window.devicePixelRatio, 1.5),
      maxPitch: 0,
      renderWorldCopies: false,
    });
    map.on("error", (event) => {
      // A tile that did not come: the link may be lost, or the helm busy. It is asked for again.
      const id = missed(event);
      if (id !== null) this.#askAgain(id);
      else console.error("chart:", event.error.message);
    });
    map.on("sourcedata", () => this.#gatherSoon());
    // A style laid anew has forgotten its patterns.
    map.on("style.load", () => addUnknown(map, this.#inks));
    map.on("idle", () => {
      this.#gatherSoon();
      if (this.#chart !== null && map.getSource("chart") !== undefined && map.hasImage(unknownName(this.#inks))) {
        this.#turning.style.background = "none";
      }
    });
    const canvas = map.getCanvas();
    map.on("webglcontextlost", () => {
      // A canvas without its context may be shown white.
      canvas.style.visibility = "hidden";
      unknownGround(this.#inks, this.#turning);
      this.#lost = window.setTimeout(() => this.#beginAnew(), LOST_MS);
    });
    map.on("webglcontextrestored", () => {
      window.clearTimeout(this.#lost);
      this.#lost = undefined;
      this.#setStyle(false);
      map.once("render", () => (canvas.style.visibility = "visible"));
      this.onThings();
    });
    return map;
  }

  #beginAnew(): void {
    this.#lost = undefined;
    try {
      this.#map.remove();
    } catch (problem) {
      // It may not be able to tidy up what it has lost.
      console.warn("chart:", problem);
    }
    this.#turning.replaceChildren();
    this.#drawn = undefined;
    this.#map = this.#begin();
    this.onThings();
  }

  /** Show a chart, or none. */
  show(chart: ChartData | null): void {
    if (chart?.key === this.#chart?.key) return;
    this.#chart = chart;
    this.#setStyle(false);
    this.#gatherSoon();
  }

  /** In these inks, with water shoaler than this lifted. */
  paint(inks: Inks, safetyM: number): void {
    if (inks === this.#inks && safetyM === this.#safetyM) return;
    this.#inks = inks;
    this.#safetyM = safetyM;
    this.#setStyle(true);
  }

  /** Ask again for the tiles that did not come: after a lost link, a sleep, or a while. */
  again(): void {
    window.clearTimeout(this.#again);
    this.#again = undefined;
    const missed = this.#missed.splice(0);
    if (missed.length === 0 || this.#lost !== undefined || this.#map.getSource("chart") === undefined) return;
    this.#map.refreshTiles("chart", missed);
  }

  /** True when every tile in sight has come. */
  get isWhole(): boolean {
    return this.#chart !== null && this.#lost === undefined && this.#map.getSource("chart") !== undefined && this.#map.areTilesLoaded();
  }

  /** `isSettled`: false while the range is being eased, when what is drawn is stretched a little and drawn afresh at the end. */
  look(camera: Camera, isSettled = true): void {
    const side = Math.ceil(Math.hypot(camera.width, camera.height) / 2 + MARGIN_PX) * 2;
    if (side !== this.#side) {
      this.#side = side;
      this.#turning.style.width = `${side}px`;
      this.#turning.style.height = `${side}px`;
      this.#map.resize();
      this.#drawn = undefined;
    }
    let drawn = this.#drawn;
    if (this.#lost !== undefined) return;
    if (drawn === undefined || Math.abs(Math.log(camera.pxPerM / drawn.pxPerM)) > (isSettled ? 1e-6 : STRETCH) || this.#away(camera, drawn) > MARGIN_PX) {
      const middle = unproject(camera, camera.width / 2, camera.height / 2);
      drawn = { ...camera, plane: new Plane(middle.latDeg, middle.lonDeg), x: side / 2, y: side / 2, up: 0, width: side, height: side };
      this.#drawn = drawn;
      this.#map.jumpTo(mapView(drawn));
    }
    const [x, y] = project(affine(camera, drawn.plane), 0, 0);
    this.#turning.style.transform = `translate(${(x - side / 2).toFixed(2)}px, ${(y - side / 2).toFixed(2)}px) rotate(${(-camera.up).toFixed(5)}rad) scale(${(camera.pxPerM / drawn.pxPerM).toFixed(4)})`;
  }

  /** Pixels from the pane's middle to the middle of what is drawn. */
  #away(camera: Camera, drawn: Camera): number {
    const [x, y] = project(affine(camera, drawn.plane), 0, 0);
    return Math.hypot(x - camera.width / 2, y - camera.height / 2);
  }

  #setStyle(isSameChart: boolean): void {
    // Without a context there is no style to change; it is set when the context comes back.
    if (this.#lost !== undefined) return;
    // A style still on its way cannot be changed: it is set anew.
    unknownGround(this.#inks, this.#turning);
    const diff = isSameChart && this.#map.isStyleLoaded() === true;
    if (diff) addUnknown(this.#map, this.#inks);
    this.#map.setStyle(chartStyle(this.#inks, this.#chart, this.#safetyM), { diff });
  }

  #gatherSoon(): void {
    if (this.#gathering !== undefined) return;
    this.#gathering = window.setTimeout(() => {
      this.#gathering = undefined;
      if (this.#lost !== undefined || (this.#chart !== null && this.#map.getSource("chart") === undefined)) return;
      const raw = this.#chart === null ? [] : this.#map.querySourceFeatures("chart", { sourceLayer: "point" });
      // While tiles of a new range are under way there may be none: what is known then stands.
      if (raw.length === 0 && this.#chart !== null && !this.#map.areTilesLoaded()) return;
      this.things = thingsOf(raw as unknown as readonly Raw[]);
      this.onThings();
    }, GATHER_MS);
  }

  #askAgain(id: TileId): void {
    this.#missed.push(id);
    this.#again ??= window.setTimeout(() => this.again(), AGAIN_MS);
  }
}

/** Give a map the pattern of unknown water in these inks. */
function addUnknown(map: GlMap, inks: Inks): void {
  const name = unknownName(inks);
  const tile = unknownTile(name);
  if (tile !== null && !map.hasImage(name)) map.addImage(name, tile);
}

/** Which tile an error of the map library is about; null: none. */
function missed(event: object): TileId | null {
  if (!("tile" in event)) return null;
  const id = (event.tile as { tileID?: { canonical?: TileId } } | undefined)?.tileID?.canonical;
  return id === undefined ? null : { z: id.z, x: id.x, y: id.y };
}
