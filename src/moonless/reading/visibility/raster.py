"""The water around the boat as a polar raster on true bearings: what is land, what is hidden, and by what.

Row i looks at true bearing ``i * 2 pi / N_BEARINGS``; cell j holds ranges from ``j * cell_m`` to ``(j + 1) * cell_m``.
Hidden is decided for a boat of the skipper's smallest height.  Where several causes hide the same water the first of
the list holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.constants import EFFECTIVE_EARTH_RADIUS_M, TAU
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.types import HiddenBy
from moonless.reading.visibility.polar_polygons import Interval

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CAUSES: tuple[HiddenBy, ...] = ("land", "vessel", "blind sector", "near range", "clutter", "horizon")
CAUSE_OF = {cause: number + 1 for number, cause in enumerate(CAUSES)}
# A strip of hidden water narrower than this holds no boat.
LEAST_DEPTH_M = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class Waters:
    """``cause`` (N_BEARINGS, N_CELLS) int8: 0 seen, else the number of `CAUSES`; ``land``: bool, not water."""

    cell_m: float
    land: Bools
    cause: NDArray[np.int8]

    @property
    def range_m(self) -> Floats:
        """(N_CELLS,) middles of the cells."""
        return np.asarray((np.arange(N_CELLS, dtype=np.float64) + 0.5) * self.cell_m)

    def hide(self, mask: Bools, by: HiddenBy) -> None:
        """Mark water as hidden by a cause, where it is not yet."""
        self.cause[mask & ~self.land & (self.cause == 0)] = CAUSE_OF[by]

    def intervals(self) -> list[list[Interval]]:
        """Return the hidden stretches on each bearing, nearest first."""
        out: list[list[Interval]] = [[] for _ in range(N_BEARINGS)]
        padded = np.zeros((N_BEARINGS, N_CELLS + 2), dtype=np.int8)
        padded[:, 1:-1] = self.cause
        change = np.diff(padded, axis=1) != 0
        rows, columns = np.nonzero(change)
        cell = self.cell_m
        for k in range(len(rows) - 1):
            i, j = int(rows[k]), int(columns[k])
            number = int(padded[i, j + 1])
            if number and rows[k + 1] == i:
                out[i].append((j * cell, int(columns[k + 1]) * cell, CAUSES[number - 1]))
        return out


def blank(ranges: Floats, counts: NDArray[np.int64], reach_m: float, starts_on_land: bool) -> Waters:
    """Return the raster with land from the crossings of each bearing with the land's outline."""
    cell = reach_m / N_CELLS
    hits = np.zeros((N_BEARINGS, N_CELLS + 1), dtype=np.int64)
    used = np.isfinite(ranges)
    rows = np.nonzero(used)[0]
    columns = np.minimum(np.round(ranges[used] / cell).astype(np.int64), N_CELLS)
    np.add.at(hits, (rows, columns), 1)
    inside = np.cumsum(hits, axis=1)[:, :N_CELLS] % 2 == 1
    if starts_on_land:
        # The chart has the boat inside land: up to the first way out it is taken for water.
        first_out = np.where(counts > 0, ranges[:, 0], np.inf)
        inside = ~inside & ((np.arange(N_CELLS) + 0.5) * cell > first_out[:, None])
    return Waters(cell, inside, np.zeros((N_BEARINGS, N_CELLS), dtype=np.int8))


def behind_first_land(land: Bools) -> Bools:
    """Return what lies behind the first land of each bearing: the rule without heights, for want of a model."""
    return np.asarray(np.logical_or.accumulate(land, axis=1))


def horizon_mask(radar: RadarSet, range_m: Floats, height_m: float) -> Bools:
    """Return (N_BEARINGS, N_CELLS) beyond the radar horizon of a thing this high; 4/3 earth."""
    reach = math.sqrt(2 * EFFECTIVE_EARTH_RADIUS_M * radar.height_m) + math.sqrt(
        2 * EFFECTIVE_EARTH_RADIUS_M * height_m
    )
    return np.broadcast_to(range_m > reach, (N_BEARINGS, len(range_m)))


def near_mask(radar: RadarSet, range_m: Floats, pulse_m: float) -> Bools:
    """Return what lies inside the radar's least range."""
    return np.broadcast_to(range_m < max(radar.min_range_m, pulse_m), (N_BEARINGS, len(range_m)))


def blind_mask(radar: RadarSet, heading_rad: float) -> Bools:
    """Return (N_BEARINGS, 1) the radar's own blind sectors, turned with the boat."""
    relative = np.mod(np.arange(N_BEARINGS) * TAU / N_BEARINGS - heading_rad, TAU)
    out = np.zeros(N_BEARINGS, dtype=np.bool_)
    for begin, end in radar.blind_sectors_rad:
        out |= np.mod(relative - begin, TAU) <= np.mod(end - begin, TAU)
    return out[:, None]


def sector_mask(
    range_m: Floats, bearing_rad: float, half_width_rad: float, from_m: float, to_m: float
) -> tuple[NDArray[np.int64], Bools]:
    """Return (rows, mask over range) of a sector's water between two ranges.

    The rows whose bearing lies in the sector, the nearest one at least: what is drawn is half a row wider at both ends.
    """
    step = TAU / N_BEARINGS
    first, last = (bearing_rad - half_width_rad) / step, (bearing_rad + half_width_rad) / step
    rows = np.arange(math.ceil(first), math.floor(last) + 1)
    rows = (rows if rows.size else np.array([round(bearing_rad / step)])) % N_BEARINGS
    return rows, (range_m > from_m) & (range_m < to_m)
