import { TURN_OF } from "./turnof.glsl";

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
uniform sampler2D u_marks;   // trails: see trails.ts
uniform vec3 u_square;       // their square: west, south, side; side 0: none
uniform float u_stamp;       // now, tenths of a second
uniform vec4 u_trail;        // tenths: the turn, the trail's length; turns: fewer were sea, more stood still
in vec2 v_ground;
out vec4 colour;
${TURN_OF}

// How strong a trail lies here, 0..1.
float trailAt(vec2 ground) {
  if (u_square.z <= 0.0) return 0.0;
  vec2 uv = (ground - u_square.xy) / u_square.z;
  if (uv.x < 0.0 || uv.y < 0.0 || uv.x >= 1.0 || uv.y >= 1.0) return 0.0;
  vec4 mark = texture(u_marks, uv);
  if (mark.a < 0.5 || mark.b * 255.0 < u_trail.z - 0.5 || mark.b * 255.0 > u_trail.w + 0.5) return 0.0;
  float last = floor(mark.r * 255.0 + 0.5) * 256.0 + floor(mark.g * 255.0 + 0.5);
  float since = mod(u_stamp - last + 65536.0, 65536.0);
  if (since < 1.2 * u_trail.x || since > u_trail.y) return 0.0;
  return 1.0 - 0.75 * since / u_trail.y;
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
  // A trail is stippled, so that by form alone it is no echo.
  float trail = mod(floor(gl_FragCoord.x) + floor(gl_FragCoord.y), 2.0) < 0.5 ? 0.0 : trailAt(v_ground);
  vec4 under = vec4(mix(u_weak, u_strong, 0.35) * trail, trail);
  if (row.w < 0.5 || cell < -0.5 || cell > float(size.x) - 0.5) { colour = under; return; }
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
  colour = vec4(mix(u_weak, u_strong, strong) * alpha, alpha) + under * (1.0 - alpha);
}`;
