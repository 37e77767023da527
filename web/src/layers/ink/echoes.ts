/** What each echo is, told by form alone: red light leaves no colours to tell it by. */
import { sayDistance, sayKnots } from "../../geo/units";
import { css } from "../../look/table";
import { objectWord, urgencies } from "../../state/say";
import type { Echo, Missing } from "../../state/types";
import { at, css2, ink, isOnSheet, screenAngle, type Strength, type View } from "./view";

export const KNOT_MPS = 1852 / 3600;
/** A vessel's line runs to where it will be then. */
const AHEAD_MIN = 6;
/** So many of the nearest that no chart knows are named as such; of more, an anchorage, the form says it alone. */
const MOST_UNCHARTED_WORDS = 6;

/**
 * How loud an echo is: what is explained whispers, what moves or is not charted speaks, what a call of urgency speaks of
 * shouts. The judgement is the reading's alone, so that the sheet never shouts what the sentence does not say.
 */
export function loudness(echo: Echo, urgency: number, isRemembered = false): Strength {
  if (urgency >= 3) return "shout";
  // Not seen in this turn: it is still told, and it recedes.
  if (isRemembered && urgency < 2) return "whisper";
  switch (echo.is) {
    case "vessel":
    case "uncharted":
      return "speak";
    case "charted":
    case "bridge":
    case "shore":
    case "clutter":
    case "false":
      return urgency > 0 ? "speak" : "whisper";
  }
}

/** Draw in the order whisper, speak, shout, so that the loudest lies on top; words the other way round. */
export function drawEchoes(view: View): void {
  const reading = view.state.reading;
  if (reading === null) return;
  // What moved is somewhere else by now: nothing of it is drawn as if it were known.
  const echoes = view.isNow ? reading.echoes : reading.echoes.filter((echo) => echo.is !== "vessel");
  const keepOff = view.state.hello?.boat.keep_off_m ?? 463;
  const urgency = urgencies(view.state);
  const order: Record<Strength, number> = { whisper: 0, speak: 1, shout: 2 };
  const drawn = echoes
    .map((echo) => ({ echo, strength: view.isNow ? loudness(echo, urgency.get(echo.id) ?? 0, reading.coasting.includes(echo.id)) : ("whisper" as const), place: at(view, echo.lat, echo.lon) }))
    .filter(({ place }) => isOnSheet(view, place[0], place[1], 60))
    .sort((a, b) => order[a.strength] - order[b.strength]);
  view.ctx.globalAlpha = view.fade;
  for (const { echo, strength, place } of drawn) form(view, echo, strength, place, keepOff);
  for (const mark of reading.missing) broken(view, mark);
  for (const { echo, strength, place } of drawn) if (strength !== "whisper" || echo.is === "vessel") view.labels.block(place[0] - 11, place[1] - 11, 22, 22);
  // What a call speaks of has its words however far it is.
  const mute = unnamed(drawn.map(({ echo }) => echo).filter((echo) => !urgency.has(echo.id)));
  for (const { echo, strength, place } of drawn.reverse()) if (!mute.has(echo.id)) words(view, echo, strength, place);
  for (const mark of reading.missing) missingWords(view, mark);
  view.ctx.globalAlpha = 1;
}

/** Those of many that no chart knows whose words are left out: one word twenty times over hides what is there. */
export function unnamed(echoes: readonly Echo[]): ReadonlySet<number> {
  const far = echoes.filter((echo) => echo.is === "uncharted").sort((a, b) => a.range_m - b.range_m);
  return new Set(far.slice(MOST_UNCHARTED_WORDS).map((echo) => echo.id));
}

