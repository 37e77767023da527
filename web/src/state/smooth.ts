/** Motion between poses: positions run on by course and speed, turns are eased, so that no view jumps. */
import { wrapPi } from "../geo/angles";
import { Plane } from "../geo/mercator";
import type { Pose } from "../wire/frame";

/** A pose older than this is no longer run on: where the boat is now is not known. */
const RUN_ON_S = 3;

export function runOn(pose: Pose, ageS: number): { latDeg: number; lonDeg: number } {
  const dt = Math.min(Math.max(ageS, 0), RUN_ON_S);
  if (Number.isNaN(pose.sogKn) || Number.isNaN(pose.cogDeg)) return { latDeg: pose.latDeg, lonDeg: pose.lonDeg };
  const plane = new Plane(pose.latDeg, pose.lonDeg);
  const d = pose.sogKn * (1852 / 3600) * dt;
  const c = (pose.cogDeg * Math.PI) / 180;
  return { latDeg: plane.lat(d * Math.cos(c)), lonDeg: plane.lon(d * Math.sin(c)) };
}

/** Ease an angle towards another, time constant tau seconds. */
export class EasedAngle {
  #now = Number.NaN;

  /** Angle (rad) eased to this moment. */
  step(target: number, dt: number, tau: number): number {
    if (Number.isNaN(this.#now) || tau <= 0) this.#now = target;
    else this.#now += wrapPi(target - this.#now) * (1 - Math.exp(-dt / tau));
    return this.#now;
  }
}

/** Ease a position; a jump beyond `jumpM` is a new place, not a motion. */
export class EasedPlace {
  #lat = Number.NaN;
  #lon = Number.NaN;

  step(target: { latDeg: number; lonDeg: number }, dt: number, tau: number, jumpM: number): { latDeg: number; lonDeg: number } {
    const north = (target.latDeg - this.#lat) * 111_120;
    const east = (target.lonDeg - this.#lon) * 111_120 * Math.cos((target.latDeg * Math.PI) / 180);
    if (Number.isNaN(this.#lat) || !(Math.hypot(east, north) < jumpM)) {
      this.#lat = target.latDeg;
      this.#lon = target.lonDeg;
    } else {
      const k = 1 - Math.exp(-dt / tau);
      this.#lat += (target.latDeg - this.#lat) * k;
      this.#lon += (target.lonDeg - this.#lon) * k;
    }
    return { latDeg: this.#lat, lonDeg: this.#lon };
  }
}
