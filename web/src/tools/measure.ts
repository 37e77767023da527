/** Range and bearing: touch a place for it from the boat; drag from one place to another for it between the two. */
import { drawMeasure, type Place } from "../layers/ink/tools/measure";
import { threeFigures } from "../geo/angles";
import { rangeBearing } from "../geo/mercator";
import { sayDistance, type DistanceUnit } from "../geo/units";
import type { View } from "../layers/ink/view";
import type { Blade } from "../panels/bar";
import { stepped, STEP_PX, type Tool, type ToolSheet, type ToolWords, type Touch } from "./tool";

/** A finger that moved less than this has touched, not dragged. */
const DRAG_PX = 14;

export class MeasureTool implements Tool {
  readonly name = "measure";
  readonly restS = 120;
  readonly holdsView = false;
  readonly fadesPresent = false;
  #from: Place | null = null;
  #to: Place | null = null;
  #began: Touch | null = null;

  constructor(
    private readonly sheet: ToolSheet,
    private readonly boat: () => Place | null,
    private readonly unit: () => DistanceUnit,
    private readonly done: () => void,
  ) {}

  enter(): void {
    this.#from = null;
    this.#to = null;
  }

  leave(): void {
    this.#began = null;
  }

  blades(): Blade[] {
    return [
      { name: "from here", value: () => "", press: () => this.#fromHere(), stays: true, isShown: () => this.#to !== null },
      { name: "from boat", value: () => "", press: () => (this.#from = null), stays: true, isShown: () => this.#from !== null },
      { name: "done", value: () => "", press: this.done },
    ];
  }

  says(): ToolWords {
    const from = this.#from ?? this.boat();
    if (this.#to === null || from === null) return { text: "Measure: touch a place, or drag between two.", isLoud: false };
    const { rangeM, bearingDeg } = rangeBearing(from.latDeg, from.lonDeg, this.#to.latDeg, this.#to.lonDeg);
    const whence = this.#from === null ? "From the boat" : "Between the two";
    return { text: `${whence}: ${sayDistance(rangeM, this.unit())}, ${threeFigures(bearingDeg)}° true.`, isLoud: false };
  }

  down(touch: Touch): void {
    this.#began = touch;
  }

  move(touch: Touch): void {
    const began = this.#began;
    if (began === null || Math.hypot(touch.x - began.x, touch.y - began.y) < DRAG_PX) return;
    this.#from = began.place;
    this.#to = touch.place;
  }

  up(touch: Touch): void {
    const began = this.#began;
    this.#began = null;
    if (began !== null && Math.hypot(touch.x - began.x, touch.y - began.y) < DRAG_PX) {
      this.#from = null;
      this.#to = touch.place;
    }
  }

  key(key: string, isFine: boolean): boolean {
    if (key === "Enter") {
      this.#fromHere();
      return true;
    }
    if (key === "Backspace") {
      this.#from = null;
      return true;
    }
    const now = this.#to ?? this.#start();
    const next = now === null ? null : stepped(this.sheet, now, key, isFine);
    if (next === null) return false;
    this.#to = next;
    return true;
  }

  draw(view: View): void {
    drawMeasure(view, { from: this.#from, to: this.#to });
  }

  #fromHere(): void {
    this.#from = this.#to;
  }

  /** Keys begin a little ahead of the boat. */
  #start(): Place | null {
    const boat = this.boat();
    const pixel = boat === null ? null : this.sheet.pixelOf(boat.latDeg, boat.lonDeg);
    return pixel === null ? null : this.sheet.placeAt(pixel[0], pixel[1] - 3 * STEP_PX);
  }
}
