/**
 * Bearing of (east, north) as a fraction of a turn. Abramowitz & Stegun 4.4.47: within 1e-5 rad, and far cheaper than
 * atan where a processor draws instead of a graphics card.
 */
export const TURN_OF = `
const float TAU = 6.283185307179586;
float turnOf(vec2 d) {
  vec2 a = abs(d);
  float t = min(a.x, a.y) / max(max(a.x, a.y), 1e-6);
  float q = t * t;
  float r = t * (0.9998660 + q * (-0.3302995 + q * (0.1801410 + q * (-0.0851330 + q * 0.0208351)))) / TAU;
  r = a.x > a.y ? 0.25 - r : r;
  r = d.y < 0.0 ? 0.5 - r : r;
  return d.x < 0.0 ? 1.0 - r : r;
}`;
