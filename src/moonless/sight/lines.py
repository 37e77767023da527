"""Lines of sight over charted edges, on evenly spaced true bearings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.sight.crossing_kernels import crossings_kernel

Floats = NDArray[np.float64]
N_BEARINGS = 720
MAX_CROSSINGS = 96


def crossings(edges: Floats, east_m: float, north_m: float, max_range_m: float) -> tuple[Floats, NDArray[np.int64]]:
    """Return for each of `N_BEARINGS` true bearings the ranges at which it crosses an edge, nearest first.

    ``edges`` (m, 4): east and north of both ends.  Ranges (n_bearing, cap), inf where unused, and how many there are
    (n_bearing,).
    """
    ranges = np.full((N_BEARINGS, MAX_CROSSINGS), np.inf)
    counts = np.zeros(N_BEARINGS, dtype=np.int64)
    if not len(edges):
        return ranges, counts
    start, found = _cast(edges, east_m, north_m)
    line = np.repeat(np.arange(N_BEARINGS), np.diff(start))
    kept = (found > 0.0) & (found < max_range_m)
    line, found = line[kept], found[kept]
    counts += np.bincount(line, minlength=N_BEARINGS)
    place = np.arange(len(line)) - (np.cumsum(counts) - counts)[line]
    # Beyond the cap the nearest are the ones that count.
    room = place < MAX_CROSSINGS
    ranges[line[room], place[room]] = found[room]
    return ranges, np.minimum(counts, MAX_CROSSINGS)


def first_land_m(edges: Floats, east_m: float, north_m: float, max_range_m: float) -> Floats:
    """Return the range of the first land on each bearing, inf where there is none."""
    first = np.full(N_BEARINGS, np.inf)
    if not len(edges):
        return first
    start, found = _cast(edges, east_m, north_m)
    if len(found) and found.min() <= 0.0:  # the eye stands on an edge
        return crossings(edges, east_m, north_m, max_range_m)[0][:, 0]
    met = start[:-1] < start[1:]
    first[met] = found[start[:-1][met]]
    first[first >= max_range_m] = np.inf
    return first


def _cast(edges: Floats, east_m: float, north_m: float) -> tuple[NDArray[np.int64], Floats]:
    # A true bearing turns from north to east: u is north, v east.
    east1, north1 = edges[:, 0] - east_m, edges[:, 1] - north_m
    east2, north2 = edges[:, 2] - east_m, edges[:, 3] - north_m
    start, found, _ = crossings_kernel(north1, east1, north2, east2, N_BEARINGS)
    return start, found


def bearing_index(bearing_rad: float) -> int:
    """Return the row of a true bearing."""
    return round(bearing_rad / TAU * N_BEARINGS) % N_BEARINGS
