/** Where chart and radar lie on the sheet, and the camera of each. */
import type { Camera } from "../geo/camera";
import { Plane } from "../geo/mercator";
import { NM_M } from "../geo/units";
import type { Lay, Up } from "../state/store";

export interface Pane {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  readonly hasChart: boolean;
  readonly hasRadar: boolean;
}

export function panesOf(lay: Lay, width: number, height: number, footTop: number): Pane[] {
  const whole = { x: 0, y: 0, width, height };
  switch (lay) {
    case "over":
      return [{ ...whole, hasChart: true, hasRadar: true }];
    case "radar":
      return [{ ...whole, hasChart: false, hasRadar: true }];
    case "beside":
      if (width >= height) {
        const half = Math.floor(width / 2);
        return [
          { x: 0, y: 0, width: half, height, hasChart: true, hasRadar: false },
          { x: half, y: 0, width: width - half, height, hasChart: false, hasRadar: true },
        ];
      } else {
        // Radar above, chart below, both over the foot.
        const half = Math.floor(footTop / 2);
        return [
          { x: 0, y: half, width, height: height - half, hasChart: true, hasRadar: false },
          { x: 0, y: 0, width, height: half, hasChart: false, hasRadar: true },
        ];
      }
  }
}

/** Bearing that points up, radians true. */
export function upOf(up: Up, headingDeg: number, cogDeg: number): number {
  const deg = up === "north" ? 0 : up === "head" ? (Number.isNaN(headingDeg) ? cogDeg : headingDeg) : Number.isNaN(cogDeg) ? headingDeg : cogDeg;
  return Number.isNaN(deg) ? 0 : (deg * Math.PI) / 180;
}

export function cameraOf(
  pane: Pane, up: Up, upRad: number, boat: { latDeg: number; lonDeg: number }, rangeNm: number, footTop: number,
): Camera {
  const usable = Math.max(Math.min(pane.height, footTop - pane.y), 120);
  // Head-up and course-up look ahead: the boat lies low on the sheet. North-up looks round her.
  const y = up === "north" ? usable * 0.52 : usable * 0.7;
  const reach = up === "north" ? Math.min(pane.width, usable) / 2 - 12 : y - 26;
  return {
    plane: new Plane(boat.latDeg, boat.lonDeg),
    x: pane.width / 2,
    y,
    up: upRad,
    pxPerM: Math.max(reach, 40) / (rangeNm * NM_M),
    width: pane.width,
    height: pane.height,
  };
}
