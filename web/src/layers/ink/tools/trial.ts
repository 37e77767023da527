/**
 * A trial manoeuvre: not the present, and never like it. Her way is a double line with open chevrons; each track's line
 * is dotted and shows how it would pass RELATIVE to her, so that a line which enters the ring round the boat is one that
 * would come too near; a broken frame runs round the sheet with the word TRIAL in it.
 */
import { threeFigures } from "../../../geo/angles";
import { Plane } from "../../../geo/mercator";
import { sayDistance, sayKnots } from "../../../geo/units";
import { css } from "../../../look/table";
import type { Trial } from "../../../state/types";
import { KNOT_MPS } from "../echoes";
import { at, css2, ink, isOnSheet, screenAngle, type View } from "../view";

const HALF_PX = 3.5;
const AHEAD_S = 360;

export function drawTrial(view: View, trial: Trial | null, asked: { courseDeg: number; speedKn: number } | null): void {
  frame(view);
  if (trial === null || trial.path === undefined) {
    if (asked !== null) {
      const [x, y] = at(view, view.boat.latDeg, view.boat.lonDeg);
      const a = screenAngle(view, asked.courseDeg);
      const r = Math.max(asked.speedKn * KNOT_MPS * AHEAD_S * view.camera.pxPerM, 40);
      way(view, [[x, y], [x + r * Math.cos(a), y + r * Math.sin(a)]]);
    }
    return;
  }
  const { ctx, camera } = view;
  const own = at(view, view.boat.latDeg, view.boat.lonDeg);
  const r = (trial.keep_off_m ?? 0) * camera.pxPerM;
  if (r > 16) {
    ctx.strokeStyle = ink(view, "speak", 0.9);
    ctx.lineWidth = 1.4;
    ctx.setLineDash([1.5, 7]);
    ctx.lineCap = "round";
    ctx.beginPath();
    ctx.arc(own[0], own[1], r, 0, 2 * Math.PI);
    ctx.stroke();
    ctx.lineCap = "butt";
    ctx.setLineDash([]);
  }
  const path = trial.path.map(([lon, lat]) => at(view, lat, lon));
  // Shown no further than a look ahead is worth: the last stretch is cut to six minutes.
  const last = path.at(-1);
  const before = path.at(-2);
  if (last !== undefined && before !== undefined && (trial.horizon_s ?? 0) > AHEAD_S) {
    const share = AHEAD_S / (trial.horizon_s ?? AHEAD_S);
    path[path.length - 1] = [before[0] + (last[0] - before[0]) * share, before[1] + (last[1] - before[1]) * share];
  }
  for (const echo of trial.echoes ?? []) if (!echo.inside) relative(view, trial, echo, own);
  for (const echo of trial.echoes ?? []) if (echo.inside) relative(view, trial, echo, own);
  way(view, path);
  const tip = path.at(-1);
  if (tip !== undefined && trial.course_deg !== undefined && trial.speed_kn !== undefined) {
    view.labels.write(
      ctx, `trial ${threeFigures(trial.course_deg)}° ${sayKnots(trial.speed_kn)} kn`, Math.min(Math.max(tip[0], 60), camera.width - 60), Math.max(tip[1], 60), 14, 15, css2(view, "shout"), css(view.inks.sheet), 650, true,
    );
  }
  for (const danger of [trial.chart, trial.hidden]) {
    if (danger == null) continue;
    const [x, y] = at(view, danger.lat, danger.lon);
    if (!isOnSheet(view, x, y)) continue;
    ctx.strokeStyle = ink(view, "shout");
    ctx.lineWidth = 2.6;
    ctx.beginPath();
    if (danger === trial.chart) {
      ctx.moveTo(x - 10, y - 10);
      ctx.lineTo(x + 10, y + 10);
      ctx.moveTo(x + 10, y - 10);
      ctx.lineTo(x - 10, y + 10);
    } else {
      for (const d of [-6, 0, 6]) {
        ctx.moveTo(x + d - 6, y + 8);
        ctx.lineTo(x + d + 6, y - 8);
      }
    }
    ctx.stroke();
    const word = danger === trial.chart ? (trial.chart?.what ?? "chart") : "hidden water";
    view.labels.write(ctx, `${word}, ${sayDistance(danger.distance_m, view.unit)}`, x, y, 16, 16, css2(view, "shout"), css(view.inks.sheet), 650, true);
  }
}

