/**
 * The radar picture, drawn by WebGL 2 on its own canvas: one texture row a bearing.
 * Uploads changed rows only; allocates nothing while drawing; comes back after a lost context from what it keeps.
 */
import { affine, type Camera } from "../../geo/camera";
import { Plane } from "../../geo/mercator";
import type { Inks, Rgb } from "../../look/table";
import { FORGET, FROM_BOW, type SpokeRows } from "../../wire/frame";
import { FRAGMENT } from "./fragment.glsl";
import { Levels } from "./levels";
import { SEA_TURNS, STILL_TURNS, tenths, TrailStore } from "./trails";
import { invert } from "./uniforms";
import { VERTEX } from "./vertex.glsl";

const NAMES = [
  "u_ground", "u_size", "u_echo", "u_row", "u_own", "u_turn", "u_now", "u_period", "u_firstCell", "u_cell",
  "u_cellsPerPixel", "u_level", "u_weak", "u_strong", "u_strength", "u_marks", "u_square", "u_stamp", "u_trail",
] as const;
type Name = (typeof NAMES)[number];

/** Beyond this from where the plane was laid, single-precision metres and Mercator's scale begin to show. */
const RELAY_M = 15_000;

export class ScanLayer {
  #gl: WebGL2RenderingContext | undefined;
  #program: WebGLProgram | undefined;
  #at: Partial<Record<Name, WebGLUniformLocation | null>> = {};
  #echoTexture: WebGLTexture | undefined;
  #rowTexture: WebGLTexture | undefined;
  #echo = new Uint8Array(0);
  #rows = new Float32Array(0);
  #nSpoke = 0;
  #nCell = 0;
  #firstCellM = 0;
  #cellM = 1;
  #plane: Plane | undefined;
  #fromBow = false;
  readonly #levels = new Levels();
  readonly #ground = new Float32Array(9);
  #newestAt = Number.NEGATIVE_INFINITY;
  periodS = 2.5;
  /** Page seconds of trail drawn; 0: none. */
  trailS = 0;
  #trails: TrailStore | undefined;
  #lapAt = Number.NaN;
  #lapRows = 0;
  #byProcessor: boolean | undefined;

