"""The hidden cells of a polar raster as polygons, by the compiled twins of `polar_polygons`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.reading.publish.polar_polygon_kernels import intervals_kernel, join_kernel, rings_kernel

Floats = NDArray[np.float64]


def outlines(
    cause: NDArray[np.int8],
    cell_m: float,
    step_rad: float,
    east_m: float,
    north_m: float,
    tolerance_m: float,
    pad: float,
    least_cells: int,
) -> tuple[list[Floats], list[int]]:
    """Return the outlines (n, 2) of all strips in the plane, and the cause number of each.

    ``cause`` (n_bearing, n_cell): 0 is not hidden.  ``tolerance_m``, ``pad``: see `polar_polygons.ring_of`.
    ``least_cells``: a strip of one bearing with fewer is left out.
    """
    n_row, n_cell = cause.shape
    # Every cell its own interval, where causes change from each to the next: with less room hidden water is lost.
    most = n_row * n_cell
    row, near, far, what = (np.empty(most, dtype=np.int64) for _ in range(4))
    row_start = np.zeros(n_row + 1, dtype=np.int64)
    n = intervals_kernel(np.ascontiguousarray(cause), row, near, far, what, row_start)
    if n == 0:
        return [], []
    row, near, far, what = row[:n], near[:n], far[:n], what[:n]
    follows = np.empty(n, dtype=np.int64)
    join_kernel(near, far, what, row_start, follows)
    points = np.empty((16 * n + 32, 2))
    start, causes = np.empty(n + 1, dtype=np.int64), np.empty(n + 1, dtype=np.int64)
    rings = rings_kernel(
        row,
        near,
        far,
        what,
        follows,
        cell_m,
        step_rad,
        tolerance_m,
        pad,
        east_m,
        north_m,
        least_cells,
        points,
        start,
        causes,
    )
    return [points[start[k] : start[k + 1]] for k in range(rings)], causes[:rings].tolist()
