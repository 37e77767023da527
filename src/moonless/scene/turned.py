"""One drawn scan made into the spokes of a boat that moves and turns while the antenna goes round.

The radar model draws a whole turn from one place.  Each spoke of the real antenna has its own place and heading; the
drawn turn is looked up along that spoke's own line.  Exact for heading; for position exact to a cell and a row.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Right by the boat the picture is the antenna's own (ringing, clutter): it moves with her and is left where it is.
_OWN_NEAR_M = (30.0, 110.0)


def spokes_from_turn(
    drawn: NDArray[np.uint8],
    middle_m: tuple[float, float],
    middle_heading_rad: float,
    east_m: Floats,
    north_m: Floats,
    heading_rad: Floats,
    first_cell_m: float,
    cell_m: float,
) -> NDArray[np.uint8]:
    """Return (n_spoke, n_cell) counts as each spoke saw them.

    Parameters
    ----------
    drawn : (n_spoke, n_cell), row i at ``i 2 pi / n_spoke`` from the bow, seen from ``middle_m``
    east_m, north_m, heading_rad : (n_spoke,), the antenna at each spoke's own time
    """
    n_spoke, n_cell = drawn.shape
    step = 2.0 * math.pi / n_spoke
    bearing = heading_rad + np.arange(n_spoke) * step
    shift_e, shift_n = east_m - middle_m[0], north_m - middle_m[1]
    if np.max(np.hypot(shift_e, shift_n)) < 0.3 * cell_m:
        rows = np.rint((bearing - middle_heading_rad) / step).astype(np.int64) % n_spoke
        turned: NDArray[np.uint8] = drawn[rows]
        return turned
    sine, cosine = np.sin(bearing), np.cos(bearing)
    along = (shift_e * sine + shift_n * cosine)[:, np.newaxis]
    across = (shift_e * cosine - shift_n * sine)[:, np.newaxis]
    ranges = (first_cell_m + np.arange(n_cell) * cell_m)[np.newaxis, :]
    share = np.clip((ranges - _OWN_NEAR_M[0]) / (_OWN_NEAR_M[1] - _OWN_NEAR_M[0]), 0.0, 1.0)
    away = np.maximum(ranges + share * along, cell_m)
    turn = np.arctan(share * across / away)
    cells = np.clip(np.rint((away - first_cell_m) / cell_m).astype(np.int64), 0, n_cell - 1)
    rows = np.rint((bearing[:, np.newaxis] + turn - middle_heading_rad) / step).astype(np.int64) % n_spoke
    looked_up: NDArray[np.uint8] = drawn[rows, cells]
    return looked_up
