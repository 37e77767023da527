"""What lies between the antenna and a place: the edge that hides it, found from the swept shadow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M


@dataclass(frozen=True, slots=True)
class Edge:
    """The edge that hides a place.  ``hides_below_m``: height at the place of the ray that just clears it."""

    range_m: float
    height_m: float
    hides_below_m: float


def edge_before(
    shadow_row: NDArray[np.float32], first_cell_m: float, cell_m: float, range_m: float, antenna_m: float
) -> Edge | None:
    """Return the hiding edge on a spoke before a range, None if the line of sight to the water is free.

    ``shadow_row`` (n_cell,) is one spoke of ``shadow_height_m``.
    """
    # The place's own rise hides what lies behind it, not itself: half a cell short of it is asked.
    j = round((range_m - first_cell_m) / cell_m)
    j = min(max(j, 0), len(shadow_row) - 1)
    hides = float(shadow_row[j])
    if hides <= 0.05 or not math.isfinite(hides):
        return None
    ranges = np.maximum(first_cell_m + np.arange(j + 1) * cell_m, 0.25 * cell_m)
    rise = (shadow_row[: j + 1].astype(np.float64) - antenna_m) / ranges - ranges / (2.0 * RE_M)
    # Before the edge the steepest ray so far is lower; the edge is the cell after the last such.
    lower = np.flatnonzero((rise < rise[j] - 1e-6) | (shadow_row[: j + 1] <= 0.0))
    at = int(lower[-1]) if lower.size else 0
    r = float(ranges[at])
    height = antenna_m + r * (float(rise[j]) + r / (2.0 * RE_M))
    return Edge(range_m=r, height_m=height, hides_below_m=hides)
