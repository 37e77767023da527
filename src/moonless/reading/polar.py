"""The polar grid round the boat that the reading's rasters share.

Row i looks at true bearing ``i * 2 pi / N_BEARINGS``; cell j holds ranges from ``j * cell_m`` to ``(j + 1) * cell_m``.
The bearings are those of the lines of sight.
"""

from __future__ import annotations

from moonless.sight.lines import N_BEARINGS, bearing_index

N_CELLS = 400

__all__ = ["N_BEARINGS", "N_CELLS", "bearing_index"]
