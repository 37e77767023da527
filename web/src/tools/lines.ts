/**
 * Parallel index lines: touch where one should lie and it lies there, along the bearing chosen, and keeps that distance
 * off the boat. What slides along it stays as far off as was meant.
 */
import { threeFigures } from "../geo/angles";
import { Plane } from "../geo/mercator";
import { sayDistance, type DistanceUnit } from "../geo/units";
import type { Place } from "../layers/ink/tools/measure";
import type { View } from "../layers/ink/view";
import type { Blade } from "../panels/bar";
import type { Settings } from "../state/store";
import type { Tool, ToolWords, Touch } from "./tool";

export type Lines = NonNullable<Settings["parallel"]>;

const CABLE_M = 185.2;

export class LinesTool implements Tool {
  readonly name = "lines";
  readonly restS = 60;
  readonly holdsView = false;
  readonly fadesPresent = false;

  constructor(
    private readonly boat: () => Place | null,
    private readonly unit: () => DistanceUnit,
    private readonly courseDeg: () => number,
    /** Course of the leg being run; null where no route is followed. */
    private readonly legDeg: () => number | null,
    private readonly get: () => Lines | null,
    private readonly set: (lines: Lines | null) => void,
    private readonly done: () => void,
  ) {}

  enter(): void {
    if (this.get() === null) this.set({ bearingDeg: this.#best(), offM: CABLE_M, isBoth: true });
  }

  leave(): void {
    // They stay when the tool is put down.
  }

  blades(): Blade[] {
    const both = this.get()?.isBoth !== false;
    return [
      { name: "course", value: () => threeFigures(this.courseDeg()), press: () => this.#change({ bearingDeg: Math.round(this.courseDeg()) }), stays: true },
      { name: "leg", value: () => threeFigures(this.legDeg() ?? 0), press: () => this.#change({ bearingDeg: Math.round(this.legDeg() ?? 0) }), stays: true, isShown: () => this.legDeg() !== null },
      { name: "sides", value: () => (both ? "both" : "one"), press: () => this.#change({ isBoth: !both }), stays: true },
      {
        name: "none", value: () => "",
        press: () => {
          this.set(null);
          this.done();
        },
      },
      { name: "done", value: () => "", press: this.done },
    ];
  }

  says(): ToolWords {
    const lines = this.get();
    if (lines === null) return { text: "Index lines: touch where one should lie.", isLoud: false };
    const side = lines.isBoth !== false ? "on both sides" : lines.offM < 0 ? "to port" : "to starboard";
    return { text: `Index lines ${threeFigures(lines.bearingDeg)}°, ${sayDistance(Math.abs(lines.offM), this.unit())} ${side}.`, isLoud: false };
  }

  down(touch: Touch): void {
    this.move(touch);
  }

  move(touch: Touch): void {
    const boat = this.boat();
    const lines = this.get();
    if (boat === null || lines === null) return;
    const offM = offOf(boat, touch.place, lines.bearingDeg);
    this.#change({ offM: lines.isBoth !== false ? Math.abs(offM) : offM });
  }

  up(touch: Touch): void {
    this.move(touch);
  }

  key(key: string, isFine: boolean): boolean {
    const lines = this.get();
    if (lines === null) return false;
    const step = isFine ? CABLE_M / 100 : CABLE_M / 10;
    switch (key) {
      case "ArrowLeft":
      case "ArrowRight": {
        const off = lines.offM + (key === "ArrowRight" ? step : -step);
        this.#change({ offM: lines.isBoth !== false ? Math.max(off, step) : off });
        return true;
      }
      case "ArrowUp":
      case "ArrowDown":
        this.#change({ bearingDeg: (lines.bearingDeg + (key === "ArrowUp" ? 1 : -1) * (isFine ? 1 : 5) + 360) % 360 });
        return true;
      case "Enter":
        this.#change({ bearingDeg: this.#best() });
        return true;
      default:
        return false;
    }
  }

  draw(_: View): void {
    // The sheet draws them itself, with or without the tool.
  }

  #best(): number {
    return Math.round(this.legDeg() ?? this.courseDeg()) % 360;
  }

  #change(change: Partial<Lines>): void {
    const lines = this.get();
    if (lines !== null) this.set({ ...lines, ...change });
  }
}

/** Metres a place lies off a line through the boat along a bearing; to starboard positive. */
export function offOf(boat: Place, place: Place, bearingDeg: number): number {
  const plane = new Plane(boat.latDeg, boat.lonDeg);
  const b = (bearingDeg * Math.PI) / 180;
  return plane.east(place.lonDeg) * Math.cos(b) - plane.north(place.latDeg) * Math.sin(b);
}
