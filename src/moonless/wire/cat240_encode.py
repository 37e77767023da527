"""ASTERIX category 240 data blocks out: one record a block, every mandatory item with its FSPEC bit."""

from __future__ import annotations

import struct
import zlib
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.constants import SPEED_OF_LIGHT_MPS
from moonless.errors import InputError
from moonless.units import NS_PER_S
from moonless.wire.cat240_records import (
    AZIMUTH_LSB_RAD,
    AZIMUTH_STEPS,
    BITS_OF_CODE,
    BLOCK_050,
    BLOCK_051,
    BLOCK_052,
    CATEGORY,
    FEMTO_S,
    NANO_S,
    TIME_LSB_PER_S,
    Cells,
)
from moonless.wire.times import DAY_S

HeaderKind = Literal["femto", "nano"]

_CODE_OF_BITS = {bits: code for code, bits in BITS_OF_CODE.items()}
_BLOCK_BIT = {BLOCK_050: 0b0100_0000, BLOCK_051: 0b0010_0000, BLOCK_052: 0b0001_0000}
# Note 2 of item 052: a repetition factor above 254 should not be used; 050 and 051 may use the whole octet.
_MAX_REP = {BLOCK_050: 255, BLOCK_051: 255, BLOCK_052: 254}
_MAX_U32 = 0xFFFF_FFFF
_MAX_BLOCK = 0xFFFF


def encode_video(
    cells: Cells,
    *,
    azimuth_start_rad: float,
    azimuth_end_rad: float,
    cell_m: float,
    start_cell: int = 0,
    sequence: int = 0,
    time_ns: int | None = None,
    bits: int | None = None,
    compress: bool = False,
    header: HeaderKind | None = None,
    block: int | None = None,
    sac: int = 0,
    sic: int = 1,
) -> bytes:
    """Return one data block holding one video message.

    Parameters
    ----------
    cells : shape (n_cell,), counts; each must fit in ``bits``
    azimuth_start_rad, azimuth_end_rad : antenna angle, clockwise; rounded to 1/65536 turn, any number of turns off
    cell_m : slant range from one cell to the next
    start_cell : range of the first cell's centre, in cells (the format has no finer step)
    time_ns : Unix time, of which the time of day is written; None leaves item 140 out
    bits : of a cell, 1 2 4 8 16 or 32; None: the width of the array's type
    header : "femto" or "nano"; None: femto where the cell fits it (to 643 m)
    block : 4, 64 or 256 octets a repetition; None: the one that makes the shortest record

    Raises
    ------
    InputError  If a value does not fit its field.
    """
    if bits is None:
        bits = cells.dtype.itemsize * 8
    if bits not in _CODE_OF_BITS:
        raise InputError(f"cells of {bits} bits: category 240 has {sorted(_CODE_OF_BITS)}")
    octets = _pack(cells, bits)
    if compress:
        octets = zlib.compress(octets, 6)
    size, rep = _block_for(len(octets), block)
    kind, duration = _duration(cell_m, header)
    if not 0 <= start_cell <= _MAX_U32:
        raise InputError(f"start_cell {start_cell} does not fit in 32 bits")
    first = 0b1110_0001 | (0b0000_1000 if kind == "nano" else 0b0000_0100) | 0b0000_0010
    second = 0b1000_0000 | _BLOCK_BIT[size] | (0b0000_1000 if time_ns is not None else 0)
    n_cell = len(cells)
    body = struct.pack(
        ">BBBBBIHHIIBBHBHB",
        first,
        second,
        sac,
        sic,
        2,
        sequence & _MAX_U32,
        round(azimuth_start_rad / AZIMUTH_LSB_RAD) % AZIMUTH_STEPS,
        round(azimuth_end_rad / AZIMUTH_LSB_RAD) % AZIMUTH_STEPS,
        start_cell,
        duration,
        0x80 if compress else 0,
        _CODE_OF_BITS[bits],
        len(octets),
        n_cell >> 16,
        n_cell & 0xFFFF,
        rep,
    )
    body += octets + bytes(rep * size - len(octets)) + _time(time_ns)
    return _data_block(body)


