import type { Affine } from "../../geo/camera";

/** Write the inverse of a plane-to-pixel affine (pixels scaled first) as a column-major mat3. */
export function invert(m: Affine, scale: number, out: Float32Array): void {
  const [a, b, c, d, e, f] = m;
  const det = a * d - b * c;
  out[0] = (d / det) * scale;
  out[1] = (-b / det) * scale;
  out[2] = 0;
  out[3] = (-c / det) * scale;
  out[4] = (a / det) * scale;
  out[5] = 0;
  out[6] = (c * f - d * e) / det;
  out[7] = (b * e - a * f) / det;
  out[8] = 1;
}
