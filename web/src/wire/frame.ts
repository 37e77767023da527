/**
 * The helm's frames, version 2: the twin of `src/moonless/helm/web/protocol.py`, whose head lists every byte.
 * Unknown at the socket, narrowed here, once, into a tagged union.
 */
import type { Affairs, Call, Hello, ChartPlace, Reading, Reply, Trial } from "../state/types";
import type { Heard } from "../setup/types";

export const VERSION = 2;
const HEAD = 8;
const SPOKES_HEAD = 56;
const FAN_HEAD = 20;

export const FORGET = 1;
export const FROM_BOW = 2;

/** The newest turn of one radar that is heard, small; see the head of `src/moonless/helm/web/protocol.py`. */
export interface SpokeFan {
  readonly place: number;
  readonly nRow: number;
  readonly nCell: number;
  readonly newestRow: number;
  readonly rangeM: number;
  /** Tenths of a second. */
  readonly age: Uint8Array;
  readonly echo: Uint8Array;
}

export interface SpokeRows {
  readonly nSpoke: number;
  readonly nCell: number;
  readonly flags: number;
  readonly firstCellM: number;
  readonly cellM: number;
  readonly refLatDeg: number;
  readonly refLonDeg: number;
  readonly receivedUnixMs: number;
  readonly picture: number;
  readonly ageS: Float32Array;
  readonly eastM: Float32Array;
  readonly northM: Float32Array;
  readonly row: Uint16Array;
  /** nRow * nCell, row after row. */
  readonly echo: Uint8Array;
}

export interface Pose {
  readonly latDeg: number;
  readonly lonDeg: number;
  readonly headingDeg: number;
  readonly cogDeg: number;
  readonly sogKn: number;
  readonly ageS: number;
}

export type Frame = { readonly sequence: number } & (
  | { readonly kind: "hello"; readonly body: Hello }
  | { readonly kind: "spokes"; readonly body: SpokeRows }
  | { readonly kind: "reading"; readonly body: Reading }
  | { readonly kind: "status"; readonly body: Partial<Affairs> & { answer?: string } }
  | { readonly kind: "call"; readonly body: Call }
  | { readonly kind: "chart"; readonly body: ChartPlace }
  | { readonly kind: "pose"; readonly body: Pose }
  | { readonly kind: "trial"; readonly body: Trial | Record<string, never> }
  | { readonly kind: "reply"; readonly body: Reply }
  | { readonly kind: "heard"; readonly body: Heard }
  | { readonly kind: "fan"; readonly body: SpokeFan }
);

export class FrameError extends Error {}

/** Decode one frame. Throws FrameError for what this page does not speak: the helm must then be loaded afresh. */
export function decode(buffer: ArrayBuffer): Frame {
  if (buffer.byteLength < HEAD) throw new FrameError(`a frame of ${buffer.byteLength} bytes is too short`);
  const view = new DataView(buffer);
  if (view.getUint8(0) !== 0x4d || view.getUint8(1) !== 0x4c) throw new FrameError("a frame that is not this helm's");
  const version = view.getUint8(2);
  if (version !== VERSION) throw new FrameError(`the helm speaks version ${version}, this page ${VERSION}: load it afresh`);
  const kind = view.getUint8(3);
  const sequence = view.getUint32(4, true);
  switch (kind) {
    case 1:
      return { kind: "hello", sequence, body: json(buffer) as Hello };
    case 2:
      return { kind: "spokes", sequence, body: spokes(buffer, view) };
    case 3:
      return { kind: "reading", sequence, body: json(buffer) as Reading };
    case 4:
      return { kind: "status", sequence, body: json(buffer) as Partial<Affairs> };
    case 5:
      return { kind: "call", sequence, body: json(buffer) as Call };
    case 6:
      return { kind: "chart", sequence, body: json(buffer) as ChartPlace };
    case 7:
      return { kind: "pose", sequence, body: pose(view) };
    case 8:
      return { kind: "trial", sequence, body: json(buffer) as Trial };
    case 9:
      return { kind: "reply", sequence, body: json(buffer) as Reply };
    case 16:
      return { kind: "heard", sequence, body: json(buffer) as Heard };
    case 17:
      return { kind: "fan", sequence, body: fan(buffer, view) };
    default:
      throw new FrameError(`a frame of kind ${kind} is not known here`);
  }
}

function json(buffer: ArrayBuffer): unknown {
  const body: unknown = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, HEAD)));
  if (typeof body !== "object" || body === null || Array.isArray(body)) throw new FrameError("a frame's body is not an object");
  return body;
}

