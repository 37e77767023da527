/** Where the sheet looks at this moment: the boat eased between poses, one camera a pane, the range that holds what is met. */
import type { Camera } from "../geo/camera";
import { anchorOf, AutoRange, Framing, holdingIndex, reachPx, speedIndex } from "../geo/framing";
import { Plane } from "../geo/mercator";
import { RANGES_NM } from "../geo/units";
import type { Boat } from "../layers/ink/view";
import { calledEcho } from "../state/say";
import { EasedAngle, EasedPlace, runOn } from "../state/smooth";
import type { State } from "../state/store";
import { upOf, type Pane } from "./panes";

export interface Place {
  readonly latDeg: number;
  readonly lonDeg: number;
}

export interface Looked {
  readonly boat: Boat;
  /** Radians; NaN: not known. */
  readonly heading: number;
  readonly cameras: readonly Camera[];
  /** False while the range is still being eased. */
  readonly isSettled: boolean;
}

export class Eye {
  readonly #heading = new EasedAngle();
  readonly #up = new EasedAngle();
  readonly #place = new EasedPlace();
  readonly #auto = new AutoRange();
  #framings: Framing[] = [];
  #paneKey = "";
  /** Where a held sheet was laid, and which bearing was up. */
  #hold: { readonly place: Place; readonly up: number } | null = null;

  /** `range`: takes a range that was chosen for the sheet. */
  constructor(private readonly range: (index: number) => void) {}

  get isPanned(): boolean {
    return this.#framings[0]?.isPanned === true;
  }

  /** A finger dragged the sheet, page pixels. */
  drag(dx: number, dy: number): void {
    for (const framing of this.#framings) framing.pan = [framing.pan[0] + dx, framing.pan[1] + dy];
  }

  /** Back to the boat. */
  back(): void {
    for (const framing of this.#framings) framing.pan = [0, 0];
  }

  /** At the next step all lies where it belongs, without easing: a tool was taken up, and a finger may be on the sheet at once. */
  jump(): void {
    for (const framing of this.#framings) framing.jump();
  }

  /** The sheet stands still under a drawing finger, as it lies at this moment; the boat goes on over it. */
  hold(camera: Camera | undefined): void {
    this.#hold = camera === undefined ? null : { place: { latDeg: camera.plane.latDeg, lonDeg: camera.plane.lonDeg }, up: camera.up };
  }

  step(state: State, now: number, dt: number, panes: readonly Pane[]): Looked {
    const { pose, settings } = state;
    const place = this.#place.step(targetOf(state, now), dt, 0.4, 60);
    const headingTarget = pose === null ? Number.NaN : (pose.headingDeg * Math.PI) / 180;
    const heading = Number.isNaN(headingTarget) ? Number.NaN : this.#heading.step(headingTarget, dt, 0.15);
    const cogDeg = pose === null ? Number.NaN : pose.cogDeg;
    const boat: Boat = { ...place, headingDeg: (heading * 180) / Math.PI, cogDeg, sogKn: pose === null ? Number.NaN : pose.sogKn };
    // Course-up is steadied harder: a course over the ground wanders where a heading does not.
    const upRad = this.#hold?.up ?? this.#up.step(upOf(settings.up, boat.headingDeg, cogDeg), dt, settings.up === "course" ? 1.2 : 0.18);
    const isNorth = settings.up === "north";
    const courseRad = (Number.isNaN(cogDeg) ? boat.headingDeg : cogDeg) * (Math.PI / 180) - upRad;
    const key = `${settings.up}|${panes.map((pane) => `${pane.width}x${pane.height}`).join()}`;
    if (key !== this.#paneKey) {
      this.#paneKey = key;
      const pan = this.#framings[0]?.pan ?? [0, 0];
      this.#framings = panes.map(() => new Framing());
      for (const framing of this.#framings) framing.pan = [...pan];
    }
    const anchors = panes.map((pane) => anchorOf(pane.free, isNorth, boat.sogKn, courseRad));
    if (!settings.rangeHeld && this.#hold === null) this.#choose(state, place, upRad, panes, anchors, dt);
    const rangeNm = RANGES_NM[settings.rangeIndex] ?? 1;
    let isSettled = true;
    const cameras = panes.map((pane, i) => {
      const framed = (this.#framings[i] as Framing).step(anchors[i] ?? [0, 0], rangeNm, reachPx(pane.width, pane.height, isNorth), dt);
      isSettled &&= framed.isSettled;
      const middle = this.#hold?.place ?? place;
      return { plane: new Plane(middle.latDeg, middle.lonDeg), x: framed.x, y: framed.y, up: upRad, pxPerM: framed.pxPerM, width: pane.width, height: pane.height };
    });
    return { boat, heading, cameras, isSettled };
  }

  /** The range for the speed, or the one that holds what is called, on the pane that shows the radar. */
  #choose(state: State, place: Place, up: number, panes: readonly Pane[], anchors: readonly (readonly [number, number])[], dt: number): void {
    const i = Math.max(panes.findIndex((pane) => pane.hasRadar), 0);
    const [pane, anchor] = [panes[i], anchors[i]];
    if (pane === undefined || anchor === undefined) return;
    const now = state.settings.rangeIndex;
    const offsets: [number, number][] = [];
    const id = calledEcho(state);
    const echo = id === null ? undefined : state.reading?.echoes.find((one) => one.id === id);
    if (echo !== undefined) {
      const plane = new Plane(place.latDeg, place.lonDeg);
      const [e, n] = [plane.east(echo.lon), plane.north(echo.lat)];
      offsets.push([e * Math.cos(up) - n * Math.sin(up), -(e * Math.sin(up) + n * Math.cos(up))]);
    }
    const wanted = holdingIndex(speedIndex(state.pose?.sogKn ?? Number.NaN), anchor, pane.free, reachPx(pane.width, pane.height, state.settings.up === "north"), offsets);
    const next = this.#auto.step(now, wanted, dt);
    if (next !== now) this.range(next);
  }
}

function targetOf(state: State, now: number): Place {
  const { pose, reading } = state;
  if (pose !== null && !Number.isNaN(pose.latDeg)) {
    if (state.affairs?.paused === true) return pose;
    return runOn(pose, (Number.isNaN(pose.ageS) ? 0 : pose.ageS) + (now - state.poseAt) / 1000);
  }
  if (reading?.own.lat != null && reading.own.lon != null) return { latDeg: reading.own.lat, lonDeg: reading.own.lon };
  const [west, south, east, north] = state.chart?.bounds ?? [0, 0, 0, 0];
  return { latDeg: (south + north) / 2, lonDeg: (west + east) / 2 };
}
