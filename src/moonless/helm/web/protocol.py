"""The helm's one WebSocket protocol, version 2.  Little-endian; every frame is one message.

Frame::

    0  2  magic "ML"
    2  1  version (2)
    3  1  kind
    4  4  sequence, u32; counts the frames of one connection in one direction
    8  .. body

Kinds from the server::

    1 hello    JSON   what this helm is: boat, settings, source; sent first, and again when they change
    2 spokes   binary the rows of the radar picture that changed since this client's last picture
    3 reading  JSON   one reading (a line of readings.jsonl) with `coasting`, `tails`, `own_track`, `turn`,
                      `alerts` (what was called and how it stands: key, urgency, state, say, escalated),
                      `depth_m` (from the waterline, by the sounder), `instruction.echo` (whom the order is about), and
                      `standing`: the calls whose words still stand, the most urgent first
    4 status   JSON   once a second, the heartbeat: link ages, progress, demo state
    5 call     JSON   one sentence worth saying, once; never skipped while the queue holds
    6 chart    JSON   where the chart lies now: {"key", "url"}
    7 pose     binary own position, heading, course and speed over ground, newest
    8 trial    JSON   what a manoeuvre would bring, with every reading while one is tried; {} when none is;
                      `is_own`: false where another screen tries it and this one tries nothing
    9 reply    JSON   the answer to this screen's question about routes: {"about", "token", ...}
   16 heard    JSON   while a screen sets up: the whole of what is heard, see `moonless.helm.setup.heard`
   17 fan      binary while a screen sets up: the newest turn of one radar that is heard, small

Kinds from the client::

    64 control JSON   {"do": ...}; see `moonless.helm.web.controls`
    65 ack     empty  the sequence field repeats the newest spokes or reading frame that was taken in

Body of *spokes* after the header::

    8   u16 n_spoke   rows in a full turn of the store
    10  u16 n_cell    cells in a row
    12  u16 n_row     rows in this frame
    14  u16 flags     1: forget every row first; 2: rows count from the bow (heading unknown), else from true north
    16  f32 first_cell_m   slant range to the centre of cell 0
    20  f32 cell_m
    24  f64 ref_lat_deg    what east/north below are measured from
    32  f64 ref_lon_deg
    40  f64 received_unix_ms   when the newest row here came in from the antenna
    48  u32 picture   counts the pictures of the store
    52  u32 reserved, 0
    56  f32[n_row] age_s    seconds since the row was received, at the moment of sending
    ..  f32[n_row] east_m   antenna when the row was received, from the reference
    ..  f32[n_row] north_m
    ..  u16[n_row] row      row i looks at i * 2 pi / n_spoke
    ..  u8[n_row * n_cell]  echo, 0..255 of full scale

Body of *fan*: u16 place (its number in *heard*), n_row, n_cell, newest row; f32 range_m; u8[n_row] age in tenths of
a second, 255 and more: long ago or never; u8[n_row * n_cell] echo.
Row i looks at i * 2 pi / n_row of the antenna's angle.

Body of *pose*: f64 lat_deg, lon_deg; f32 heading_deg, cog_deg, sog_kn, age_s.  NaN: not known.

The bytes of `tests/helm/golden/` are read by the TypeScript tests too: a change here that moves a byte fails there.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from moonless.errors import WireError

Json = dict[str, Any]
"""An object as it came from a screen; every value of it is checked as it is taken."""

MAGIC = b"ML"
VERSION = 2

# Kinds of frame and flags, as the head lists them.
HELLO, SPOKES, READING, STATUS, CALL, CHART, POSE = 1, 2, 3, 4, 5, 6, 7
HEARD, FAN = 16, 17
TRIAL, REPLY = 8, 9
CONTROL, ACK = 64, 65

FORGET = 1
FROM_BOW = 2

_HEAD = struct.Struct("<2sBBI")
_SPOKES = struct.Struct("<HHHHffdddII")
_POSE = struct.Struct("<ddffff")
_FAN = struct.Struct("<HHHHf")


@dataclass(frozen=True, slots=True, eq=False)
class SpokeFrame:
    """The body of a spokes frame; see the file's head for every field."""

    n_spoke: int
    flags: int
    first_cell_m: float
    cell_m: float
    ref_lat_deg: float
    ref_lon_deg: float
    received_unix_ms: float
    picture: int
    age_s: NDArray[np.float32]  # (n_row,)
    east_m: NDArray[np.float32]
    north_m: NDArray[np.float32]
    row: NDArray[np.uint16]
    echo: NDArray[np.uint8]  # (n_row, n_cell)


@dataclass(frozen=True, slots=True, eq=False)
class FanFrame:
    """The body of a fan frame; see the file's head."""

    place: int
    n_row: int
    n_cell: int
    newest_row: int
    range_m: float
    age: NDArray[np.uint8]  # (n_row,) tenths of a second
    echo: NDArray[np.uint8]  # (n_row, n_cell)


@dataclass(frozen=True, slots=True)
class PoseFrame:
    """The body of a pose frame; NaN where not known."""

    lat_deg: float
    lon_deg: float
    heading_deg: float
    cog_deg: float
    sog_kn: float
    age_s: float


