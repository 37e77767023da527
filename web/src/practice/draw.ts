/** Ink on scope and chart: notes by role (each with a form of its own, never by colour alone), shores, marks. */
import type { Chart, Note, Place, Role } from "./types";

export const WHISPER = "#700402";
export const SPEAK = "#c40e06";
export const SHOUT = "#ff160a";
export const FONT = '15px "Atkinson Hyperlegible Next Variable", sans-serif';
const INK: Readonly<Record<Role, string>> = { asked: SHOUT, truth: SHOUT, charted: SPEAK, hidden: SPEAK, chance: SPEAK };
const DASH: Readonly<Record<Role, readonly number[]>> = { asked: [], truth: [], charted: [7, 4], hidden: [2, 4], chance: [10, 3, 2, 3] };

export type ToPixel = (place: Place) => readonly [number, number];

export function drawChart(ink: CanvasRenderingContext2D, chart: Chart, at: ToPixel): void {
  ink.strokeStyle = WHISPER;
  ink.lineWidth = 1.6;
  ink.setLineDash([]);
  ink.beginPath();
  for (const line of chart.lines) {
    line.forEach((place, k) => {
      const [x, y] = at(place);
      if (k === 0) ink.moveTo(x, y);
      else ink.lineTo(x, y);
    });
  }
  for (const mark of chart.marks) {
    const [x, y] = at(mark.at);
    ink.moveTo(x - 5, y);
    ink.lineTo(x + 5, y);
    ink.moveTo(x, y - 5);
    ink.lineTo(x, y + 5);
  }
  ink.stroke();
}

export function drawNote(ink: CanvasRenderingContext2D, note: Note, at: ToPixel, width: number, quiet = false): void {
  const pixels = note.at.map(at);
  const first = pixels[0];
  if (first === undefined) return;
  ink.strokeStyle = INK[note.role];
  ink.fillStyle = INK[note.role];
  ink.lineWidth = 2;
  ink.setLineDash([...DASH[note.role]]);
  ink.beginPath();
  let tip = first;
  if (note.form === "ring") {
    ink.arc(first[0], first[1], 14, 0, 2 * Math.PI);
    if (note.role === "truth") {
      ink.moveTo(first[0] + 19, first[1]);
      ink.arc(first[0], first[1], 19, 0, 2 * Math.PI);
    }
  } else {
    pixels.forEach(([x, y], k) => (k === 0 ? ink.moveTo(x, y) : ink.lineTo(x, y)));
    if (note.form === "area") ink.closePath();
    else tip = pixels[pixels.length - 1] ?? first;
  }
  ink.stroke();
  ink.setLineDash([]);
  if (note.label === "" || quiet) return;
  ink.font = FONT;
  const long = ink.measureText(note.label).width;
  const right = tip[0] + 24 + long < width;
  const x = right ? tip[0] + 23 : tip[0] - 23 - long;
  ink.fillStyle = "#000";
  ink.fillRect(x - 3, tip[1] - 10, long + 6, 20);
  ink.fillStyle = INK[note.role];
  ink.textBaseline = "middle";
  ink.fillText(note.label, x, tip[1]);
}

export function drawTouch(ink: CanvasRenderingContext2D, [x, y]: readonly [number, number]): void {
  ink.strokeStyle = SHOUT;
  ink.lineWidth = 2;
  ink.setLineDash([]);
  ink.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
    ink.moveTo(x + 6 * dx, y + 6 * dy);
    ink.lineTo(x + 20 * dx, y + 20 * dy);
  }
  ink.stroke();
}

/** Size a canvas to its box in device pixels; returns its ink in CSS pixels and the side of the box. */
export function sized(canvas: HTMLCanvasElement): readonly [CanvasRenderingContext2D, number, number] {
  const dense = window.devicePixelRatio || 1;
  const { clientWidth: width, clientHeight: height } = canvas;
  if (canvas.width !== Math.round(width * dense) || canvas.height !== Math.round(height * dense)) {
    canvas.width = Math.round(width * dense);
    canvas.height = Math.round(height * dense);
  }
  const ink = canvas.getContext("2d");
  if (ink === null) throw new Error("this browser cannot draw");
  ink.setTransform(dense, 0, 0, dense, 0, 0);
  ink.clearRect(0, 0, width, height);
  return [ink, width, height];
}