/** Her way under the trial: two lines side by side, an open chevron every so often. */
function way(view: View, path: readonly (readonly [number, number])[]): void {
  const { ctx } = view;
  ctx.strokeStyle = ink(view, "shout");
  ctx.lineWidth = 1.6;
  ctx.lineJoin = "round";
  for (let i = 1; i < path.length; i++) {
    const [p, q] = [path[i - 1], path[i]];
    if (p === undefined || q === undefined) continue;
    const span = Math.hypot(q[0] - p[0], q[1] - p[1]);
    if (span < 1) continue;
    const [ux, uy] = [(q[0] - p[0]) / span, (q[1] - p[1]) / span];
    ctx.beginPath();
    for (const side of [-HALF_PX, HALF_PX]) {
      ctx.moveTo(p[0] - uy * side, p[1] + ux * side);
      ctx.lineTo(q[0] - uy * side, q[1] + ux * side);
    }
    for (let d = 40; d < span; d += 46) {
      const [x, y] = [p[0] + ux * d, p[1] + uy * d];
      ctx.moveTo(x - 10 * ux - 9 * uy, y - 10 * uy + 9 * ux);
      ctx.lineTo(x, y);
      ctx.lineTo(x - 10 * ux + 9 * uy, y - 10 * uy - 9 * ux);
    }
    ctx.stroke();
  }
}

type TrialEcho = NonNullable<Trial["echoes"]>[number];

/** A track's way as it would look from her: from where it is now to where it would be nearest, the boat standing still. */
function relative(view: View, trial: Trial, echo: TrialEcho, own: readonly [number, number]): void {
  const read = view.state.reading?.echoes.find((e) => e.id === echo.id);
  const start = trial.path?.[0];
  const turn = trial.path?.[1];
  if (read === undefined || start === undefined || turn === undefined || echo.tcpa_s <= 0) return;
  const { ctx, camera } = view;
  const plane = new Plane(view.boat.latDeg, view.boat.lonDeg);
  // Nearest, seen from her: her place at that moment taken to where she is now.
  const [ownLon, ownLat] = echo.own;
  const [herLon, herLat] = echo.her;
  const nearest = at(view, plane.lat(plane.north(herLat) - plane.north(ownLat)), plane.lon(plane.east(herLon) - plane.east(ownLon)));
  const now = at(view, read.lat, read.lon);
  const points: (readonly [number, number])[] = [now];
  const delay = trial.delay_s ?? 0;
  if (delay > 0 && delay < echo.tcpa_s) {
    // Until the manoeuvre begins the track comes on as it does now, and its line bends there.
    const share = delay / echo.tcpa_s;
    const herEast = plane.east(read.lon) + (plane.east(herLon) - plane.east(read.lon)) * share;
    const herNorth = plane.north(read.lat) + (plane.north(herLat) - plane.north(read.lat)) * share;
    points.push(at(view, plane.lat(herNorth - (plane.north(turn[1]) - plane.north(start[1]))), plane.lon(herEast - (plane.east(turn[0]) - plane.east(start[0])))));
  }
  points.push(nearest);
  const strength = echo.inside ? "shout" : "speak";
  ctx.strokeStyle = ink(view, strength, echo.inside ? 1 : 0.75);
  ctx.lineWidth = echo.inside ? 3 : 1.8;
  ctx.lineCap = "round";
  ctx.setLineDash(echo.inside ? [0.1, 7] : [0.1, 6]);
  ctx.beginPath();
  points.forEach(([x, y], i) => (i === 0 ? ctx.moveTo(x, y) : ctx.lineTo(x, y)));
  ctx.stroke();
  ctx.setLineDash([]);
  ctx.lineCap = "butt";
  // A small ring where it would be nearest.
  ctx.lineWidth = echo.inside ? 2.4 : 1.4;
  ctx.beginPath();
  ctx.arc(nearest[0], nearest[1], echo.inside ? 6 : 4, 0, 2 * Math.PI);
  ctx.stroke();
  if (echo.inside && Math.hypot(nearest[0] - own[0], nearest[1] - own[1]) < Math.hypot(camera.width, camera.height)) {
    view.labels.write(ctx, `${sayDistance(echo.cpa_m, view.unit)}`, nearest[0], nearest[1], 12, 15, css2(view, "shout"), css(view.inks.sheet), 650, true);
  }
}

