/**
 * Trails of what moved, over the ground: every spoke that comes in marks the places where it found an echo, in a square
 * of ground that lies still while the boat goes over it. A place marked for a few turns and then no more is a trail; one
 * marked turn after turn is shore, a buoy, a boat at anchor, and leaves none.
 *
 * A place keeps: when it was last marked (tenths of a second, 16 bits), how many turns running, and whether ever.
 */
import { TURN_OF } from "./turnof.glsl";

/** Marked fewer turns running than this and it was sea, rain or noise. */
export const SEA_TURNS = 2;
/** Marked more turns running than this and it stood still. Own choice: 30 turns at 24 a minute, 75 s. */
export const STILL_TURNS = 30;
/** The boat may go this part of the square's side before it is laid about her afresh. */
const SLACK = 1 / 16;
const TENTHS = 65_536;

const VERTEX = `#version 300 es
uniform vec2 u_antenna;  // metres from the square's corner
uniform float u_first;   // bearing of the sector's edge, radians
uniform float u_step;
uniform float u_reach;   // metres
uniform float u_side;    // metres
out vec2 v_from;         // metres from the antenna
void main() {
  float b = u_first + float(gl_VertexID - 1) * u_step;
  v_from = gl_VertexID == 0 ? vec2(0.0) : u_reach * vec2(sin(b), cos(b));
  gl_Position = vec4((u_antenna + v_from) / u_side * 2.0 - 1.0, 0.0, 1.0);
}`;

const FRAGMENT = `#version 300 es
precision highp float;
precision highp sampler2D;
uniform sampler2D u_echo;
uniform sampler2D u_old;
uniform float u_firstCell;
uniform float u_cell;
uniform float u_texel;   // metres
uniform float u_level;
uniform float u_stamp;   // tenths of a second, 0..65535
uniform float u_period;  // tenths of a second
in vec2 v_from;
out vec4 mark;
${TURN_OF}
void main() {
  ivec2 size = textureSize(u_echo, 0);
  float r = length(v_from);
  float v = turnOf(v_from) + 0.5 / float(size.y);
  float s = 0.0;
  for (int k = -1; k <= 1; k++) {
    float cell = (r + float(k) * 0.4 * u_texel - u_firstCell) / u_cell;
    if (cell >= 0.0 && cell < float(size.x)) s = max(s, texture(u_echo, vec2((cell + 0.5) / float(size.x), v)).r);
  }
  // Near the boat the sea itself returns as much: there only what is plainly stronger marks.
  if (s < u_level * (1.0 + 0.9 * exp(-r / 160.0))) discard;
  vec4 old = texelFetch(u_old, ivec2(gl_FragCoord.xy), 0);
  float last = floor(old.r * 255.0 + 0.5) * 256.0 + floor(old.g * 255.0 + 0.5);
  float since = mod(u_stamp - last + 65536.0, 65536.0);
  float turns = floor(old.b * 255.0 + 0.5);
  // Sectors meet, and their edges are marked twice in one turn: that is one turn.
  if (old.a < 0.5 || since > 2.6 * u_period) turns = 1.0;
  else if (since > 0.4 * u_period) turns = min(turns + 1.0, 255.0);
  mark = vec4(floor(u_stamp / 256.0) / 255.0, mod(u_stamp, 256.0) / 255.0, turns / 255.0, 1.0);
}`;

const NAMES = [
  "u_antenna", "u_first", "u_step", "u_reach", "u_side", "u_echo", "u_old", "u_firstCell", "u_cell", "u_texel", "u_level", "u_stamp", "u_period",
] as const;

type Places = Record<(typeof NAMES)[number], WebGLUniformLocation | null>;

export interface Sweep {
  /** Antenna in the layer's plane, metres. */
  readonly east: number;
  readonly north: number;
  readonly firstRow: number;
  readonly rows: number;
  readonly nSpoke: number;
  readonly nCell: number;
  readonly firstCellM: number;
  readonly cellM: number;
  readonly level: number;
  readonly atS: number;
  readonly periodS: number;
}

export class TrailStore {
  readonly #program: WebGLProgram;
  readonly #at: Places;
  #marks: WebGLTexture;
  #spare: WebGLTexture;
  readonly #frame: WebGLFramebuffer;
  /** Corner of the square in the layer's plane, and a place's side, metres. */
  #west = Number.NaN;
  #south = Number.NaN;
  #texelM = 0;

  /** `n`: places along a side. */
  constructor(private readonly gl: WebGL2RenderingContext, private readonly n: number, link: (vertex: string, fragment: string) => WebGLProgram | undefined) {
    const program = link(VERTEX, FRAGMENT);
    if (program === undefined) throw new Error("the trails' shader was not made");
    this.#program = program;
    this.#at = Object.fromEntries(NAMES.map((name) => [name, gl.getUniformLocation(program, name)])) as Places;
    this.#marks = this.#texture();
    this.#spare = this.#texture();
    this.#frame = gl.createFramebuffer();
    this.clear();
  }

  get texture(): WebGLTexture {
    return this.#marks;
  }

