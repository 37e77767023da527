"""What lies between the antenna and a place: the edge that hides it, found from the swept shadow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M

# Lower than this above the water, what the ray touches is the sea itself.
LEAST_EDGE_M = 0.05


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
    if hides <= LEAST_EDGE_M or not math.isfinite(hides):
        return None
    ranges = np.maximum(first_cell_m + np.arange(j + 1) * cell_m, 0.25 * cell_m)
    rise = (shadow_row[: j + 1].astype(np.float64) - antenna_m) / ranges - ranges / (2.0 * RE_M)
    # Before the edge the steepest ray so far is lower; the edge is the cell after the last such.
    lower = np.flatnonzero((rise < rise[j] - 1e-6) | (shadow_row[: j + 1] <= 0.0))
    at = int(lower[-1]) if lower.size else 0
    r = float(ranges[at])
    height = antenna_m + r * (float(rise[j]) + r / (2.0 * RE_M))
    return Edge(range_m=r, height_m=height, hides_below_m=hides)


def shadow_if_higher(
    shadow_height_m: NDArray[np.float64], cell_m: float, antenna_m: float, higher_m: float
) -> NDArray[np.float64]:
    """Return the shadow height, (n_bearing, n_cell), as it were if whatever casts it stood ``higher_m`` higher.

    The ray over an edge of height h at range a stands at  antenna + (h - antenna) r / a + r (r - a) / 2 R  further out,
    so that the doubt in h grows there by r / a.  Cell j lies at ``(j + 0.5) * cell_m``.  The sea's own horizon is no
    edge, and what lies wholly in another's shadow is left as it is.
    """
    n_cell = shadow_height_m.shape[1]
    r = (np.arange(n_cell) + 0.5) * cell_m
    before = np.where(shadow_height_m > 0.0, (shadow_height_m - antenna_m) / r - r / (2.0 * RE_M), -np.inf)
    after = before[:, 1:]
    top_m = antenna_m + r[:-1] * (after + r[:-1] / (2.0 * RE_M))
    is_edge = (after > before[:, :-1] + 1e-7) & (top_m > LEAST_EDGE_M)
    rise = np.where(is_edge, after + higher_m / r[:-1], after)
    steepest = np.maximum.accumulate(rise, axis=1)
    out = shadow_height_m.copy()
    out[:, 1:] = np.maximum(out[:, 1:], antenna_m + r[1:] * (steepest + r[1:] / (2.0 * RE_M)))
    return out
