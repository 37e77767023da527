"""The records inside one ASTERIX category 240 data block, edition 1.3: octets in, values out.

Source: EUROCONTROL-SPEC-0149-240, "ASTERIX Part 31, Category 240, Radar Video Transmission", edition 1.3 (13 May
2015), as the asterix-specs project writes it down.

Record order (one FSPEC bit each): 010 000 020 030 040 041 048 FX | 049 050 051 052 140 RE SP FX

Choices where the specification leaves room:
- Cells are packed most significant bit first, and cells wider than an octet are big-endian, as all of ASTERIX is.
- Item 048 only says *that* video is compressed.  Common practice is zlib (RFC 1950) over the valid octets.
- The range of a cell, D = duration * (start + n - 1) * c / 2, is taken as the cell's centre.
- "Valid octets" that do not reach to the last valid cell are tolerated as long as the block itself holds the cells.
"""

from __future__ import annotations

import struct
import zlib
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from moonless.constants import SPEED_OF_LIGHT_MPS, TAU
from moonless.scan.types import Spoke
from moonless.wire.times import DAY_S, utc_of_day

CATEGORY = 240  # of ASTERIX
AZIMUTH_STEPS = 65536  # a turn in the sixteen bits of items 040 and 041
AZIMUTH_LSB_RAD = TAU / AZIMUTH_STEPS
TIME_LSB_PER_S = 128  # item 140
# Units of a cell's duration: item 041 counts the one, item 040 the other.
FEMTO_S = 1e-15
NANO_S = 1e-9

# Resolution code of item 048 -> bits a cell.
BITS_OF_CODE = {1: 1, 2: 2, 3: 4, 4: 8, 5: 16, 6: 32}
# Item 05x -> octets of one repetition.
BLOCK_050, BLOCK_051, BLOCK_052 = 4, 64, 256

Cells = NDArray[np.uint8] | NDArray[np.uint16] | NDArray[np.uint32]


class DamagedRecord(Exception):
    """Octets that are no record of this category; the stream decoder counts it and reads on."""


class UnknownCompression(DamagedRecord):
    """A whole record whose video is compressed by something other than zlib."""


class Summary(NamedTuple):
    """A video summary message: free text about the stream."""

    sac: int
    sic: int
    text: str
    time_of_day_s: float | None


class Video(NamedTuple):
    """A video message: one spoke, or a stretch of one."""

    sac: int
    sic: int
    sequence: int | None  # None: the encoder left item 020 out
    azimuth_start_lsb: int  # 1/65536 turn
    azimuth_end_lsb: int
    start_cell: int  # starting range, in cells
    cell_duration_s: float
    bits: int
    cells: Cells  # (n_cell,), read-only view where possible
    time_of_day_s: float | None

    @property
    def cell_m(self) -> float:
        """Slant range from one cell to the next."""
        return self.cell_duration_s * (SPEED_OF_LIGHT_MPS / 2.0)

    @property
    def first_cell_m(self) -> float:
        """Slant range to the centre of the first cell."""
        return self.start_cell * self.cell_m

    @property
    def full_scale(self) -> int:
        """Largest count the encoding can carry."""
        return (1 << self.bits) - 1

    def time_ns(self, reference_ns: int) -> int:
        """Return Unix time; see `utc_of_day`.  A record without time of day is given the reference itself."""
        return reference_ns if self.time_of_day_s is None else utc_of_day(self.time_of_day_s, reference_ns)

    def to_spoke(self, reference_ns: int) -> Spoke:
        """Return the spoke.

        ``reference_ns``: Unix time near this record (of receipt), which gives the date.  32-bit cells are scaled
        to 16 bits (full scale stays full scale, rounded to nearest); a sequence number that was left out is -1.
        """
        cells = self.cells
        full_scale = self.full_scale
        if cells.dtype == np.uint32:
            cells = np.minimum((cells.astype(np.uint64) + np.uint64(0x8000)) >> np.uint64(16), 0xFFFF).astype(np.uint16)
            full_scale = 0xFFFF
        cell_m = self.cell_duration_s * (SPEED_OF_LIGHT_MPS / 2.0)
        return Spoke(
            self.time_ns(reference_ns),
            self.azimuth_start_lsb * AZIMUTH_LSB_RAD,
            self.azimuth_end_lsb * AZIMUTH_LSB_RAD,
            self.start_cell * cell_m,
            cell_m,
            cells,  # type: ignore[arg-type]  # uint32 was scaled down above
            full_scale,
            -1 if self.sequence is None else self.sequence,
        )


