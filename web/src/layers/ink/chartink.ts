/** What the chart writes on the sheet: marks no echo has explained, lights, dangers, bridges, soundings, names. All in a whisper. */
import { mercatorX, mercatorY } from "../../geo/mercator";
import { css } from "../../look/table";
import type { DangerThing, LightThing, MarkThing, Sector } from "../../map/things";
import type { State } from "../../state/store";
import { atUnit, css2, ink, isOnSheet, screenAngle, type View } from "./view";

/** What the dangers' own forms tell is not crossed as a mark as well. */
const IS_DANGER: ReadonlySet<string> = new Set(["WRECKS", "UWTROC", "OBSTRN"]);
/** Zooms further out than this leave places out that begin at it: chart alone, and under the radar. */
const EARLY = 0.2;
const UNDER_RADAR = 0.6;
const FONT = '"Atkinson Hyperlegible Next Variable", sans-serif';

interface Explained {
  readonly names: ReadonlySet<string>;
  readonly ids: ReadonlySet<string>;
}

/** Marks now held by an echo are drawn by it; their names come with it. */
function explained(state: State): Explained {
  const names = new Set<string>();
  const ids = new Set<string>();
  for (const { charted_as: as } of state.reading?.echoes ?? []) {
    if (as === null) continue;
    ids.add(`${as.cell}/${as.feature}`);
    if (as.name !== null) names.add(as.name);
  }
  for (const mark of state.reading?.missing ?? []) if (mark.name !== null) names.add(mark.name);
  return { names, ids };
}

function isExplained(mark: MarkThing, by: Explained): boolean {
  return by.ids.has(mark.id) || (mark.name !== null && by.names.has(mark.name));
}

/** How far a thing that begins at a zoom is shown from here; under a radar picture the chart says less. */
function reach(view: View): number {
  return view.zoom + (view.hasRadar ? EARLY - UNDER_RADAR : EARLY);
}

export function drawChartMarks(view: View): void {
  const { ctx, things } = view;
  const by = explained(view.state);
  const far = reach(view);
  for (const light of things.lights) if (light.zoom <= far) drawLight(view, light);
  for (const danger of things.dangers) if (danger.zoom <= far) drawDanger(view, danger);
  ctx.lineWidth = 1.1;
  ctx.strokeStyle = ink(view, "whisper", 0.95);
  ctx.beginPath();
  for (const mark of things.marks) {
    // A zoom before it is named.
    if (mark.zoom > far || namedFrom(mark) > view.zoom + 1 || IS_DANGER.has(mark.object)) continue;
    const [x, y] = atUnit(view, mark);
    if (!isOnSheet(view, x, y, 10)) continue;
    if (!isExplained(mark, by)) {
      ctx.moveTo(x, y - 4);
      ctx.lineTo(x, y + 4);
      ctx.moveTo(x - 4, y);
      ctx.lineTo(x + 4, y);
      // What floats stands on a short waterline.
      if (mark.isFloating) ctx.moveTo(x - 3, y + 6.5), ctx.lineTo(x + 3, y + 6.5);
    }
    if (mark.isLit) ctx.moveTo(x + 3.4, y - 3.4), ctx.lineTo(x + 8.4, y - 8.4);
  }
  ctx.stroke();
}

/** A light's sectors as arcs where it is seen from, with their colours' letters: red light shows no colours. */
function drawLight(view: View, light: LightThing): void {
  if (light.sectors.length === 0 || view.zoom < 12) return;
  const { ctx } = view;
  const [x, y] = atUnit(view, light);
  if (!isOnSheet(view, x, y, 40)) return;
  const r = view.zoom < 13.5 ? 20 : 30;
  ctx.strokeStyle = ink(view, "whisper", 0.9);
  for (const sector of light.sectors) {
    // Limits are bearings from seaward: the light shines the other way.
    const from = screenAngle(view, sector.fromDeg + 180);
    const span = ((((sector.toDeg - sector.fromDeg) % 360) + 360) % 360 || 360) * (Math.PI / 180);
    ctx.lineWidth = 0.9;
    ctx.setLineDash([2, 3]);
    ctx.beginPath();
    for (const a of span < 6.28 ? [from, from + span] : []) {
      ctx.moveTo(x + 7 * Math.cos(a), y + 7 * Math.sin(a));
      ctx.lineTo(x + (r + 7) * Math.cos(a), y + (r + 7) * Math.sin(a));
    }
    ctx.stroke();
    ctx.lineWidth = sector.colours === "R" ? 2.6 : 1.4;
    ctx.setLineDash(sector.colours === "G" ? [4, 3] : []);
    ctx.beginPath();
    const letters = letterOf(sector);
    const middle = from + span / 2;
    const box = { x: x + r * Math.cos(middle) - 7, y: y + r * Math.sin(middle) - 7, w: 14, h: 14 };
    const half = letters === "" || span * r < 16 || !view.labels.take(letters, box) ? 0 : 6 / r;
    if (half === 0) ctx.arc(x, y, r, from, from + span);
    else {
      ctx.arc(x, y, r, from, middle - half);
      ctx.moveTo(x + r * Math.cos(middle + half), y + r * Math.sin(middle + half));
      ctx.arc(x, y, r, middle + half, from + span);
    }
    ctx.stroke();
    ctx.setLineDash([]);
    if (half === 0) continue;
    ctx.font = `500 11px ${FONT}`;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.fillStyle = css2(view, "whisper");
    ctx.fillText(letters, x + r * Math.cos(middle), y + r * Math.sin(middle) + 0.5);
  }
  view.labels.block(x - 8, y - 8, 16, 16);
}

