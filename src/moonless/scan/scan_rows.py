"""A turn's spokes laid into the regular rows of a scan: which spoke a row shows, when, from where."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.frames import destination
from moonless.scan.pose import PosesAt
from moonless.scan.types import Spoke

# A row counts as received when a spoke's centre is this close to its own, in rows.  A lost spoke leaves its
# neighbours a whole row away; an antenna that turns unevenly moves them by up to about a quarter.
NEAR_ROWS = 0.75


def grid_phase(azimuth: NDArray[np.float64], n: int) -> float:
    """Return the offset of the spokes' grid from ``i * 2 pi / n``, within half a row; 0 where there is no grid."""
    turned = np.exp(1j * azimuth * n)
    mean = complex(np.mean(turned))
    # Below this the spokes fall anywhere between the rows and an offset would be noise.
    return math.atan2(mean.imag, mean.real) / n if abs(mean) > 0.3 else 0.0


def nearest_spokes(azimuth: NDArray[np.float64], time_ns: NDArray[np.int64], n: int, phase: float) -> NDArray[np.intp]:
    """Return, (n,), which spoke each row shows; -1 where none is near.  Of two equally near, the newer."""
    place = (azimuth - phase) * (n / TAU)  # in rows
    nearest = np.rint(place).astype(np.int64)
    row = np.concatenate([nearest, nearest - 1, nearest + 1])
    spoke = np.tile(np.arange(azimuth.size), 3)
    away = np.abs(row - np.tile(place, 3))
    near = away <= NEAR_ROWS
    row, spoke, away = np.mod(row[near], n), spoke[near], away[near]
    # Written in this order, the nearest comes last, and of equally near ones (to a hundredth of a row) the newest.
    order = np.lexsort((time_ns[spoke], -np.round(away, 2)))
    source = np.full(n, -1, dtype=np.intp)
    source[row[order]] = spoke[order]
    return source


def row_times(
    u: NDArray[np.float64],
    azimuth: NDArray[np.float64],
    time_ns: NDArray[np.int64],
    n: int,
    phase: float,
    u_start: float,
    sense: int,
) -> NDArray[np.int64]:
    """Return when the antenna looked along each row: of its spokes, and between them where some were lost.

    Counted in the sense of turning (``sense``: +1 clockwise, -1 the other way) from where the turn began (``u_start``),
    so that the seam falls there; a hair of slack keeps the first spoke on its own side of it.  Rows past the ends of a
    sector take the time of the end.
    """
    slack = 0.5 * TAU / n
    first = 0 if sense > 0 else -1
    began = azimuth[first] - (u[first] - u_start)
    along = np.mod((azimuth - began) * sense + slack, TAU)
    order = np.argsort(along, kind="stable")
    base = int(time_ns[0])
    row = np.mod((np.arange(n) * (TAU / n) + phase - began) * sense + slack, TAU)
    at = np.interp(row, along[order], (time_ns[order] - base).astype(np.float64))
    times: NDArray[np.int64] = base + np.round(at).astype(np.int64)
    return times


def lay_cells(
    stretches: Sequence[Sequence[Spoke]], source: NDArray[np.intp]
) -> tuple[NDArray[np.uint8] | NDArray[np.uint16], NDArray[np.bool_] | None]:
    """Return each row's cells, and which of them lie between the stretches of a spoke: left out; None: none does.

    A stretch lies where its own range says; shorter spokes end in zeros.
    """
    begins = [_begins(parts) for parts in stretches]
    length = max(at[-1] + parts[-1].echo.shape[0] for at, parts in zip(begins, stretches, strict=True))
    dtype = np.uint8 if stretches[0][0].full_scale <= 0xFF else np.uint16
    echo = np.zeros((source.size, length), dtype=dtype)
    covered: NDArray[np.bool_] | None = None
    for row, chosen in enumerate(source.tolist()):
        if chosen < 0:
            continue
        end = 0
        for at, part in zip(begins[chosen], stretches[chosen], strict=True):
            echo[row, at : at + part.echo.shape[0]] = part.echo
            if at > end:
                covered = np.zeros(echo.shape, dtype=np.bool_) if covered is None else covered
                covered[row, end:at] = True
            end = at + part.echo.shape[0]
    return echo, covered


def _begins(parts: Sequence[Spoke]) -> list[int]:
    """Return the cell at which each stretch of a spoke begins; side by side to half a cell is side by side."""
    first = parts[0]
    out, end = [], 0
    for part in parts:
        out.append(max(end, round((part.first_cell_m - first.first_cell_m) / first.cell_m)))
        end = out[-1] + part.echo.shape[0]
    return out


def antenna_place(
    at: PosesAt, forward_m: float, starboard_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (lat, lon) of the radar's antenna; where the heading is unknown, the position antenna's."""
    if (forward_m == 0.0 and starboard_m == 0.0) or not np.isfinite(at.lat_deg).any():
        return at.lat_deg, at.lon_deg
    away = math.hypot(forward_m, starboard_m)
    bearing = np.degrees(at.heading_true_rad + math.atan2(starboard_m, forward_m))
    known = np.isfinite(bearing) & np.isfinite(at.lat_deg)
    lat, lon = at.lat_deg.copy(), at.lon_deg.copy()
    # Without a heading the echoes have no place anyhow.
    lat[known], lon[known] = destination(lat[known], lon[known], bearing[known], np.full(int(known.sum()), away))
    return lat, lon