# Video records as nearly everybody writes them: 010 000 020 04x 048 049 05x [140].  One struct reads up to REP.
_COMMON = struct.Struct(">BBBIHHIIBBHBHB")
_COMMON_FIRST = {0b1110_1011: NANO_S, 0b1110_0111: FEMTO_S}
_COMMON_SECOND = {
    0b1100_0000: (BLOCK_050, 0),
    0b1010_0000: (BLOCK_051, 0),
    0b1001_0000: (BLOCK_052, 0),
    0b1100_1000: (BLOCK_050, 3),
    0b1010_1000: (BLOCK_051, 3),
    0b1001_1000: (BLOCK_052, 3),
}
_COMMON_SIZE = 2 + _COMMON.size  # FSPEC to REP
_HEADER = struct.Struct(">HHII")


def read_records(data: bytes, start: int, end: int) -> list[Video | Summary]:
    """Return the records between two offsets of ``data``, which must fill the stretch exactly.

    Some encoders write item 020 without its FSPEC bit.  A video record without that bit is first read as if the
    item were there (it is mandatory), and, if the block then does not come out whole, as if it were not.

    Raises DamagedRecord, or UnknownCompression when all is whole but the video cannot be unpacked.
    """
    try:
        return _read_all(data, start, end, True)
    except UnknownCompression:
        raise
    except DamagedRecord:
        try:
            return _read_all(data, start, end, False)
        except UnknownCompression as problem:
            raise DamagedRecord(str(problem)) from problem


def _read_all(data: bytes, at: int, end: int, hidden_020: bool) -> list[Video | Summary]:
    records: list[Video | Summary] = []
    if at >= end:
        raise DamagedRecord("block without a record")
    while at < end:
        record, at = _read_one(data, at, end, hidden_020)
        records.append(record)
    return records


def _read_one(data: bytes, at: int, end: int, hidden_020: bool) -> tuple[Video | Summary, int]:
    scale = _COMMON_FIRST.get(data[at])
    video = at + _COMMON_SIZE
    tail = _COMMON_SECOND.get(data[at + 1]) if scale is not None and video <= end else None
    if scale is None or tail is None:
        return _read_any(data, at, end, hidden_020)
    size, n_time = tail
    sac, sic, kind, sequence, az0, az1, first, duration, comp, code, n_octet, hi, lo, rep = _COMMON.unpack_from(
        data, at + 2
    )
    stop = video + rep * size
    if kind != 2 or stop + n_time > end:
        raise DamagedRecord("video message that does not fit its block")
    time_s = None
    if n_time:
        time_s = _time_of_day(data, stop)
    bits, cells = _cells(data, video, stop, comp, code, n_octet, hi << 16 | lo)
    return Video(sac, sic, sequence, az0, az1, first, duration * scale, bits, cells, time_s), stop + n_time