function letterOf(sector: Sector): string {
  return sector.colours.slice(0, 2);
}

/** Rock: a star of three strokes. Wreck: a keel with three ribs. Else: dots alone. A ring of dots where it is shoaler than the boat needs. */
function drawDanger(view: View, danger: DangerThing): void {
  const { ctx } = view;
  const [x, y] = atUnit(view, danger);
  if (!isOnSheet(view, x, y, 12)) return;
  const isClose = danger.depthM === null || danger.depthM < view.safetyM;
  // Alone in water that is else deep enough: this is what a danger's form is for. Where the water itself is too shoal
  // the safety contour has said so, and where it is deep enough over the thing the sounding beside it does.
  const isAlone = isClose && danger.aroundM !== null && danger.aroundM >= view.safetyM;
  if (!isAlone && view.zoom < 13.2) return;
  ctx.strokeStyle = isAlone ? css2(view, "whisper") : ink(view, "whisper", 0.7);
  ctx.lineWidth = 1.2;
  ctx.beginPath();
  if (danger.object === "UWTROC") {
    for (const a of [Math.PI / 2, Math.PI / 6, -Math.PI / 6]) {
      ctx.moveTo(x - 4 * Math.cos(a), y - 4 * Math.sin(a));
      ctx.lineTo(x + 4 * Math.cos(a), y + 4 * Math.sin(a));
    }
  } else if (danger.object === "WRECKS") {
    ctx.moveTo(x - 7, y);
    ctx.lineTo(x + 7, y);
    for (const [dx, h] of [[-3.5, 2.6], [0, 4.2], [3.5, 2.6]] as const) {
      ctx.moveTo(x + dx, y - h);
      ctx.lineTo(x + dx, y + h);
    }
  } else {
    ctx.moveTo(x + 1.3, y);
    ctx.arc(x, y, 1.3, 0, 2 * Math.PI);
  }
  ctx.stroke();
  if (!isAlone) return;
  ctx.setLineDash(danger.shows ? [] : [1.2, 2.6]);
  ctx.beginPath();
  ctx.arc(x, y, 8.5, 0, 2 * Math.PI);
  ctx.stroke();
  ctx.setLineDash([]);
}

/** Names on the sheet at once: more are noise. */
const NAMED = 16;
const BRIDGES = 6;

/** The zoom a mark is named from: what a boat steers by sooner, what she merely passes later. */
function namedFrom(mark: MarkThing): number {
  if (/^(BCN|BOY)(CAR|ISD|SAW)$|^LIT(FLT|VES)$|^LIGHTS$/.test(mark.object)) return 11.2;
  if (/^(BCN|BOY)LAT$/.test(mark.object)) return mark.isLit ? 11.8 : 12.6;
  return 13.6;
}

/** What is painted on it: "13" of "Main Channel Lighted Buoy 13"; the whole name where it bears no number. */
export function shortName(name: string): string {
  const number = /(?:^|\s)(\d+[A-Z]{0,2}|[A-Z]{1,2})$/.exec(name)?.[1];
  return number === undefined ? name : `“${number}”`;
}

/** The nearest to the boat among those on the sheet, nearest first. */
function nearest<T extends { readonly ux: number; readonly uy: number }>(view: View, things: readonly T[], most: number): T[] {
  const [bx, by] = atUnit(view, { ux: mercatorX(view.boat.lonDeg), uy: mercatorY(view.boat.latDeg) });
  return things
    .map((thing) => ({ thing, at: atUnit(view, thing) }))
    .filter(({ at }) => isOnSheet(view, at[0], at[1], -4) && at[1] < view.footTop)
    .sort((a, b) => Math.hypot(a.at[0] - bx, a.at[1] - by) - Math.hypot(b.at[0] - bx, b.at[1] - by))
    .slice(0, most)
    .map(({ thing }) => thing);
}

