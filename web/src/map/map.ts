/** The chart under everything, drawn by MapLibre; it never takes a touch and never moves by itself. */
import { Map as GlMap, setWorkerUrl } from "maplibre-gl";
import workerUrl from "maplibre-gl/dist/maplibre-gl-worker.mjs?worker&url";
import { affine, mapView, project, unproject, type Camera } from "../geo/camera";
import { Plane } from "../geo/mercator";
import type { Inks } from "../look/table";
import type { ChartData } from "../state/types";
import { chartStyle } from "./style";

setWorkerUrl(new URL(workerUrl, document.baseURI).href);

const EMPTY: GeoJSON.FeatureCollection = { type: "FeatureCollection", features: [] };

/** Pixels the sheet may move before the chart is drawn afresh. */
const MARGIN_PX = 140;

/**
 * The chart is drawn north-up on a square larger than the sheet and turned by the compositor: a yawing boat costs no
 * drawing at all, which is what keeps a tablet cool and a processor-drawn screen smooth.
 */
export class ChartMap {
  readonly #map: GlMap;
  readonly #turning: HTMLElement;
  #shapes: GeoJSON.FeatureCollection = EMPTY;
  #side = 0;
  #drawn: Camera | undefined;

  constructor(container: HTMLElement, inks: Inks) {
    this.#turning = document.createElement("div");
    this.#turning.className = "turning";
    container.append(this.#turning);
    this.#map = new GlMap({
      container: this.#turning,
      style: chartStyle(inks, EMPTY),
      interactive: false,
      attributionControl: false,
      fadeDuration: 0,
      trackResize: false,
      pixelRatio: Math.min(window.devicePixelRatio, 1.5),
      maxPitch: 0,
      renderWorldCopies: false,
      cancelPendingTileRequestsWhileZooming: false,
    });
    this.#map.on("error", (event) => console.error("chart:", event.error.message));
  }

  show(chart: ChartData | null, inks: Inks): void {
    this.#shapes = chart?.shapes ?? EMPTY;
    this.paint(inks);
  }

  paint(inks: Inks): void {
    this.#map.setStyle(chartStyle(inks, this.#shapes), { diff: false });
  }

  look(camera: Camera): void {
    const side = Math.ceil(Math.hypot(camera.width, camera.height) / 2 + MARGIN_PX) * 2;
    if (side !== this.#side) {
      this.#side = side;
      this.#turning.style.width = `${side}px`;
      this.#turning.style.height = `${side}px`;
      this.#map.resize();
      this.#drawn = undefined;
    }
    let drawn = this.#drawn;
    if (drawn === undefined || Math.abs(drawn.pxPerM / camera.pxPerM - 1) > 1e-6 || this.#away(camera, drawn) > MARGIN_PX) {
      const middle = unproject(camera, camera.width / 2, camera.height / 2);
      drawn = { ...camera, plane: new Plane(middle.latDeg, middle.lonDeg), x: side / 2, y: side / 2, up: 0, width: side, height: side };
      this.#drawn = drawn;
      this.#map.jumpTo(mapView(drawn));
    }
    const [x, y] = project(affine(camera, drawn.plane), 0, 0);
    this.#turning.style.transform = `translate(${(x - side / 2).toFixed(2)}px, ${(y - side / 2).toFixed(2)}px) rotate(${(-camera.up).toFixed(5)}rad)`;
  }

  /** Pixels from the pane's middle to the middle of what is drawn. */
  #away(camera: Camera, drawn: Camera): number {
    const [x, y] = project(affine(camera, drawn.plane), 0, 0);
    return Math.hypot(x - camera.width / 2, y - camera.height / 2);
  }
}
