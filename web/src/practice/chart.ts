/** The chart beside the picture, north up; and the lights as the eye has them. */
import { drawChart, drawNote, drawTouch, FONT, sized, SHOUT, SPEAK, WHISPER } from "./draw";
import type { MapPart, Note, Place, Spot } from "./types";

export class ChartPanel {
  #map: MapPart | null = null;
  #headingDeg: number | null = null;
  #notes: readonly Note[] = [];
  #touch: Place | null = null;

  constructor(readonly canvas: HTMLCanvasElement) {
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  show(map: MapPart, headingDeg: number | null): void {
    this.#map = map;
    this.#headingDeg = map.boat === null ? null : headingDeg;
    this.#notes = [];
    this.#touch = null;
    this.draw();
  }

  solve(notes: readonly Note[]): void {
    this.#notes = notes;
    this.draw();
  }

  get touch(): Place | null {
    return this.#touch;
  }

  set touch(place: Place | null) {
    this.#touch = place;
    this.draw();
  }

  #metres(): number {
    return this.#map === null ? 1 : (2.04 * this.#map.reach_m) / Math.max(this.canvas.clientWidth, 1);
  }

  placeUnder(x: number, y: number): Place {
    const half = this.canvas.clientWidth / 2;
    return [(x - half) * this.#metres(), (half - y) * this.#metres()];
  }

  pixelOf = ([east, north]: Place): readonly [number, number] => {
    const half = this.canvas.clientWidth / 2;
    return [half + east / this.#metres(), half - north / this.#metres()];
  };

  draw(): void {
    const map = this.#map;
    if (map === null || this.canvas.clientWidth === 0) return;
    const [ink, width] = sized(this.canvas);
    drawChart(ink, map, this.pixelOf);
    ink.fillStyle = SPEAK;
    ink.font = FONT;
    ink.textBaseline = "top";
    ink.fillText("chart, north up", 6, 4);
    // A mile, to measure by.
    const mile = 1852 / this.#metres();
    ink.strokeStyle = SPEAK;
    ink.beginPath();
    ink.moveTo(8, width - 12);
    ink.lineTo(8 + mile, width - 12);
    ink.stroke();
    ink.fillText("1 NM", 10, width - 32);
    if (map.boat !== null) {
      const [x, y] = this.pixelOf(map.boat);
      const turn = ((this.#headingDeg ?? 0) * Math.PI) / 180;
      ink.strokeStyle = SHOUT;
      ink.beginPath();
      ink.arc(x, y, 5, 0, 2 * Math.PI);
      ink.moveTo(x, y);
      ink.lineTo(x + 40 * Math.sin(turn), y - 40 * Math.cos(turn));
      ink.stroke();
    }
    for (const note of this.#notes) drawNote(ink, note, this.pixelOf, width);
    if (this.#touch !== null) drawTouch(ink, this.pixelOf(this.#touch));
  }
}

/** True colours: this is what the eye sees, and the only place of the page that is not red. */
const LIGHT = { white: "#fff6e4", red: "#ff2418", green: "#1fdc5a", yellow: "#ffc21e", blue: "#4a7cff" } as const;

export function drawLights(canvas: HTMLCanvasElement, spots: readonly Spot[], named: boolean): void {
  if (canvas.clientWidth === 0) return;
  const [ink, width, height] = sized(canvas);
  const water = height * 0.8;
  ink.strokeStyle = WHISPER;
  ink.lineWidth = 1;
  ink.beginPath();
  ink.moveTo(0, water);
  ink.lineTo(width, water);
  ink.stroke();
  const scale = Math.min(width, height);
  for (const spot of spots) {
    const x = width / 2 + spot.across * scale * 0.8;
    const y = water - spot.up * scale * 0.75;
    ink.fillStyle = LIGHT[spot.colour];
    ink.beginPath();
    ink.arc(x, y, 5, 0, 2 * Math.PI);
    ink.fill();
    if (named) {
      ink.font = FONT;
      ink.fillStyle = SPEAK;
      ink.fillText(spot.colour + (spot.flashing ? ", flashing" : ""), x + 11, y);
    }
  }
}
