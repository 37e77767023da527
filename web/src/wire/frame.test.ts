import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { decode, encodeAck, encodeControl, FORGET, FrameError } from "./frame";

/** The same bytes as tests/helm/web/test_protocol.py holds the server to. */
function golden(name: string): ArrayBuffer {
  const hex = readFileSync(new URL(`../../../tests/helm/golden/${name}.hex`, import.meta.url), "utf8").trim();
  const bytes = Uint8Array.from(hex.match(/../g) ?? [], (pair) => Number.parseInt(pair, 16));
  return bytes.buffer;
}

describe("golden frames", () => {
  it("reads spokes", () => {
    const frame = decode(golden("spokes"));
    expect(frame.kind).toBe("spokes");
    if (frame.kind !== "spokes") return;
    expect(frame.sequence).toBe(2);
    expect(frame.body.nSpoke).toBe(720);
    expect(frame.body.flags).toBe(FORGET);
    expect(frame.body.firstCellM).toBe(3.5);
    expect(frame.body.cellM).toBe(6.25);
    expect(frame.body.refLatDeg).toBe(-12.4);
    expect(frame.body.receivedUnixMs).toBe(1840598702040.5);
    expect(frame.body.picture).toBe(4_000_000_000);
    expect([...frame.body.ageS]).toEqual([0.25, 1.5]);
    expect([...frame.body.northM]).toEqual([0, -7.75]);
    expect([...frame.body.row]).toEqual([0, 719]);
    expect([...frame.body.echo]).toEqual([0, 127, 255, 1, 2, 3]);
  });

  it("reads a pose and keeps the unknown", () => {
    const frame = decode(golden("pose"));
    if (frame.kind !== "pose") throw new Error(frame.kind);
    expect(frame.body.headingDeg).toBe(24.5);
    expect(frame.body.cogDeg).toBeNaN();
  });

  it("reads the small fan of a radar that is heard", () => {
    const frame = decode(golden("fan"));
    if (frame.kind !== "fan") throw new Error(frame.kind);
    const { age, echo, ...rest } = frame.body;
    expect(rest).toEqual({ place: 3, nRow: 2, nCell: 4, newestRow: 1, rangeM: 2306.5 });
    expect([[...age], [...echo]]).toEqual([[0, 255], [0, 1, 2, 3, 4, 5, 6, 7]]);
    expect(() => decode(golden("fan").slice(0, -1))).toThrow("cut short");
  });

  it("reads JSON beyond ASCII", () => {
    const frame = decode(golden("hello"));
    if (frame.kind !== "hello") throw new Error(frame.kind);
    expect(frame.body.boat.name).toBe("Über 9 m");
  });

  it("reads the largest sequence", () => {
    expect(decode(golden("call")).sequence).toBe(0xffffffff);
  });

  it("writes the ack that the server knows", () => {
    expect(new Uint8Array(encodeAck(9))).toEqual(new Uint8Array(golden("ack")));
  });
});

describe("what is refused", () => {
  it("a cut frame", () => {
    expect(() => decode(golden("spokes").slice(0, -1))).toThrow(FrameError);
    expect(() => decode(new ArrayBuffer(3))).toThrow("too short");
  });

  it("another version, and says to load afresh", () => {
    const frame = golden("ack");
    new DataView(frame).setUint8(2, 3);
    expect(() => decode(frame)).toThrow("load it afresh");
  });

  it("a kind not known, and a body that is no object", () => {
    expect(() => decode(golden("ack"))).toThrow("not known");
    const frame = encodeControl(1, { do: "pause" });
    new DataView(frame).setUint8(3, 1);
    new Uint8Array(frame, 8).set(new TextEncoder().encode("[]            "));
    expect(() => decode(frame)).toThrow();
  });
});
