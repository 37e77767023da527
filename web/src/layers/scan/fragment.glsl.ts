/**
 * Looks up each pixel's row and cell. A row knows where the antenna was when it came in, so a moving, turning boat
 * smears nothing: the row is guessed from the boat's place, then found from the row's own.
 * Age fades here: a picture that is not renewed goes dark by itself, whatever else fails.
 */
export const FRAGMENT = `#version 300 es
precision highp float;
precision highp sampler2D;
uniform sampler2D u_echo;  // R8, one row a bearing, one column a cell
uniform sampler2D u_row;   // RGBA32F, one texel a row: east, north, birth (s), received
uniform vec2 u_own;        // boat in the layer's plane
uniform float u_turn;      // added to bearings: heading when rows count from the bow
uniform float u_now;       // s
uniform float u_period;    // s of a turn
uniform float u_firstCell;
uniform float u_cell;
uniform float u_cellsPerPixel;
uniform vec2 u_level;      // where weak and strong begin, 0..1
uniform vec3 u_weak;
uniform vec3 u_strong;
uniform float u_strength;
in vec2 v_ground;
out vec4 colour;
const float TAU = 6.283185307179586;

// Bearing of (east, north) as a fraction of a turn. Abramowitz & Stegun 4.4.47: within 1e-5 rad, and far cheaper than
// atan where a processor draws instead of a graphics card.
float turnOf(vec2 d) {
  vec2 a = abs(d);
  float t = min(a.x, a.y) / max(max(a.x, a.y), 1e-6);
  float q = t * t;
  float r = t * (0.9998660 + q * (-0.3302995 + q * (0.1801410 + q * (-0.0851330 + q * 0.0208351)))) / TAU;
  r = a.x > a.y ? 0.25 - r : r;
  r = d.y < 0.0 ? 0.5 - r : r;
  return d.x < 0.0 ? 1.0 - r : r;
}

void main() {
  ivec2 size = textureSize(u_echo, 0);
  float n = float(size.y);
  vec2 guess = v_ground - u_own;
  float turn = turnOf(guess) - u_turn / TAU;
  turn -= floor(turn);
  vec4 row = texelFetch(u_row, ivec2(int(turn * n + 0.5) % size.y, 0), 0);
  vec2 d = v_ground - row.xy;
  float far = dot(d, d);
  // Seen from where the row was taken the bearing differs by a small angle.
  turn += (guess.y * d.x - guess.x * d.y) / max(far, 1.0) / TAU;
  float cell = (sqrt(far) - u_firstCell) / u_cell;
  if (row.w < 0.5 || cell < -0.5 || cell > float(size.x) - 0.5) { colour = vec4(0.0); return; }
  float v = turn + 0.5 / n;
  float s = texture(u_echo, vec2((cell + 0.5) / float(size.x), v)).r;
  // Far out, many cells fall in one pixel: the strongest speaks, or small echoes would flicker away.
  if (u_cellsPerPixel > 1.2) {
    for (int k = 1; k <= 3; k++) {
      float step = float(k) * u_cellsPerPixel / 4.0;
      s = max(s, texture(u_echo, vec2((cell + 0.5 + step) / float(size.x), v)).r);
    }
  }
  float age = max(u_now - row.z, 0.0);
  float fresh = 1.0 - 0.18 * min(age / u_period, 1.0);
  float late = max(age - 1.5 * u_period, 0.0);
  float fade = fresh * exp(-late / 5.0);
  float weak = smoothstep(u_level.x, mix(u_level.x, u_level.y, 0.5), s);
  float strong = smoothstep(mix(u_level.x, u_level.y, 0.6), u_level.y, s);
  float alpha = weak * fade * u_strength;
  colour = vec4(mix(u_weak, u_strong, strong) * alpha, alpha);
}`;
