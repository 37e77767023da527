"""Lines of sight over charted edges, on evenly spaced true bearings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.reading.polar import N_BEARINGS
from moonless.reading.visibility.sweep_kernels import sweep_kernel

Floats = NDArray[np.float64]
MAX_CROSSINGS = 96


def crossings(edges: Floats, east_m: float, north_m: float, max_range_m: float) -> tuple[Floats, NDArray[np.int64]]:
    """Return for each of `N_BEARINGS` true bearings the ranges at which it crosses an edge, nearest first.

    Ranges (n_bearing, cap), inf where unused, and how many there are (n_bearing,).
    """
    ranges = np.full((N_BEARINGS, MAX_CROSSINGS), np.inf)
    counts = np.zeros(N_BEARINGS, dtype=np.int64)
    if len(edges):
        sweep_kernel(np.ascontiguousarray(edges), east_m, north_m, N_BEARINGS, max_range_m, ranges, counts)
    return ranges, counts


def first_land_m(edges: Floats, east_m: float, north_m: float, max_range_m: float) -> Floats:
    """Return the range of the first land on each bearing, inf where there is none."""
    ranges, _ = crossings(edges, east_m, north_m, max_range_m)
    return ranges[:, 0]
