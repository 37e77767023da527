"""The polar grid round the boat that the reading's rasters share.

Row i looks at true bearing ``i * 2 pi / N_BEARINGS``; cell j holds ranges from ``j * cell_m`` to ``(j + 1) * cell_m``.
"""

from __future__ import annotations

from moonless.constants import TAU

N_BEARINGS = 720
N_CELLS = 400


def bearing_index(bearing_rad: float) -> int:
    """Return the row of a true bearing."""
    return round(bearing_rad / TAU * N_BEARINGS) % N_BEARINGS
