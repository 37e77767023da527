/** Where chart and radar lie on the picture; which bearing is up. */
import type { Rect } from "../look/layout";
import type { Lay, Up } from "../state/store";

/** Within the picture, page pixels. */
export interface Pane extends Rect {
  readonly hasChart: boolean;
  readonly hasRadar: boolean;
  /** What no drawer covers of it, in its own pixels. */
  readonly free: Rect;
}

/** `free`: what no drawer covers of the picture, in the picture's own pixels. */
export function panesOf(how: Lay, width: number, height: number, free: Rect): Pane[] {
  const whole = { x: 0, y: 0, width, height };
  const pane = (rect: Rect, hasChart: boolean, hasRadar: boolean): Pane => ({ ...rect, hasChart, hasRadar, free: common(rect, free) });
  switch (how) {
    case "over":
      return [pane(whole, true, true)];
    case "radar":
      return [pane(whole, false, true)];
    case "beside": {
      // Of what is free, so that neither goes under a drawer whole.
      if (free.width >= free.height) {
        const middle = free.x + Math.floor(free.width / 2);
        return [pane({ ...whole, width: middle }, true, false), pane({ ...whole, x: middle, width: width - middle }, false, true)];
      }
      // Radar above, chart below.
      const middle = Math.floor(free.height / 2);
      return [pane({ ...whole, y: middle, height: height - middle }, true, false), pane({ ...whole, height: middle }, false, true)];
    }
  }
}

function common(pane: Rect, free: Rect): Rect {
  const x = Math.max(pane.x, free.x);
  const y = Math.max(pane.y, free.y);
  const width = Math.min(pane.x + pane.width, free.x + free.width) - x;
  const height = Math.min(pane.y + pane.height, free.y + free.height) - y;
  return { x: x - pane.x, y: y - pane.y, width: Math.max(width, 1), height: Math.max(height, 1) };
}

/** Bearing that points up, radians true. */
export function upOf(up: Up, headingDeg: number, cogDeg: number): number {
  const deg = up === "north" ? 0 : up === "head" ? (Number.isNaN(headingDeg) ? cogDeg : headingDeg) : Number.isNaN(cogDeg) ? headingDeg : cogDeg;
  return Number.isNaN(deg) ? 0 : (deg * Math.PI) / 180;
}