export function nameChart(view: View): void {
  const { ctx, things } = view;
  const halo = css(view.inks.sheet, 0.7);
  const whisper = css2(view, "whisper");
  const far = reach(view);
  if (view.rangeNm <= 6) {
    for (const bridge of nearest(view, things.bridges, BRIDGES)) {
      // Bridges without a name are many and small: they are told where they matter, close by.
      if (bridge.name === null && view.rangeNm > 1.5) continue;
      const [x, y] = atUnit(view, bridge);
      if (!isOnSheet(view, x, y) || y > view.footTop) continue;
      const said = [bridge.name ?? "bridge"];
      said.push(bridge.clearM === null ? "clearance not charted" : `${bridge.clearM} m clear`);
      if (bridge.opens) said.push(bridge.openM === null ? "opens" : `opens to ${bridge.openM} m`);
      const long = bridge.widthM === null || view.rangeNm > 1.5 ? said : [...said, `${bridge.widthM} m wide`];
      if (!view.labels.isFirst(said.join(", "))) continue;
      view.labels.write(ctx, long.join(", "), x, y, 14, 13, whisper, halo);
    }
  }
  const by = explained(view.state);
  const named = things.marks.filter((mark) => mark.name !== null && mark.zoom <= far && namedFrom(mark) <= view.zoom && !isExplained(mark, by));
  for (const mark of nearest(view, named, NAMED)) {
    const [x, y] = atUnit(view, mark);
    if (mark.name === null || !isOnSheet(view, x, y, -8) || y > view.footTop || !view.labels.isFirst(mark.name)) continue;
    // The light's character where there is room, the name alone where there is not; further off the number it bears.
    const name = view.rangeNm > 1.5 ? shortName(mark.name) : mark.name;
    const long = mark.light === null || view.rangeNm > 1 ? null : `${name}, ${mark.light}`;
    if (long !== null && view.labels.write(ctx, long, x, y, 10, 12, whisper, halo)) continue;
    view.labels.write(ctx, name, x, y, 10, 12, whisper, halo);
  }
  if (view.rangeNm <= 3) {
    for (const wire of nearest(view, things.overheads, BRIDGES)) {
      if (wire.zoom > far) continue;
      const [x, y] = atUnit(view, wire);
      if (!isOnSheet(view, x, y, -8) || y > view.footTop) continue;
      const clear = wire.clearM === null ? "clearance not charted" : `${wire.clearM} m clear`;
      view.labels.write(ctx, `${wire.name ?? "overhead cable"}, ${clear}`, x, y, 8, 12, whisper, halo);
    }
  }
}

/** Names of waters and lands, last of all words: they help to know the place and nothing else. */
export function namePlaces(view: View): void {
  const { ctx, things } = view;
  const far = reach(view);
  const perUnit = view.camera.plane.metresPerUnit * view.camera.pxPerM;
  let written = 0;
  for (const place of things.names) {
    if (place.zoom > far || written >= 10) continue;
    // Wider than a few sheets: where one is, not what one looks for.
    if (place.wide * perUnit > 6 * view.camera.width) continue;
    const [x, y] = atUnit(view, place);
    if (!isOnSheet(view, x, y, -12) || y > view.footTop || !view.labels.isFirst(place.name)) continue;
    ctx.letterSpacing = "1.5px";
    if (view.labels.write(ctx, place.name, x, y, -1, 12, ink(view, "whisper"), css(view.inks.sheet, 0.6))) written += 1;
    ctx.letterSpacing = "0px";
  }
}

export function drawSoundings(view: View): void {
  if (view.rangeNm > 3) return;
  const { ctx, things } = view;
  const far = reach(view);
  const [shoal, deep] = [css2(view, "whisper"), ink(view, "whisper", 0.9)];
  ctx.textBaseline = "alphabetic";
  ctx.textAlign = "left";
  for (const sounding of things.soundings) {
    // In order of zoom: nothing after this one begins nearer.
    if (sounding.zoom > far) break;
    const [x, y] = atUnit(view, sounding);
    if (!isOnSheet(view, x, y, -12) || y > view.footTop) continue;
    writeDepth(view, sounding.depthM, x, y, sounding.depthM < view.safetyM ? shoal : deep);
  }
}

/** A depth as charts write it: whole metres, the tenth small and lower; above datum with a line beneath. */
function writeDepth(view: View, depthM: number, x: number, y: number, colour: string): void {
  const { ctx } = view;
  // Never said deeper than charted, nor drier by less: depths are cut to tenths, from ten metres on to whole metres, and
  // heights of what dries are filled up.
  const tenths = depthM < 0 ? Math.ceil(-depthM * 10 - 1e-6) : Math.floor(depthM * 10 + 1e-6);
  const whole = String(Math.floor(tenths / 10));
  const tenth = Math.abs(depthM) < 10 && tenths % 10 !== 0 ? String(tenths % 10) : "";
  const wide = 6.4 * whole.length;
  const left = x - (wide + 4.6 * tenth.length) / 2;
  if (!view.labels.take(`${whole}${tenth}`, { x: left - 4, y: y - 10, w: wide + 4.6 * tenth.length + 8, h: 20 })) return;
  ctx.fillStyle = colour;
  ctx.font = `400 11.5px ${FONT}`;
  ctx.fillText(whole, left, y + 4);
  if (tenth !== "") {
    ctx.font = `400 8.5px ${FONT}`;
    ctx.fillText(tenth, left + wide + 0.4, y + 7);
  }
  if (depthM < 0) ctx.fillRect(left, y + 6.5, wide, 0.9);
}