function spokes(buffer: ArrayBuffer, view: DataView): SpokeRows {
  if (buffer.byteLength < SPOKES_HEAD) throw new FrameError("a spokes frame is cut short");
  const nSpoke = view.getUint16(8, true);
  const nCell = view.getUint16(10, true);
  const nRow = view.getUint16(12, true);
  if (buffer.byteLength !== SPOKES_HEAD + nRow * (14 + nCell)) throw new FrameError("a spokes frame is cut short");
  const rowAt = SPOKES_HEAD + 12 * nRow;
  return {
    nSpoke,
    nCell,
    flags: view.getUint16(14, true),
    firstCellM: view.getFloat32(16, true),
    cellM: view.getFloat32(20, true),
    refLatDeg: view.getFloat64(24, true),
    refLonDeg: view.getFloat64(32, true),
    receivedUnixMs: view.getFloat64(40, true),
    picture: view.getUint32(48, true),
    // Every machine that runs a browser today is little-endian, as the frame is.
    ageS: new Float32Array(buffer, SPOKES_HEAD, nRow),
    eastM: new Float32Array(buffer, SPOKES_HEAD + 4 * nRow, nRow),
    northM: new Float32Array(buffer, SPOKES_HEAD + 8 * nRow, nRow),
    row: new Uint16Array(buffer, rowAt, nRow),
    echo: new Uint8Array(buffer, rowAt + 2 * nRow, nRow * nCell),
  };
}

function fan(buffer: ArrayBuffer, view: DataView): SpokeFan {
  if (buffer.byteLength < FAN_HEAD) throw new FrameError("a fan frame is cut short");
  const nRow = view.getUint16(10, true);
  const nCell = view.getUint16(12, true);
  if (buffer.byteLength !== FAN_HEAD + nRow * (1 + nCell)) throw new FrameError("a fan frame is cut short");
  return {
    place: view.getUint16(8, true),
    nRow,
    nCell,
    newestRow: view.getUint16(14, true),
    rangeM: view.getFloat32(16, true),
    age: new Uint8Array(buffer, FAN_HEAD, nRow),
    echo: new Uint8Array(buffer, FAN_HEAD + nRow, nRow * nCell),
  };
}

function pose(view: DataView): Pose {
  if (view.byteLength !== HEAD + 32) throw new FrameError("a pose frame is cut short");
  return {
    latDeg: view.getFloat64(8, true),
    lonDeg: view.getFloat64(16, true),
    headingDeg: view.getFloat32(24, true),
    cogDeg: view.getFloat32(28, true),
    sogKn: view.getFloat32(32, true),
    ageS: view.getFloat32(36, true),
  };
}

function head(kind: number, sequence: number, length: number): { buffer: ArrayBuffer; bytes: Uint8Array } {
  const buffer = new ArrayBuffer(HEAD + length);
  const view = new DataView(buffer);
  view.setUint8(0, 0x4d);
  view.setUint8(1, 0x4c);
  view.setUint8(2, VERSION);
  view.setUint8(3, kind);
  view.setUint32(4, sequence, true);
  return { buffer, bytes: new Uint8Array(buffer, HEAD) };
}

export function encodeAck(sequence: number): ArrayBuffer {
  return head(65, sequence, 0).buffer;
}

export type Control =
  | { do: "pause" | "go on" | "start again" | "say again" | "listen" | "take bow" | "undo bow" }
  | { do: "speed" | "silence" | "jump"; value: number }
  | { do: "acknowledge"; key: string }
  | { do: "i see it" | "keep in mind"; echo: number; value: string }
  | { do: "sight"; value: string }
  | { do: "loudspeaker" | "fog signal"; value: boolean }
  | { do: "trial"; value: TrialAsked | null }
  | { do: "route"; value: RouteAsked };

/** null: as now. */
export interface TrialAsked {
  readonly course_deg: number | null;
  readonly speed_kn: number | null;
  readonly delay_s: number;
}

type LatLon = readonly [number, number];

/** The answer bears the token again. */
export type RouteAsked = { readonly token: number } & (
  | { readonly what: "check" | "way"; readonly points: readonly LatLon[] }
  | { readonly what: "save"; readonly points: readonly LatLon[]; readonly name: string; readonly follow: boolean }
  | { readonly what: "list" | "stop" }
  | { readonly what: "follow"; readonly name: string; readonly back: boolean }
  | { readonly what: "remove"; readonly name: string }
  | { readonly what: "leg"; readonly leg: number }
);

export function encodeControl(sequence: number, control: Control): ArrayBuffer {
  const text = new TextEncoder().encode(JSON.stringify(control));
  const { buffer, bytes } = head(64, sequence, text.length);
  bytes.set(text);
  return buffer;
}