/** Where the word stands in the frame, and how it lies. */
function frameWords(view: View): readonly (readonly [number, number, number])[] {
  const { x, y, width: w, height: h } = view.free;
  return [[x + w * 0.5, y + 12, 0], [x + 12, y + h * 0.5, -Math.PI / 2], [x + w - 12, y + h * 0.5, Math.PI / 2]];
}

/** Keep words off the frame, before any are written. */
export function blockFrame(view: View): void {
  for (const [x, y, turn] of frameWords(view)) view.labels.block(x - (turn === 0 ? 38 : 12), y - (turn === 0 ? 12 : 38), turn === 0 ? 76 : 24, turn === 0 ? 24 : 76);
}

/** The sheet's edge in broken strokes, with the word in it: what lies inside is not so. */
function frame(view: View): void {
  const { ctx, free } = view;
  ctx.strokeStyle = ink(view, "speak");
  ctx.lineWidth = 3;
  ctx.setLineDash([22, 14]);
  ctx.strokeRect(free.x + 6, free.y + 6, free.width - 12, free.height - 12);
  ctx.setLineDash([]);
  ctx.font = '700 18px "Atkinson Hyperlegible Next Variable", sans-serif';
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  const half = ctx.measureText("TRIAL").width / 2 + 8;
  for (const [x, y, turn] of frameWords(view)) {
    ctx.save();
    ctx.translate(x, y);
    ctx.rotate(turn);
    ctx.fillStyle = css(view.inks.sheet);
    ctx.fillRect(-half, -11, 2 * half, 22);
    ctx.fillStyle = css2(view, "shout");
    ctx.fillText("TRIAL", 0, 0);
    ctx.restore();
  }
}

/** The smallest turn that keeps everything off, as an arc from the way she goes: an offer, drawn fine. */
export function drawOffer(view: View): void {
  const turn = view.state.reading?.manoeuvres?.turn ?? null;
  const { ctx, boat } = view;
  if (turn === null || Number.isNaN(boat.cogDeg)) return;
  const [x, y] = at(view, boat.latDeg, boat.lonDeg);
  const from = screenAngle(view, boat.cogDeg);
  const to = screenAngle(view, turn.course_deg);
  const r = 74;
  ctx.strokeStyle = ink(view, "shout");
  ctx.lineWidth = 2.2;
  ctx.beginPath();
  ctx.arc(x, y, r, from, to, turn.turn_deg < 0);
  // An arrow at its end, pointing the way it turns.
  const [ex, ey] = [x + r * Math.cos(to), y + r * Math.sin(to)];
  const along = to + (turn.turn_deg < 0 ? -Math.PI / 2 : Math.PI / 2);
  for (const spread of [-0.5, 0.5]) {
    ctx.moveTo(ex, ey);
    ctx.lineTo(ex - 11 * Math.cos(along + spread), ey - 11 * Math.sin(along + spread));
  }
  ctx.stroke();
  const middle = to;
  view.labels.write(
    ctx, `${Math.abs(Math.round(turn.turn_deg))}°`, x + (r + 16) * Math.cos(middle), y + (r + 16) * Math.sin(middle), 6, 17, css2(view, "shout"), css(view.inks.sheet), 650,
  );
}