function form(view: View, echo: Echo, strength: Strength, [x, y]: [number, number], keepOff: number): void {
  const { ctx } = view;
  const isRemembered = view.state.reading?.coasting.includes(echo.id) === true;
  const isTouched = view.state.touched === echo.id;
  ctx.strokeStyle = ink(view, strength);
  ctx.fillStyle = ink(view, strength);
  ctx.lineWidth = strength === "shout" ? 2.6 : strength === "speak" ? 2 : 1.5;
  ctx.lineJoin = "miter";
  if (isRemembered) ctx.setLineDash([3, 3]);
  switch (echo.is) {
    case "charted":
      dark(view, () => ctx.arc(x, y, 8, 0, 2 * Math.PI));
      break;
    case "bridge":
      ctx.beginPath();
      for (const dy of [-4, 4]) {
        ctx.moveTo(x - 11, y + dy);
        ctx.lineTo(x + 11, y + dy);
      }
      ctx.stroke();
      break;
    case "shore":
      ctx.beginPath();
      ctx.arc(x, y, 1.4, 0, 2 * Math.PI);
      ctx.fill();
      break;
    case "uncharted": {
      // Four corners round it, so that the radar's own echo stays in sight between them.
      const half = strength === "shout" ? 12 : 9;
      dark(view, () => {
        for (const [sx, sy] of [[-1, -1], [1, -1], [1, 1], [-1, 1]] as const) {
          ctx.moveTo(x + sx * half, y + sy * half * 0.35);
          ctx.lineTo(x + sx * half, y + sy * half);
          ctx.lineTo(x + sx * half * 0.35, y + sy * half);
        }
      });
      if (!isRemembered || strength !== "whisper") keepOffRing(view, echo, strength, keepOff);
      break;
    }
    case "vessel":
      wedge(view, echo, strength, x, y, isRemembered);
      break;
    case "clutter":
      ctx.beginPath();
      for (const dx of [-4, 0, 4]) ctx.rect(x + dx - 0.7, y + (dx === 0 ? -2.7 : 1.3), 1.4, 1.4);
      ctx.fill();
      break;
    case "false":
      ctx.lineWidth = 1;
      ctx.beginPath();
      ctx.moveTo(x - 4, y - 4);
      ctx.lineTo(x + 4, y + 4);
      ctx.moveTo(x + 4, y - 4);
      ctx.lineTo(x - 4, y + 4);
      ctx.stroke();
      break;
  }
  ctx.setLineDash([]);
  if (isTouched) {
    ctx.strokeStyle = ink(view, "speak");
    ctx.lineWidth = 1.4;
    ctx.beginPath();
    ctx.arc(x, y, 20, 0, 2 * Math.PI);
    ctx.stroke();
  }
}

/** A stroke with a dark edge, so that it stands on bright echo. */
function dark(view: View, trace: () => void): void {
  const { ctx } = view;
  const [colour, width] = [ctx.strokeStyle, ctx.lineWidth];
  ctx.strokeStyle = css(view.inks.sheet);
  ctx.lineWidth = width + 2;
  ctx.beginPath();
  trace();
  ctx.stroke();
  ctx.strokeStyle = colour;
  ctx.lineWidth = width;
  ctx.beginPath();
  trace();
  ctx.stroke();
}

/** The water to stay out of round a thing that no chart knows; drawn when it is large enough to see and small enough to help. */
function keepOffRing(view: View, echo: Echo, strength: Strength, keepOff: number): void {
  const { ctx, camera } = view;
  const r = keepOff * camera.pxPerM;
  if (r < 14 || r > 0.4 * Math.hypot(camera.width, camera.height)) return;
  const [x, y] = at(view, echo.lat, echo.lon);
  ctx.strokeStyle = ink(view, strength, strength === "shout" ? 0.8 : 0.42);
  ctx.lineWidth = strength === "shout" ? 1.6 : 1;
  ctx.setLineDash([2, 5]);
  ctx.beginPath();
  ctx.arc(x, y, r, 0, 2 * Math.PI);
  ctx.stroke();
  ctx.setLineDash([]);
}

function wedge(view: View, echo: Echo, strength: Strength, x: number, y: number, isRemembered: boolean): void {
  const { ctx, camera } = view;
  tail(view, echo, strength);
  if (echo.cog_deg === null) {
    // A vessel that does not move over the ground: a wedge has no way to point, so a lozenge.
    dark(view, () => {
      ctx.moveTo(x, y - 12);
      ctx.lineTo(x + 8, y);
      ctx.lineTo(x, y + 12);
      ctx.lineTo(x - 8, y);
      ctx.closePath();
    });
    return;
  }
  const a = screenAngle(view, echo.cog_deg);
  const ahead = echo.sog_kn * KNOT_MPS * AHEAD_MIN * 60 * camera.pxPerM;
  if (ahead > 16 && !(isRemembered && strength === "whisper")) {
    ctx.save();
    ctx.lineWidth = 1.2;
    ctx.setLineDash([]);
    ctx.beginPath();
    ctx.moveTo(x + 14 * Math.cos(a), y + 14 * Math.sin(a));
    ctx.lineTo(x + ahead * Math.cos(a), y + ahead * Math.sin(a));
    ctx.moveTo(x + ahead * Math.cos(a) - 5 * Math.sin(a), y + ahead * Math.sin(a) + 5 * Math.cos(a));
    ctx.lineTo(x + ahead * Math.cos(a) + 5 * Math.sin(a), y + ahead * Math.sin(a) - 5 * Math.cos(a));
    ctx.stroke();
    ctx.restore();
  }
  const size = strength === "shout" ? 1.25 : 1;
  ctx.save();
  ctx.translate(x, y);
  ctx.rotate(a + Math.PI / 2);
  ctx.scale(size, size);
  // What AIS also says is shaded; what only the radar holds is open. Either way the echo beneath is seen.
  if (echo.ais !== null && !isRemembered) {
    ctx.globalAlpha *= 0.45;
    hull(ctx);
    ctx.fill();
    ctx.globalAlpha = view.fade;
  }
  dark(view, () => hull(ctx));
  ctx.restore();
}

