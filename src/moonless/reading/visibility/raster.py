"""The water around the boat as a raster on the polar grid: what is land, what is hidden, and by what.

Hidden is decided for a boat of the skipper's smallest height.  Where several causes hide the same water the first of
the list holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.constants import EFFECTIVE_EARTH_RADIUS_M, TAU
from moonless.frames import LocalFrame
from moonless.reading.line import HiddenBy
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.scan.types import Scan

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Causes = NDArray[np.int8]

CAUSES: tuple[HiddenBy, ...] = ("land", "vessel", "blind sector", "near range", "clutter", "horizon")
CAUSE_OF = {cause: number + 1 for number, cause in enumerate(CAUSES)}
# A strip of hidden water narrower than this holds no boat.
LEAST_DEPTH_M = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class VisibilityRaster:
    """What is land, what is hidden and by what, around one place; all that ask for hidden water look it up here.

    ``cause`` (N_BEARINGS, N_CELLS) int8: 0 seen, else the number of `CAUSES`; ``land``: bool, not water.
    """

    frame: LocalFrame
    east_m: float  # the place it is laid around
    north_m: float
    cell_m: float
    land: Bools
    cause: Causes

    @classmethod
    def blank(cls, own: OwnPlane, reach_m: float, land: Bools) -> VisibilityRaster:
        """Return a raster in which nothing is hidden."""
        seen = np.zeros((N_BEARINGS, N_CELLS), dtype=np.int8)
        return cls(own.frame, own.east_m, own.north_m, reach_m / N_CELLS, land, seen)

    @property
    def reach_m(self) -> float:
        """Range of its edge."""
        return self.cell_m * N_CELLS

    @property
    def range_m(self) -> Floats:
        """(N_CELLS,) middles of the cells."""
        return np.asarray((np.arange(N_CELLS, dtype=np.float64) + 0.5) * self.cell_m)

    def hide(self, mask: Bools, by: HiddenBy) -> None:
        """Mark water as hidden by a cause, where it is not yet; while it is being filled."""
        self.cause[mask & ~self.land & (self.cause == 0)] = CAUSE_OF[by]

    def in_frame(self, frame: LocalFrame) -> VisibilityRaster:
        """Return the same raster in another plane.  Its norths part by a row at the most: planes touch 20 km apart."""
        if frame == self.frame:
            return self
        east, north = frame.to_plane(*self.frame.to_geographic(self.east_m, self.north_m))
        return replace(self, frame=frame, east_m=float(east), north_m=float(north))

    def cause_at(self, east_m: Floats, north_m: Floats) -> Causes:
        """Return what hides each place of its frame, 0 for none; places past its edge are not known to be hidden."""
        row, cell, inside = self._cells(east_m, north_m)
        return np.where(inside, self.cause[row, cell], np.int8(0))

    def causes_beside(self, east_m: Floats, north_m: Floats) -> tuple[Causes, Causes]:
        """Return what hides each place by the bearing before it and by the one after it.

        The edge of a shadow may lie anywhere between two bearings.
        """
        row, cell, inside = self._cells(east_m, north_m, np.floor)
        after = (row + 1) % N_BEARINGS
        return (
            np.where(inside, self.cause[row, cell], np.int8(0)),
            np.where(inside, self.cause[after, cell], np.int8(0)),
        )

    def is_land_at(self, east_m: Floats, north_m: Floats) -> Bools:
        """Return whether each place of its frame is land; False past its edge."""
        row, cell, inside = self._cells(east_m, north_m)
        return np.asarray(inside & self.land[row, cell])

    def runs(self, by: HiddenBy) -> tuple[NDArray[np.int64], Floats, Floats]:
        """Return the stretches of range that a cause hides: the row of each, where it begins and where it ends."""
        hidden = np.zeros((N_BEARINGS, N_CELLS + 2), dtype=np.int8)
        hidden[:, 1:-1] = self.cause == CAUSE_OF[by]
        change = np.diff(hidden, axis=1)
        row, begin = np.nonzero(change == 1)
        _, end = np.nonzero(change == -1)
        return row.astype(np.int64), begin.astype(np.float64) * self.cell_m, end.astype(np.float64) * self.cell_m

    def _cells(
        self, east_m: Floats, north_m: Floats, to_row: np.ufunc = np.rint
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Bools]:
        east, north = np.asarray(east_m) - self.east_m, np.asarray(north_m) - self.north_m
        row = to_row(np.arctan2(east, north) * (N_BEARINGS / TAU)).astype(np.int64) % N_BEARINGS
        cell = (np.hypot(east, north) / self.cell_m).astype(np.int64)
        inside = cell < N_CELLS
        return row, np.where(inside, cell, 0), inside


def land_mask(ranges: Floats, counts: NDArray[np.int64], reach_m: float, starts_on_land: bool) -> Bools:
    """Return (N_BEARINGS, N_CELLS) what is land, from the crossings of each bearing with the land's outline."""
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
    return np.asarray(inside)


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


def covered_mask(scan: Scan, heading_rad: float, range_m: Floats) -> Bools:
    """Return (N_BEARINGS, N_CELLS) what the radar left out of its spokes, as under writing on a screen."""
    assert scan.covered is not None
    bearing = np.arange(N_BEARINGS) * TAU / N_BEARINGS - heading_rad - scan.azimuth_offset_rad
    row = np.rint(bearing * scan.n_spoke / TAU).astype(np.intp) % scan.n_spoke
    cell = np.rint((range_m - scan.first_cell_m) / scan.cell_m).astype(np.intp)
    inside = (cell >= 0) & (cell < scan.n_cell)
    return np.asarray(scan.covered[row[:, None], np.clip(cell, 0, scan.n_cell - 1)[None, :]] & inside[None, :])


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