def _read_any(data: bytes, at: int, end: int, hidden_020: bool) -> tuple[Video | Summary, int]:
    """Read a record item by item, whatever its FSPEC says."""
    present = []
    bit_of_item = 0
    more = True
    while more:
        if at >= end:
            raise DamagedRecord("FSPEC runs out of its block")
        octet = data[at]
        at += 1
        present += [bit_of_item + n for n in range(7) if octet & (0x80 >> n)]
        bit_of_item += 7
        more = bool(octet & 1)
    if present and present[-1] >= 14:
        raise DamagedRecord("FSPEC names an item that category 240 does not have")

    reader = _Reader(data, at, end)
    items = set(present)
    if not {0, 1} <= items:
        raise DamagedRecord("record without data source or message type")
    sac, sic = reader.take(2)
    kind = reader.take(1)[0]
    sequence = text = header = coding = counters = video = time_s = None
    header_scale = 0.0
    if 2 in items or (kind == 2 and hidden_020):
        sequence = int.from_bytes(reader.take(4), "big")
    if 3 in items:
        text = reader.take(reader.take(1)[0]).decode("ascii", errors="replace")
    for item, scale in ((4, NANO_S), (5, FEMTO_S)):
        if item in items:
            if header is not None:
                raise DamagedRecord("two video headers")
            header, header_scale = _HEADER.unpack(reader.take(12)), scale
    if 6 in items:
        coding = reader.take(2)
    if 7 in items:
        counters = reader.take(5)
    for item, size in ((8, BLOCK_050), (9, BLOCK_051), (10, BLOCK_052)):
        if item in items:
            if video is not None:
                raise DamagedRecord("two video blocks")
            length = reader.take(1)[0] * size
            video = (reader.at, reader.at + length)
            reader.take(length)
    if 11 in items:
        time_s = _time_of_day(data, reader.at)
        reader.take(3)
    for item in (12, 13):  # RE, SP: their first octet counts itself
        if item in items:
            reader.take(max(reader.take(1)[0], 1) - 1)

    if kind == 1:
        if text is None:
            raise DamagedRecord("summary message without its text")
        return Summary(sac, sic, text, time_s), reader.at
    if kind != 2 or header is None or coding is None or counters is None or video is None:
        raise DamagedRecord(f"message of type {kind} without what it must have")
    n_octet, n_cell = int.from_bytes(counters[:2], "big"), int.from_bytes(counters[2:], "big")
    bits, cells = _cells(data, video[0], video[1], coding[0], coding[1], n_octet, n_cell)
    az0, az1, first, duration = header
    return Video(sac, sic, sequence, az0, az1, first, duration * header_scale, bits, cells, time_s), reader.at


class _Reader:
    """Takes octets one after the other and refuses to pass the end."""

    def __init__(self, data: bytes, at: int, end: int) -> None:
        self._data = data
        self.at = at
        self._end = end

    def take(self, n: int) -> bytes:
        if self.at + n > self._end:
            raise DamagedRecord("record runs out of its block")
        self.at += n
        return self._data[self.at - n : self.at]


def _time_of_day(data: bytes, at: int) -> float | None:
    time_s = int.from_bytes(data[at : at + 3], "big") / TIME_LSB_PER_S
    # 24 bits reach past midnight to 36 hours.  One second of it is a leap second; the rest says nothing.
    return time_s if time_s < DAY_S + 1 else None


def _cells(
    data: bytes, start: int, stop: int, compression: int, code: int, n_octet: int, n_cell: int
) -> tuple[int, Cells]:
    """Return (bits, cells) of a video block.  The seven spare bits of item 048 must be zero."""
    bits = BITS_OF_CODE.get(code, 0)
    if bits == 0 or compression & 0x7F:
        raise DamagedRecord(f"cell resolution code {code}, compression octet {compression:#04x}")
    if start + n_octet > stop:
        raise DamagedRecord(f"{n_octet} valid octets in a video block of {stop - start}")
    needed = (n_cell * bits + 7) >> 3
    if compression:
        data, start, stop = _unpack(data[start:stop], needed), 0, needed
    if start + needed > stop:
        raise DamagedRecord(f"{n_cell} cells of {bits} bits in a video block of {stop - start}")
    if bits == 8:
        return bits, np.frombuffer(data, np.uint8, n_cell, start)
    if bits == 16:
        return bits, np.frombuffer(data, ">u2", n_cell, start).astype(np.uint16)
    if bits == 32:
        return bits, np.frombuffer(data, ">u4", n_cell, start).astype(np.uint32)
    packed = np.frombuffer(data, np.uint8, needed, start)
    if bits == 1:
        return bits, np.unpackbits(packed)[:n_cell]
    shifts = np.arange(8 - bits, -1, -bits, dtype=np.uint8)
    return bits, ((packed[:, np.newaxis] >> shifts) & np.uint8((1 << bits) - 1)).reshape(-1)[:n_cell]


def _unpack(packed: bytes, needed: int) -> bytes:
    """Return the first ``needed`` octets of zlib data.

    Whatever pads the block out follows the zlib stream and is ignored, and no more than ``needed`` is unpacked: a
    crafted block cannot fill the memory.
    """
    if needed == 0:
        return b""
    try:
        out = zlib.decompressobj().decompress(packed, needed)
    except zlib.error as problem:
        raise UnknownCompression(f"video is compressed, but not by zlib: {problem}") from problem
    if len(out) < needed:
        raise DamagedRecord(f"compressed video gives {len(out)} octets of {needed}")
    return out
