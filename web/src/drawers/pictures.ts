/** One leg of the plan as pictures, in the ink of the look: chart, the radar's expected picture, depth. */
import "./pictures.css";
import type { Inks } from "../look/table";
import { threeFigures } from "../geo/angles";
import type { LegPictures } from "../state/types";
import { make, svg } from "../panels/dom";

const DEPTH_WIDE = 360;
const DEPTH_TALL = 96;

/** The figures of a leg: what the helm has of it, each with a line of words. */
export function legFigures(pictures: LegPictures, courseDeg: number, inks: Inks): HTMLElement[] {
  const out: HTMLElement[] = [];
  if (pictures.chart !== undefined) out.push(figure("The chart along it, north up", chartOf(pictures.chart)));
  if (pictures.scope !== undefined) {
    const { scope } = pictures;
    const found = scope.marks.length === 0 ? "" : `. To be found: ${scope.marks.slice(0, 3).join("; ")}`;
    const words = `The radar as it should look at the turn, ${threeFigures(courseDeg)}° up, ${scope.scale_nm} NM${found}`;
    out.push(figure(words, scopeOf(scope.size, scope.levels, inks)));
  }
  if (pictures.depths !== undefined) {
    const { along_m: along, least_m: least, need_m: need } = pictures.depths;
    out.push(figure(`Charted depth along it in metres, ${BESIDE_WORDS}; dashes: what she needs, ${need} m`, depthOf(along, least, need)));
  }
  if (out.length === 0) out.push(make("p", "No chart touches this leg: there is nothing to draw."));
  return out;
}

const BESIDE_WORDS = "the least near the leg, no tide";

function figure(words: string, picture: Element): HTMLElement {
  const made = make("figure");
  made.append(picture, make("figcaption", words));
  return made;
}

/** The helm's own drawing; it names classes, and the style sheet inks them. */
function chartOf(text: string): Element {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  return document.importNode(parsed, true);
}

function scopeOf(size: number, levels: string, inks: Inks): HTMLCanvasElement {
  const canvas = make("canvas", "", { width: String(size), height: String(size), role: "img", "aria-label": "expected radar picture" });
  const ctx = canvas.getContext("2d");
  const data = scopePixels(size, levels, inks);
  ctx?.putImageData(new ImageData(data, size, size), 0, 0);
  return canvas;
}

/** Levels between the sheet and the strong echo's ink: never brighter than that. */
export function scopePixels(size: number, levels: string, inks: Pick<Inks, "sheet" | "echoStrong">): Uint8ClampedArray<ArrayBuffer> {
  const bytes = atob(levels);
  const data = new Uint8ClampedArray(size * size * 4);
  const mixed = (k: 0 | 1 | 2, level: number): number => inks.sheet[k] + (inks.echoStrong[k] - inks.sheet[k]) * level;
  for (let i = 0; i < size * size; i++) {
    const level = Math.min(1, (bytes.charCodeAt(i) || 0) / 220);
    data.set([mixed(0, level), mixed(1, level), mixed(2, level), 255], 4 * i);
  }
  return data;
}

/** The bottom as a line, broken where nothing is charted; below it ground. */
function depthOf(along: readonly number[], least: readonly (number | null)[], need: number): SVGElement {
  const drawn = svg("svg", { viewBox: `0 0 ${DEPTH_WIDE} ${DEPTH_TALL}`, width: "100%", role: "img", "aria-label": "charted depth along the leg" });
  const { ground, bottom, deepest } = depthPath(along, least, need);
  const y = DEPTH_TALL * (need / deepest);
  drawn.append(
    svg("path", { class: "ground", d: ground }),
    svg("path", { class: "bottom", d: bottom }),
    svg("path", { class: "need", d: `M0 ${y.toFixed(1)}H${DEPTH_WIDE}` }),
  );
  const label = svg("text", { x: 4, y: DEPTH_TALL - 6, class: "label" });
  label.textContent = `${deepest.toFixed(0)} m`;
  drawn.append(label);
  return drawn;
}

/** What is drawn of the depths: closed parts of ground and the line along their top; nothing where nothing is charted. */
export function depthPath(
  along: readonly number[], least: readonly (number | null)[], need: number,
): { ground: string; bottom: string; deepest: number } {
  const known = least.filter((depth): depth is number => depth !== null);
  const deepest = Math.max(2 * need, ...known) * 1.1;
  const end = Math.max(along.at(-1) ?? 1, 1);
  let ground = "";
  let bottom = "";
  let run: string[] = [];
  let first = 0;
  const close = (last: number): void => {
    if (run.length > 0) {
      bottom += `M${run.join("L")}`;
      ground += `M${first.toFixed(1)} ${DEPTH_TALL}L${run.join("L")}L${last.toFixed(1)} ${DEPTH_TALL}Z`;
    }
    run = [];
  };
  let x = 0;
  least.forEach((depth, k) => {
    if (depth === null) {
      close(x);
      return;
    }
    x = (DEPTH_WIDE * (along[k] ?? 0)) / end;
    if (run.length === 0) first = x;
    run.push(`${x.toFixed(1)} ${((DEPTH_TALL * Math.max(depth, 0)) / deepest).toFixed(1)}`);
  });
  close(x);
  return { ground, bottom, deepest };
}