def encode_json(kind: int, sequence: int, body: Mapping[str, object]) -> bytes:
    """Return a frame with a JSON body; refuses numbers that are not finite."""
    text = json.dumps(body, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    # What cannot be written is shown as such: one odd name must not end a screen's feed.
    return _HEAD.pack(MAGIC, VERSION, kind, sequence & 0xFFFFFFFF) + text.encode(errors="replace")


def encode_spokes(sequence: int, body: SpokeFrame) -> bytes:
    """Return a spokes frame."""
    n_row, n_cell = body.echo.shape
    return b"".join(
        (
            _HEAD.pack(MAGIC, VERSION, SPOKES, sequence & 0xFFFFFFFF),
            _SPOKES.pack(
                body.n_spoke,
                n_cell,
                n_row,
                body.flags,
                body.first_cell_m,
                body.cell_m,
                body.ref_lat_deg,
                body.ref_lon_deg,
                body.received_unix_ms,
                body.picture & 0xFFFFFFFF,
                0,
            ),
            np.ascontiguousarray(body.age_s, dtype="<f4").tobytes(),
            np.ascontiguousarray(body.east_m, dtype="<f4").tobytes(),
            np.ascontiguousarray(body.north_m, dtype="<f4").tobytes(),
            np.ascontiguousarray(body.row, dtype="<u2").tobytes(),
            np.ascontiguousarray(body.echo, dtype=np.uint8).tobytes(),
        )
    )


def encode_fan(sequence: int, fan: FanFrame) -> bytes:
    """Return a fan frame."""
    head = _HEAD.pack(MAGIC, VERSION, FAN, sequence) + _FAN.pack(
        fan.place, fan.n_row, fan.n_cell, fan.newest_row, fan.range_m
    )
    return head + fan.age.tobytes() + fan.echo.tobytes()


def encode_pose(sequence: int, body: PoseFrame) -> bytes:
    """Return a pose frame."""
    return _HEAD.pack(MAGIC, VERSION, POSE, sequence & 0xFFFFFFFF) + _POSE.pack(
        body.lat_deg, body.lon_deg, body.heading_deg, body.cog_deg, body.sog_kn, body.age_s
    )


def encode_ack(sequence: int) -> bytes:
    """Return an ack frame; the server never sends one, tests do."""
    return _HEAD.pack(MAGIC, VERSION, ACK, sequence & 0xFFFFFFFF)


def decode_head(frame: bytes) -> tuple[int, int]:
    """Return (kind, sequence).

    Raises WireError for a frame that is too short, foreign, or of another version.
    """
    if len(frame) < _HEAD.size:
        raise WireError(f"a frame of {len(frame)} bytes is shorter than its head of {_HEAD.size}")
    magic, version, kind, sequence = _HEAD.unpack_from(frame)
    if magic != MAGIC:
        raise WireError(f"a frame begins with {magic!r}, not {MAGIC!r}")
    if version != VERSION:
        raise WireError(f"a frame is of protocol version {version}; this helm speaks {VERSION}: load the page afresh")
    return kind, sequence


def decode_json(frame: bytes) -> Json:
    """Return the JSON object after the head.

    Raises WireError if it is not one.
    """
    return read_object(frame[_HEAD.size :])


def read_object(data: bytes) -> Json:
    """Return a JSON object that came from a screen.

    Raises WireError if it is not one, or holds a text that is none: half a letter (a lone surrogate) can be sent to no
    other screen and written to no file, and a NUL ends a file's name where it stands.
    """
    try:
        body = json.loads(data)
        plain = json.dumps(body, ensure_ascii=False).encode()
    except (ValueError, RecursionError) as problem:  # the second: brackets in brackets in brackets
        raise WireError(f"what came is not JSON: {problem}"[:200]) from problem
    if not isinstance(body, dict):
        raise WireError(f"what came is a JSON {type(body).__name__}, not an object")
    if b"\\u0000" in plain:
        raise WireError("a text holds a NUL, which ends it")
    return body


def decode_spokes(frame: bytes) -> SpokeFrame:
    """Return a spokes frame's body; the twin of the TypeScript decoder, for tests.

    Raises WireError if the frame is cut short.
    """
    if len(frame) < _HEAD.size + _SPOKES.size:
        raise WireError(f"a spokes frame of {len(frame)} bytes is cut short")
    n_spoke, n_cell, n_row, flags, first, cell, lat, lon, received, picture, _ = _SPOKES.unpack_from(frame, _HEAD.size)
    at = _HEAD.size + _SPOKES.size
    wanted = at + n_row * (3 * 4 + 2 + n_cell)
    if len(frame) != wanted:
        raise WireError(f"a spokes frame of {n_row} rows of {n_cell} cells has {len(frame)} bytes, not {wanted}")
    age, east, north = (np.frombuffer(frame, "<f4", n_row, at + i * 4 * n_row) for i in range(3))
    at += 12 * n_row
    row = np.frombuffer(frame, "<u2", n_row, at)
    echo = np.frombuffer(frame, np.uint8, n_row * n_cell, at + 2 * n_row).reshape(n_row, n_cell)
    return SpokeFrame(n_spoke, flags, first, cell, lat, lon, received, picture, age, east, north, row, echo)


def decode_pose(frame: bytes) -> PoseFrame:
    """Return a pose frame's body."""
    if len(frame) != _HEAD.size + _POSE.size:
        raise WireError(f"a pose frame has {_HEAD.size + _POSE.size} bytes, not {len(frame)}")
    return PoseFrame(*_POSE.unpack_from(frame, _HEAD.size))