function hull(ctx: CanvasRenderingContext2D): void {
  ctx.beginPath();
  ctx.moveTo(0, -14);
  ctx.lineTo(9, 11);
  ctx.lineTo(0, 5);
  ctx.lineTo(-9, 11);
  ctx.closePath();
}

function tail(view: View, echo: Echo, strength: Strength): void {
  const { ctx } = view;
  const points = view.state.reading?.tails[String(echo.id)];
  if (points === undefined || points.length < 2) return;
  ctx.save();
  ctx.strokeStyle = ink(view, strength, 0.6);
  ctx.lineWidth = 1.2;
  ctx.setLineDash([]);
  ctx.beginPath();
  let before: [number, number] | undefined;
  let minute = -1;
  for (const [lat, lon, ago] of points) {
    const p = at(view, lat, lon);
    if (before === undefined) ctx.moveTo(p[0], p[1]);
    else {
      ctx.lineTo(p[0], p[1]);
      const now = Math.floor(ago / 60);
      // A tick across the tail each minute.
      if (minute >= 0 && now !== minute) {
        const span = Math.hypot(p[0] - before[0], p[1] - before[1]);
        if (span > 0.5) {
          const [nx, ny] = [-(p[1] - before[1]) / span, (p[0] - before[0]) / span];
          ctx.moveTo(p[0] - 4 * nx, p[1] - 4 * ny);
          ctx.lineTo(p[0] + 4 * nx, p[1] + 4 * ny);
          ctx.moveTo(p[0], p[1]);
        }
      }
      minute = now;
    }
    before = p;
    if (minute < 0) minute = Math.floor(ago / 60);
  }
  const here = at(view, echo.lat, echo.lon);
  ctx.lineTo(here[0], here[1]);
  ctx.stroke();
  ctx.restore();
}

function words(view: View, echo: Echo, strength: Strength, [x, y]: [number, number]): void {
  if (y > view.footTop || echo.is === "shore" || echo.is === "clutter" || echo.is === "false") return;
  // The chart names bridges itself, with what passes beneath.
  if (echo.is === "bridge" && strength === "whisper" && view.hasChart && view.state.chart !== null) return;
  const sheet = css(view.inks.sheet, 0.85);
  if (strength === "whisper") {
    if (echo.is === "vessel" && echo.ais?.name != null) {
      view.labels.write(view.ctx, echo.ais.name, x, y, 17, 13, css2(view, "whisper"), sheet);
      return;
    }
    const text = echo.charted_as?.name ?? (echo.charted_as === null ? null : objectWord(echo.charted_as.object));
    if (text !== null && view.labels.isFirst(text)) view.labels.write(view.ctx, text, x, y, 13, 13, css2(view, "whisper"), sheet);
    return;
  }
  const size = strength === "shout" ? 17 : 14;
  const far = sayDistance(echo.range_m, view.unit);
  const text =
    echo.is === "vessel"
      ? `${echo.ais?.name ?? "boat"}${echo.cog_deg === null ? "" : `, ${sayKnots(echo.sog_kn)} kn`}${strength === "shout" ? `, ${far}` : ""}`
      : echo.is === "uncharted"
        ? `not charted${strength === "shout" ? `, ${far}` : ""}`
        : (echo.charted_as?.name ?? echo.is);
  view.labels.write(view.ctx, text, x, y, strength === "shout" ? 29 : 17, size, css2(view, strength), sheet, strength === "shout" ? 700 : 450, true);
}

function broken(view: View, mark: Missing): void {
  const { ctx } = view;
  const [x, y] = at(view, mark.lat, mark.lon);
  if (!isOnSheet(view, x, y, 20)) return;
  ctx.strokeStyle = ink(view, "speak");
  ctx.lineWidth = 2.2;
  for (let k = 0; k < 4; k++) {
    ctx.beginPath();
    ctx.arc(x, y, 10, k * (Math.PI / 2) + 0.32, (k + 1) * (Math.PI / 2) - 0.32);
    ctx.stroke();
  }
}

function missingWords(view: View, mark: Missing): void {
  const [x, y] = at(view, mark.lat, mark.lon);
  if (!isOnSheet(view, x, y, 0) || y > view.footTop) return;
  view.labels.write(
    view.ctx, `${mark.name ?? objectWord(mark.object)} not seen`, x, y, 15, 14, css2(view, "speak"), css(view.inks.sheet, 0.85), 450,
  );
}

