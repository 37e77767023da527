/** The ink: everything that is told, drawn over chart and radar on one canvas. */
import { drawChartMarks, drawSoundings, nameChart, namePlaces } from "./chartink";
import { drawEchoes } from "./echoes";
import { drawHidden, nameHidden } from "./hidden";
import { drawBoat, drawHeading, drawOwnTrack } from "./own";
import { nameNoChart } from "./nochart";
import { drawParallel } from "./tools/measure";
import { drawBearings, drawRings } from "./rings";
import { drawRoute } from "./tools/route";
import { drawSeeing, drawStopping, drawUnseen, nameSeeing, nameStopping, isOverrun, wayAhead } from "./seeing";
import { drawThread } from "./thread";
import { blockFrame, drawOffer, drawTrial } from "./tools/trial";
import { at, ink, type View } from "./view";
import { calledEcho } from "../../state/say";
import type { Tool } from "../../tools/tool";

export interface Told {
  readonly overrun: boolean;
}

export function drawInk(view: View, thread: { echo: number | null; urgency: number; offers: boolean }, tool: Pick<Tool, "draw" | "fadesPresent"> | null): Told {
  const { ctx, camera, ground } = view;
  ctx.clearRect(0, 0, camera.width, camera.height);
  const overrun =
    isOverrun(
      ground.seeing, ground.plane.east(view.boat.lonDeg), ground.plane.north(view.boat.latDeg),
      view.state.reading?.stopping_m ?? null, wayAhead(view),
    ) === true;
  if (view.state.trial !== null || tool?.fadesPresent === true) blockFrame(view);
  if (view.state.settings.lay === "radar") {
    drawPlain(view, tool);
    return { overrun };
  }
  if (view.isNow) drawUnseen(view);
  drawHidden(view);
  drawRings(view);
  drawBearings(view);
  drawRoute(view);
  drawOwnTrack(view);
  drawHeading(view);
  if (view.hasChart) drawChartMarks(view);
  if (view.isNow) drawSeeing(view, overrun);
  drawParallel(view);
  const [x, y] = at(view, view.boat.latDeg, view.boat.lonDeg);
  view.labels.block(x - 18, y - 18, 36, 36);
  if (view.isNow) drawStopping(view, overrun);
  if (view.hasRadar && view.isNow) drawThread(view, thread.echo, thread.urgency);
  drawEchoes(view);
  // Over what is near her: where she is must be plain whatever lies there.
  drawBoat(view);
  if (view.isNow) nameStopping(view, overrun);
  if (view.state.trial !== null) drawTrial(view, view.state.trial, null);
  else if (thread.offers) drawOffer(view);
  tool?.draw(view);
  if (view.isNow) nameSeeing(view);
  if (view.hasChart) nameChart(view);
  nameHidden(view);
  if (!view.hasChart) return { overrun };
  nameNoChart(view);
  drawSoundings(view);
  namePlaces(view);
  return { overrun };
}

/** The radar alone, to hold the reading against: nothing of what was read is drawn, but for a ring round what is called. */
function drawPlain(view: View, tool: Pick<Tool, "draw"> | null): void {
  drawRings(view);
  drawBearings(view);
  drawHeading(view);
  drawParallel(view);
  drawBoat(view);
  const id = calledEcho(view.state);
  const called = id === null ? undefined : view.state.reading?.echoes.find((echo) => echo.id === id);
  if (called !== undefined) {
    const [x, y] = at(view, called.lat, called.lon);
    view.ctx.strokeStyle = ink(view, "shout");
    view.ctx.lineWidth = 1.6;
    view.ctx.beginPath();
    view.ctx.arc(x, y, 26, 0, 2 * Math.PI);
    view.ctx.stroke();
  }
  tool?.draw(view);
}

/** The echo nearest a touch, within a thumb's breadth; null when none. Missing marks are not echoes. */
export function echoAt(view: View, x: number, y: number, reachPx = 38): number | null {
  let best: number | null = null;
  let bestAway = reachPx;
  for (const echo of view.state.reading?.echoes ?? []) {
    if (echo.is === "shore" || echo.is === "clutter") continue;
    const [ex, ey] = at(view, echo.lat, echo.lon);
    // What is not explained is easier to hit than what is.
    const away = Math.hypot(ex - x, ey - y) * (echo.is === "vessel" || echo.is === "uncharted" ? 0.7 : 1);
    if (away < bestAway) {
      best = echo.id;
      bestAway = away;
    }
  }
  return best;
}
