/** The scope: one look at a time, bow up, trails beneath the newest, rings and bearings, and what is noted on it. */
import { drawChart, drawNote, drawTouch, FONT, sized, SPEAK, WHISPER } from "./draw";
import { levels, NEUTRAL } from "./raw";
import type { Exercise, Knobs, Note, Overlay, Pictures, Place } from "./types";

const NM = 1852;
/** Pixels of the picture's own raster, each way. */
const SIDE = 640;
/** From just painted to full, dB. */
const SPAN_DB = 46;
const TRAIL = 0.4;
const MARGIN = 36;

export class Scope {
  #pictures: Pictures | null = null;
  #looks: Uint8Array[] = [];
  #look = 0;
  #scaleNm = 1.5;
  #knobs: Knobs = NEUTRAL;
  #asked: readonly Note[] = [];
  #notes: readonly Note[] = [];
  #overlay: Overlay | null = null;
  #headingDeg = 0;
  #touch: Place | null = null;
  readonly #raster = document.createElement("canvas");

  constructor(readonly canvas: HTMLCanvasElement) {
    this.#raster.width = this.#raster.height = SIDE;
    new ResizeObserver(() => this.#ink()).observe(canvas);
  }

  show(exercise: Exercise, pictures: Pictures, looks: Uint8Array[]): void {
    this.#pictures = pictures;
    this.#looks = looks;
    this.#look = looks.length - 1;
    this.#scaleNm = pictures.scale_nm;
    this.#knobs = { ...exercise.view, scale_nm: pictures.scale_nm };
    this.#asked = exercise.asked;
    this.#notes = [];
    this.#overlay = exercise.overlay;
    this.#headingDeg = pictures.looks[this.#look]?.shown_deg ?? 0;
    this.#touch = null;
    this.draw();
  }

  /** Lay the truth over the picture, by the true heading. */
  solve(notes: readonly Note[], overlay: Overlay | null): void {
    this.#notes = notes;
    if (overlay !== null) {
      this.#overlay = overlay;
      this.#headingDeg = overlay.true_deg;
    }
    this.#look = this.#looks.length - 1;
    this.draw();
  }

  set knobs(knobs: Knobs) {
    this.#knobs = knobs;
    this.#scaleNm = knobs.scale_nm;
    this.draw();
  }

  set look(index: number) {
    this.#look = index;
    this.draw();
  }

  get touch(): Place | null {
    return this.#touch;
  }

  set touch(place: Place | null) {
    this.#touch = place;
    this.#ink();
  }

  /** The place of a range (NM) and a relative bearing. */
  placeAt(rangeNm: number, relativeDeg: number): Place {
    const turn = ((this.#headingDeg + relativeDeg) * Math.PI) / 180;
    return [rangeNm * NM * Math.sin(turn), rangeNm * NM * Math.cos(turn)];
  }

  /** The place under a pixel of the canvas; null outside the picture. */
  placeUnder(x: number, y: number): Place | null {
    const { middle, radius } = this.#size();
    const right = x - middle;
    const up = middle - y;
    const away = Math.hypot(right, up);
    if (away > radius) return null;
    return this.placeAt((away / radius) * this.#scaleNm, (Math.atan2(right, up) * 180) / Math.PI);
  }

  /** Where on the canvas a place lies. */
  pixelOf([east, north]: Place): readonly [number, number] {
    const { middle, radius } = this.#size();
    const away = (Math.hypot(east, north) / (this.#scaleNm * NM)) * radius;
    const turn = Math.atan2(east, north) - (this.#headingDeg * Math.PI) / 180;
    return [middle + away * Math.sin(turn), middle - away * Math.cos(turn)];
  }

  draw(): void {
    this.#paint();
    this.#ink();
  }

  #size(): { middle: number; radius: number } {
    const side = this.canvas.clientWidth;
    return { middle: side / 2, radius: side / 2 - MARGIN };
  }

  #paint(): void {
    const pictures = this.#pictures;
    const ink = this.#raster.getContext("2d");
    if (pictures === null || ink === null) return;
    const image = ink.createImageData(SIDE, SIDE);
    const strength = new Float32Array(SIDE * SIDE);
    const newest = this.#looks.length - 1;
    const isTrailing = pictures.trails !== "none" && this.#look === newest;
    const first = isTrailing ? 0 : this.#look;
    for (let k = first; k <= this.#look; k++) {
      this.#lay(pictures, k, strength, k === this.#look ? 1 : TRAIL * (0.4 + (0.6 * k) / Math.max(newest, 1)));
    }
    for (let p = 0; p < strength.length; p++) {
      const s = strength[p] ?? 0;
      image.data[4 * p] = s > 0 ? 40 + 190 * s : 6;
      image.data[4 * p + 1] = 18 * s * s;
      image.data[4 * p + 2] = 8 * s * s * s;
      image.data[4 * p + 3] = 255;
    }
    ink.putImageData(image, 0, 0);
  }

  /** Lay one look into the picture; what is stronger stays. */
  #lay(pictures: Pictures, index: number, strength: Float32Array, share: number): void {
    const counts = this.#looks[index];
    const look = pictures.looks[index];
    if (counts === undefined || look === undefined) return;
    const level = levels(counts, pictures, this.#knobs);
    const { n_spoke: nSpoke, n_cell: nCell } = pictures;
    const metresAPixel = (2 * this.#scaleNm * NM) / SIDE;
    const wide = Math.max(1, Math.floor(metresAPixel / pictures.cell_m));
    // By true trails an earlier look lies where the boat then was.
    const turn = (look.shown_deg * Math.PI) / 180;
    const moved = pictures.trails === "true" && index < this.#looks.length - 1 ? [look.east, look.north] : [0, 0];
    const shiftRight = (moved[0] ?? 0) * Math.cos(turn) - (moved[1] ?? 0) * Math.sin(turn);
    const shiftUp = (moved[0] ?? 0) * Math.sin(turn) + (moved[1] ?? 0) * Math.cos(turn);
    const half = SIDE / 2;
    for (let y = 0; y < SIDE; y++) {
      const up = (half - y - 0.5) * metresAPixel;
      for (let x = 0; x < SIDE; x++) {
        const right = (x + 0.5 - half) * metresAPixel;
        if (right * right + up * up > (half * metresAPixel) ** 2) continue;
        const r = right - shiftRight;
        const u = up - shiftUp;
        const cell = Math.round((Math.hypot(r, u) - pictures.first_m) / pictures.cell_m);
        if (cell < 0 || cell >= nCell) continue;
        let spoke = Math.round((Math.atan2(r, u) / (2 * Math.PI)) * nSpoke);
        if (spoke < 0) spoke += nSpoke;
        const row = (spoke % nSpoke) * nCell;
        let peak = level[row + cell] ?? -99;
        for (let j = 1; j < wide && cell + j < nCell; j++) peak = Math.max(peak, level[row + cell + j] ?? -99);
        if (peak <= 0) continue;
        const value = share * (0.2 + 0.8 * Math.min(peak / SPAN_DB, 1));
        const p = y * SIDE + x;
        if (value > (strength[p] ?? 0)) strength[p] = value;
      }
    }
  }

  #ink(): void {
    const pictures = this.#pictures;
    if (this.canvas.clientWidth === 0) return;
    const [ink, width] = sized(this.canvas);
    if (pictures === null) return;
    const { middle, radius } = this.#size();
    ink.save();
    ink.beginPath();
    ink.arc(middle, middle, radius, 0, 2 * Math.PI);
    ink.clip();
    ink.drawImage(this.#raster, middle - radius, middle - radius, 2 * radius, 2 * radius);
    if (this.#overlay !== null) drawChart(ink, this.#overlay, (place) => this.pixelOf(place));
    ink.restore();
    this.#rings(ink, middle, radius, pictures.rings);
    const isSolved = this.#notes.length > 0;
    for (const note of this.#asked) drawNote(ink, note, (p) => this.pixelOf(p), width, isSolved);
    for (const note of this.#notes) drawNote(ink, note, (p) => this.pixelOf(p), width);
    if (this.#touch !== null) drawTouch(ink, this.pixelOf(this.#touch));
  }

  #rings(ink: CanvasRenderingContext2D, middle: number, radius: number, count: number): void {
    ink.strokeStyle = WHISPER;
    ink.fillStyle = SPEAK;
    ink.font = FONT;
    ink.lineWidth = 1;
    ink.setLineDash([]);
    ink.textAlign = "left";
    ink.textBaseline = "top";
    for (let k = 1; k <= count; k++) {
      const r = (radius * k) / count;
      ink.beginPath();
      ink.arc(middle, middle, r, 0, 2 * Math.PI);
      ink.stroke();
      ink.fillText(String(Number(((this.#scaleNm * k) / count).toPrecision(3))), middle + 5, middle - r + 3);
    }
    ink.beginPath();
    ink.moveTo(middle, middle);
    ink.lineTo(middle, middle - radius);
    for (let degrees = 0; degrees < 360; degrees += 10) {
      const angle = (degrees * Math.PI) / 180;
      const long = degrees % 30 === 0 ? 9 : 4;
      ink.moveTo(middle + radius * Math.sin(angle), middle - radius * Math.cos(angle));
      ink.lineTo(middle + (radius + long) * Math.sin(angle), middle - (radius + long) * Math.cos(angle));
    }
    ink.stroke();
    ink.textAlign = "center";
    ink.textBaseline = "middle";
    ink.font = FONT.replace("15px", "12px");
    for (let degrees = 0; degrees < 360; degrees += 30) {
      const angle = (degrees * Math.PI) / 180;
      ink.fillText(String(degrees).padStart(3, "0"), middle + (radius + 17) * Math.sin(angle), middle - (radius + 17) * Math.cos(angle));
    }
    const north = (-this.#headingDeg * Math.PI) / 180;
    ink.font = FONT;
    ink.fillText("N", middle + (radius - 12) * Math.sin(north), middle - (radius - 12) * Math.cos(north));
    ink.textAlign = "left";
  }
}