def encode_summary(text: str, *, time_ns: int | None = None, sac: int = 0, sic: int = 1) -> bytes:
    """Return one data block holding one summary message.  ``text``: ASCII, at most 255 characters."""
    try:
        octets = text.encode("ascii")
    except UnicodeEncodeError as problem:
        raise InputError(f"a video summary is ASCII: {text!r}") from problem
    if len(octets) > 255:
        raise InputError(f"a video summary holds at most 255 characters, not {len(octets)}")
    fspec = bytes((0b1101_0001, 0b0000_1000)) if time_ns is not None else bytes((0b1101_0000,))
    return _data_block(fspec + bytes((sac, sic, 1, len(octets))) + octets + _time(time_ns))


def _data_block(body: bytes) -> bytes:
    length = len(body) + 3
    if length > _MAX_BLOCK:
        raise InputError(f"a data block holds at most {_MAX_BLOCK} octets, this one has {length}")
    return struct.pack(">BH", CATEGORY, length) + body


def _time(time_ns: int | None) -> bytes:
    if time_ns is None:
        return b""
    # Rounded within the day: the last 1/256 s before midnight becomes 0, never 86400.
    ticks = round((time_ns % (DAY_S * NS_PER_S)) * TIME_LSB_PER_S / NS_PER_S) % (DAY_S * TIME_LSB_PER_S)
    return ticks.to_bytes(3, "big")


def _pack(cells: Cells, bits: int) -> bytes:
    if cells.ndim != 1:
        raise InputError(f"cells must have shape (n_cell,), not {cells.shape}")
    if cells.size and int(cells.max()) >> bits:
        raise InputError(f"a count of {int(cells.max())} does not fit in {bits} bits")
    if bits >= 8:
        return cells.astype(f">u{bits // 8}").tobytes()
    if bits == 1:
        return np.packbits(cells.astype(np.uint8)).tobytes()
    per_octet = 8 // bits
    padded = np.zeros(-(-cells.size // per_octet) * per_octet, dtype=np.uint8)
    padded[: cells.size] = cells
    shifts = np.arange(8 - bits, -1, -bits, dtype=np.uint8)
    octets: NDArray[np.uint8] = np.bitwise_or.reduce(padded.reshape(-1, per_octet) << shifts, axis=1)
    return octets.astype(np.uint8).tobytes()


def _block_for(n_octet: int, wanted: int | None) -> tuple[int, int]:
    """Return (octets a repetition, repetitions)."""
    sizes = (BLOCK_050, BLOCK_051, BLOCK_052) if wanted is None else (wanted,)
    fitting = []
    for size in sizes:
        if size not in _MAX_REP:
            raise InputError(f"video blocks have 4, 64 or 256 octets, not {size}")
        rep = -(-n_octet // size)
        if rep <= _MAX_REP[size]:
            fitting.append((rep * size, size, rep))
    if not fitting:
        raise InputError(f"{n_octet} octets of video do not fit in one message; split the spoke in range")
    _, size, rep = min(fitting)
    return size, rep


def _duration(cell_m: float, wanted: HeaderKind | None) -> tuple[HeaderKind, int]:
    two_way_s = 2.0 * cell_m / SPEED_OF_LIGHT_MPS
    femto = round(two_way_s / FEMTO_S) if np.isfinite(two_way_s) else 0
    kind: HeaderKind = wanted or ("femto" if femto <= _MAX_U32 else "nano")
    duration = femto if kind == "femto" else round(two_way_s / NANO_S)
    if not 1 <= duration <= _MAX_U32:
        raise InputError(f"a cell of {cell_m} m does not fit the {kind} header")
    return kind, duration
