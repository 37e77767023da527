/** The ink: everything that is told, drawn over chart and radar on one canvas. */
import { drawChartMarks, drawSoundings, nameChart, namePlaces } from "./chartink";
import { drawEchoes } from "./echoes";
import { drawHidden, nameHidden } from "./hidden";
import { drawBoat, drawHeading, drawOwnTrack } from "./own";
import { nameNoChart } from "./nochart";
import { drawParallel } from "./tools/measure";
import { drawRings } from "./rings";
import { drawRoute } from "./tools/route";
import { drawSeeing, drawStopping, nameSeeing, isOverrun, wayAhead } from "./seeing";
import { drawThread } from "./thread";
import { drawOffer, drawTrial } from "./tools/trial";
import { at, type View } from "./view";

export interface Told {
  readonly overrun: boolean;
}

export function drawInk(view: View, thread: { echo: number | null; urgency: number; offers: boolean }, tool: { draw(view: View): void } | null): Told {
  const { ctx, camera, ground } = view;
  ctx.clearRect(0, 0, camera.width, camera.height);
  view.labels.block(-1e5, view.footTop, 2e5, 1e5);
  const overrun =
    isOverrun(
      ground.seeing, ground.plane.east(view.boat.lonDeg), ground.plane.north(view.boat.latDeg),
      view.state.reading?.stopping_m ?? null, wayAhead(view),
    ) === true;
  drawHidden(view);
  drawRings(view);
  drawRoute(view);
  drawOwnTrack(view);
  drawHeading(view);
  if (view.hasChart) drawChartMarks(view);
  drawSeeing(view, overrun);
  drawParallel(view);
  drawBoat(view);
  drawStopping(view, overrun);
  if (view.hasRadar) drawThread(view, thread.echo, thread.urgency);
  drawEchoes(view);
  if (view.state.trial !== null) drawTrial(view, view.state.trial, null);
  else if (thread.offers) drawOffer(view);
  tool?.draw(view);
  nameSeeing(view);
  if (view.hasChart) nameChart(view);
  nameHidden(view);
  if (!view.hasChart) return { overrun };
  nameNoChart(view);
  drawSoundings(view);
  namePlaces(view);
  return { overrun };
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