  /** west, south, side in metres of the layer's plane; a side of 0 where nothing was marked yet. */
  get square(): readonly [number, number, number] {
    return Number.isNaN(this.#west) ? [0, 0, 0] : [this.#west, this.#south, this.#texelM * this.n];
  }

  clear(): void {
    this.#west = Number.NaN;
    this.#wipe(this.#marks);
    this.#wipe(this.#spare);
  }

  /** Mark what a run of rows found. The echo texture must be bound to unit 0. */
  sweep(s: Sweep): void {
    const { gl, n } = this;
    const reach = s.firstCellM + s.nCell * s.cellM;
    const texelM = reach / ((0.5 - SLACK) * n);
    if (Number.isNaN(this.#west) || Math.abs(texelM / this.#texelM - 1) > 0.01) {
      this.clear();
      this.#texelM = texelM;
      this.#west = s.east - (n / 2) * texelM;
      this.#south = s.north - (n / 2) * texelM;
    } else this.#follow(s.east, s.north);
    const [x, y] = [s.east - this.#west, s.north - this.#south];
    const step = (2 * Math.PI) / s.nSpoke;
    const first = (s.firstRow - 0.5) * step;
    const steps = Math.max(1, Math.ceil((s.rows * step) / 0.1));
    const wide = (s.rows * step) / steps;
    // The arc's chords must lie beyond the reach.
    const far = (reach * 1.002) / Math.cos(wide / 2);
    this.#keepOld(x, y, first, wide, steps, far);
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.#frame);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, this.#marks, 0);
    gl.viewport(0, 0, n, n);
    gl.useProgram(this.#program);
    gl.disable(gl.BLEND);
    gl.disable(gl.DEPTH_TEST);
    gl.disable(gl.CULL_FACE);
    gl.disable(gl.SCISSOR_TEST);
    gl.activeTexture(gl.TEXTURE2);
    gl.bindTexture(gl.TEXTURE_2D, this.#spare);
    const at = this.#at;
    gl.uniform1i(at.u_echo, 0);
    gl.uniform1i(at.u_old, 2);
    gl.uniform2f(at.u_antenna, x, y);
    gl.uniform1f(at.u_first, first);
    gl.uniform1f(at.u_step, wide);
    gl.uniform1f(at.u_reach, far);
    gl.uniform1f(at.u_side, n * this.#texelM);
    gl.uniform1f(at.u_firstCell, s.firstCellM);
    gl.uniform1f(at.u_cell, s.cellM);
    gl.uniform1f(at.u_texel, this.#texelM);
    gl.uniform1f(at.u_level, s.level);
    gl.uniform1f(at.u_stamp, tenths(s.atS));
    gl.uniform1f(at.u_period, s.periodS * 10);
    gl.drawArrays(gl.TRIANGLE_FAN, 0, steps + 2);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
  }

  /** Lay the square about the boat afresh when she has gone far, what was marked staying where it is on the ground. */
  #follow(east: number, north: number): void {
    const { gl, n } = this;
    const dx = Math.round((east - this.#west) / this.#texelM - n / 2);
    const dy = Math.round((north - this.#south) / this.#texelM - n / 2);
    if (Math.max(Math.abs(dx), Math.abs(dy)) < SLACK * n) return;
    this.#wipe(this.#spare);
    const [w, h] = [n - Math.abs(dx), n - Math.abs(dy)];
    if (w > 0 && h > 0) this.#copy(this.#marks, this.#spare, Math.max(dx, 0), Math.max(dy, 0), Math.max(-dx, 0), Math.max(-dy, 0), w, h);
    [this.#marks, this.#spare] = [this.#spare, this.#marks];
    this.#west += dx * this.#texelM;
    this.#south += dy * this.#texelM;
    gl.activeTexture(gl.TEXTURE2);
  }

  /** What a sector will overwrite is read from a copy of it. */
  #keepOld(x: number, y: number, first: number, wide: number, steps: number, far: number): void {
    let [x0, y0, x1, y1] = [x, y, x, y];
    for (let k = 0; k <= steps; k++) {
      const b = first + k * wide;
      x0 = Math.min(x0, x + far * Math.sin(b));
      x1 = Math.max(x1, x + far * Math.sin(b));
      y0 = Math.min(y0, y + far * Math.cos(b));
      y1 = Math.max(y1, y + far * Math.cos(b));
    }
    const at = (m: number): number => Math.min(Math.max(m / this.#texelM, 0), this.n);
    const [left, low] = [Math.floor(at(x0)), Math.floor(at(y0))];
    const [w, h] = [Math.ceil(at(x1)) - left, Math.ceil(at(y1)) - low];
    if (w > 0 && h > 0) this.#copy(this.#marks, this.#spare, left, low, left, low, w, h);
  }

  #copy(from: WebGLTexture, to: WebGLTexture, fx: number, fy: number, tx: number, ty: number, w: number, h: number): void {
    const { gl } = this;
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.#frame);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, from, 0);
    gl.activeTexture(gl.TEXTURE2);
    gl.bindTexture(gl.TEXTURE_2D, to);
    gl.copyTexSubImage2D(gl.TEXTURE_2D, 0, tx, ty, fx, fy, w, h);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
  }

  #wipe(which: WebGLTexture): void {
    const { gl } = this;
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.#frame);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, which, 0);
    gl.disable(gl.SCISSOR_TEST);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
  }

  #texture(): WebGLTexture {
    const { gl } = this;
    const made = gl.createTexture();
    gl.activeTexture(gl.TEXTURE2);
    gl.bindTexture(gl.TEXTURE_2D, made);
    gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA8, this.n, this.n);
    for (const [name, value] of [[gl.TEXTURE_MIN_FILTER, gl.NEAREST], [gl.TEXTURE_MAG_FILTER, gl.NEAREST], [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE]] as const) {
      gl.texParameteri(gl.TEXTURE_2D, name, value);
    }
    return made;
  }
}

/** Page seconds as the marks keep them: tenths, going round every hour and three quarters. */
export function tenths(s: number): number {
  return ((Math.floor(s * 10) % TENTHS) + TENTHS) % TENTHS;
}