  constructor(readonly canvas: HTMLCanvasElement) {
    canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      // A canvas without its context may be shown white.
      canvas.style.visibility = "hidden";
      this.#gl = undefined;
    });
    canvas.addEventListener("webglcontextrestored", () => {
      this.#begin();
      canvas.style.visibility = "visible";
    });
    this.#begin();
  }

  get works(): boolean {
    return this.#gl !== undefined;
  }

  /** True where no graphics card draws: a virtual machine, a test, a very old tablet. */
  get isDrawnByProcessor(): boolean {
    this.#byProcessor ??= this.#askRenderer();
    return this.#byProcessor;
  }

  #askRenderer(): boolean {
    const gl = this.#gl;
    if (gl === undefined) return true;
    const more = gl.getExtension("WEBGL_debug_renderer_info");
    const name: unknown = gl.getParameter(more === null ? gl.RENDERER : more.UNMASKED_RENDERER_WEBGL);
    return typeof name === "string" && /swiftshader|llvmpipe|softpipe|software|basic render/i.test(name);
  }

  /** Page seconds of the newest row; minus infinity before the first. */
  get newestAt(): number {
    return this.#newestAt;
  }

  /** Take in changed rows. */
  update(rows: SpokeRows, nowS: number): void {
    const fromBow = (rows.flags & FROM_BOW) !== 0;
    const isNew = rows.nSpoke !== this.#nSpoke || rows.nCell !== this.#nCell || (rows.flags & FORGET) !== 0;
    this.#firstCellM = rows.firstCellM;
    this.#cellM = rows.cellM;
    this.#fromBow = fromBow;
    if (isNew) this.#lay(rows.nSpoke, rows.nCell);
    let east = 0;
    let north = 0;
    if (!Number.isNaN(rows.refLatDeg)) {
      if (this.#plane === undefined || isNew) this.#plane = new Plane(rows.refLatDeg, rows.refLonDeg);
      east = this.#plane.east(rows.refLonDeg);
      north = this.#plane.north(rows.refLatDeg);
      if (Math.hypot(east, north) > RELAY_M) {
        this.#relay(rows.refLatDeg, rows.refLonDeg);
        east = 0;
        north = 0;
      }
    }
    for (let i = 0; i < rows.row.length; i++) {
      const row = rows.row[i] ?? 0;
      if (row >= this.#nSpoke) continue;
      this.#echo.set(rows.echo.subarray(i * rows.nCell, (i + 1) * rows.nCell), row * rows.nCell);
      const age = rows.ageS[i] ?? Number.POSITIVE_INFINITY;
      this.#rows[4 * row] = east + (rows.eastM[i] ?? 0);
      this.#rows[4 * row + 1] = north + (rows.northM[i] ?? 0);
      this.#rows[4 * row + 2] = nowS - Math.min(age, 1e6);
      this.#rows[4 * row + 3] = Number.isFinite(age) ? 1 : 0;
      this.#newestAt = Math.max(this.#newestAt, nowS - age);
    }
    this.#levels.add(rows.echo);
    this.#upload(rows.row);
    this.#tellPeriod(rows, nowS);
    if (!Number.isNaN(rows.refLatDeg)) this.#markTrails(rows, east, north, nowS);
  }

  /** Time of a turn as it comes in: a story may run faster than life. */
  #tellPeriod(rows: SpokeRows, nowS: number): void {
    // Rows are counted until a whole turn of them has come; frames may come late and together.
    if (Number.isNaN(this.#lapAt) || nowS - this.#lapAt > 12) {
      this.#lapAt = nowS;
      this.#lapRows = 0;
      return;
    }
    this.#lapRows += rows.row.length;
    if (this.#lapRows < this.#nSpoke) return;
    const turn = ((nowS - this.#lapAt) * this.#nSpoke) / this.#lapRows;
    if (turn > 0.2) this.periodS += 0.3 * (Math.min(turn, 8) - this.periodS);
    this.#lapAt = nowS;
    this.#lapRows = 0;
  }

  /** Mark on the ground what the rows that just came in found. */
  #markTrails(rows: SpokeRows, east: number, north: number, nowS: number): void {
    const gl = this.#gl;
    // Where heading is not known nothing can be laid on the ground; where a processor draws, only when it is looked at.
    if (gl === undefined || this.#fromBow || (this.trailS === 0 && this.isDrawnByProcessor)) return;
    this.#trails ??= new TrailStore(gl, this.isDrawnByProcessor ? 512 : 1024, (vertex, fragment) => link(gl, vertex, fragment));
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, this.#echoTexture ?? null);
    const [low, high] = this.#levels.get();
    let first = 0;
    for (let i = 1; i <= rows.row.length; i++) {
      if (i < rows.row.length && rows.row[i] === (rows.row[i - 1] ?? 0) + 1) continue;
      const middle = (first + i - 1) >> 1;
      this.#trails.sweep({
        east: east + (rows.eastM[middle] ?? 0),
        north: north + (rows.northM[middle] ?? 0),
        firstRow: rows.row[first] ?? 0,
        rows: i - first,
        nSpoke: this.#nSpoke,
        nCell: this.#nCell,
        firstCellM: this.#firstCellM,
        cellM: this.#cellM,
        level: low + 0.5 * (high - low),
        atS: nowS - Math.min(rows.ageS[middle] ?? 0, 60),
        periodS: this.periodS,
      });
      first = i;
    }
  }

  forget(): void {
    this.#trails?.clear();
    this.#rows.fill(0);
    this.#newestAt = Number.NEGATIVE_INFINITY;
    this.#upload(undefined);
  }

  /** Draw as seen by a camera; `boat` in degrees; strength 0..1. */
  draw(camera: Camera, boat: { latDeg: number; lonDeg: number; headingRad: number }, inks: Inks, nowS: number, strength: number, ratio: number): void {
    const gl = this.#gl;
    if (gl === undefined || this.#program === undefined) return;
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
    if (this.#nSpoke === 0) return;
    // Rows from the bow have no place of their own: they are laid about the boat as it is drawn.
    const plane = this.#fromBow || this.#plane === undefined ? camera.plane : this.#plane;
    invert(affine(camera, plane), 1 / ratio, this.#ground);
    gl.useProgram(this.#program);
    gl.disable(gl.BLEND);
    gl.disable(gl.DEPTH_TEST);
    gl.disable(gl.CULL_FACE);
    gl.disable(gl.SCISSOR_TEST);
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, this.#echoTexture ?? null);
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_2D, this.#rowTexture ?? null);
    const at = this.#at;
    gl.uniform1i(at.u_echo ?? null, 0);
    gl.uniform1i(at.u_row ?? null, 1);
    gl.uniformMatrix3fv(at.u_ground ?? null, false, this.#ground);
    gl.uniform2f(at.u_size ?? null, this.canvas.width, this.canvas.height);
    gl.uniform2f(at.u_own ?? null, plane.east(boat.lonDeg), plane.north(boat.latDeg));
    gl.uniform1f(at.u_turn ?? null, this.#fromBow ? boat.headingRad : 0);
    gl.uniform1f(at.u_now ?? null, nowS);
    gl.uniform1f(at.u_period ?? null, this.periodS);
    gl.uniform1f(at.u_firstCell ?? null, this.#firstCellM);
    gl.uniform1f(at.u_cell ?? null, this.#cellM);
    gl.uniform1f(at.u_cellsPerPixel ?? null, 1 / (camera.pxPerM * ratio * this.#cellM));
    const level = this.#levels.get();
    gl.uniform2f(at.u_level ?? null, level[0], level[1]);
    colour(gl, at.u_weak ?? null, inks.echoWeak);
    colour(gl, at.u_strong ?? null, inks.echoStrong);
    gl.uniform1f(at.u_strength ?? null, strength);
    const square = this.trailS > 0 && !this.#fromBow ? this.#trails?.square : undefined;
    gl.activeTexture(gl.TEXTURE2);
    gl.bindTexture(gl.TEXTURE_2D, this.#trails?.texture ?? null);
    gl.uniform1i(at.u_marks ?? null, 2);
    gl.uniform3f(at.u_square ?? null, square?.[0] ?? 0, square?.[1] ?? 0, square?.[2] ?? 0);
    gl.uniform1f(at.u_stamp ?? null, tenths(nowS));
    gl.uniform4f(at.u_trail ?? null, this.periodS * 10, this.trailS * 10, SEA_TURNS, STILL_TURNS);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  #begin(): void {
    const gl = this.canvas.getContext("webgl2", { alpha: true, premultipliedAlpha: true, antialias: false, depth: false });
    if (gl === null) return;
    this.#trails = undefined;
    const program = link(gl, VERTEX, FRAGMENT);
    if (program === undefined) return;
    this.#gl = gl;
    this.#program = program;
    this.#at = {};
    for (const name of NAMES) this.#at[name] = gl.getUniformLocation(program, name);
    this.#textures();
  }

  #lay(nSpoke: number, nCell: number): void {
    this.#trails?.clear();
    this.#nSpoke = nSpoke;
    this.#nCell = nCell;
    this.#echo = new Uint8Array(nSpoke * nCell);
    this.#rows = new Float32Array(4 * nSpoke);
    this.#textures();
  }

  /** Lay the plane afresh about the boat, moving every row's place with it. */
  #relay(latDeg: number, lonDeg: number): void {
    this.#trails?.clear();
    const before = this.#plane;
    const plane = new Plane(latDeg, lonDeg);
    if (before !== undefined) {
      for (let row = 0; row < this.#nSpoke; row++) {
        const lon = before.lon(this.#rows[4 * row] ?? 0);
        const lat = before.lat(this.#rows[4 * row + 1] ?? 0);
        this.#rows[4 * row] = plane.east(lon);
        this.#rows[4 * row + 1] = plane.north(lat);
      }
    }
    this.#plane = plane;
  }

  #textures(): void {
    const gl = this.#gl;
    if (gl === undefined || this.#nSpoke === 0) return;
    gl.deleteTexture(this.#echoTexture ?? null);
    gl.deleteTexture(this.#rowTexture ?? null);
    this.#echoTexture = texture(gl, gl.R8, this.#nCell, this.#nSpoke, gl.LINEAR);
    this.#rowTexture = texture(gl, gl.RGBA32F, this.#nSpoke, 1, gl.NEAREST);
    this.#upload(undefined);
  }

  /** Send rows to the card: the given ones in runs, or all. */
  #upload(which: Uint16Array | undefined): void {
    const gl = this.#gl;
    if (gl === undefined || this.#echoTexture === undefined || this.#rowTexture === undefined) return;
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, this.#echoTexture);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1); // rows need not be a multiple of 4 long
    const send = (first: number, count: number): void =>
      gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, first, this.#nCell, count, gl.RED, gl.UNSIGNED_BYTE, this.#echo, first * this.#nCell);
    if (which === undefined) {
      send(0, this.#nSpoke);
    } else {
      let first = -1;
      let last = -2;
      for (const row of which) {
        if (row !== last + 1) {
          if (first >= 0) send(first, last - first + 1);
          first = row;
        }
        last = row;
      }
      if (first >= 0) send(first, last - first + 1);
    }
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_2D, this.#rowTexture);
    gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, this.#nSpoke, 1, gl.RGBA, gl.FLOAT, this.#rows);
  }
}

function colour(gl: WebGL2RenderingContext, at: WebGLUniformLocation | null, rgb: Rgb): void {
  gl.uniform3f(at, rgb[0] / 255, rgb[1] / 255, rgb[2] / 255);
}

function texture(gl: WebGL2RenderingContext, format: number, width: number, height: number, filter: number): WebGLTexture {
  const made = gl.createTexture();
  gl.bindTexture(gl.TEXTURE_2D, made);
  gl.texStorage2D(gl.TEXTURE_2D, 1, format, width, height);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, filter);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, filter);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.REPEAT);
  return made;
}

function link(gl: WebGL2RenderingContext, vertex: string, fragment: string): WebGLProgram | undefined {
  const program = gl.createProgram();
  for (const [type, source] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]] as const) {
    const shader = gl.createShader(type);
    if (shader === null) return undefined;
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  if (gl.getProgramParameter(program, gl.LINK_STATUS) !== true && !gl.isContextLost()) {
    throw new Error(`the scan's shader does not link: ${gl.getProgramInfoLog(program) ?? ""}`);
  }
  return program;
}
