"""Rows that look into a shaded sector: where the set sends nothing, or where own mast and house stand before it.

Such a sector turns with the boat and ends within a beam.  On its inner side the picture is the receiver's noise from
near to far, on its outer side the sea begins at once; bins of bearing that hold both would give the noise the sea's
threshold and the sea the noise's.  It is known by that: rows on end as quiet as any, ending in a step.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.echo.grid import Grid

Bools = NDArray[np.bool_]

LOOKED_AT = 48  # columns of a row, spread over the range
HIGH = (0.5, 0.92)  # of a row's strips, by rank: their mean is over the noise where an eighth of the row is sea
LEAST_ROWS, LEAST_DEG = 5, 3.0  # a narrower gap is a shadow of a mark; own figures
GAP_ROWS = 3  # an echo within the sector does not part it
EDGE_ROWS = 4  # the step is looked for so near
QUIET_DB = 0.5  # over the quietest rows, at least
STEP_DB = 1.0  # at least; own figures
BETWEEN = 0.1  # of the quiet rows
SURE = 5.0  # deviations of a row's own figure


def shaded_rows(strip_db: NDArray[np.float32], grid: Grid) -> Bools:
    """Return (n_row,) which rows look into a shaded sector.  ``strip_db`` (n_row, n_col), NaN: not received."""
    out = np.zeros(grid.n_row, dtype=np.bool_)
    known = np.isfinite(strip_db[:, 0])
    if np.count_nonzero(known) < 4 * LEAST_ROWS:
        return out
    some = strip_db[:, :: max(1, grid.n_col // LOOKED_AT)]
    # A mean, and not one rank: of few counts a rank is one count or the next.
    lo, hi = (int(share * some.shape[1]) for share in HIGH)
    high = np.where(known, np.sort(some, axis=1)[:, lo : max(hi, lo + 1)].mean(axis=1), np.nan)
    high = np.interp(np.arange(grid.n_row), np.flatnonzero(known), high[known])
    rough = float(np.median(np.abs(np.diff(high)))) / 0.95  # 0.6745 sqrt 2: from the median step to one deviation
    high = ndimage.median_filter(high, 3, mode="wrap")
    least = float(np.quantile(high, 0.02))
    # Sea strays more from row to row than noise does: the quiet rows' own figure is the lesser.
    near = high[high < least + QUIET_DB]
    sigma = min(rough, float(np.std(near)) + 0.05)
    quiet_db = least + max(QUIET_DB, SURE * sigma)
    quiet = high < quiet_db
    # Between the noise and the sea lie only the rows of the edges; a sea that varies has rows of every strength.
    between = np.count_nonzero((high >= quiet_db) & (high < quiet_db + STEP_DB))
    if np.all(quiet) or between > BETWEEN * np.count_nonzero(quiet) + 2 * EDGE_ROWS:
        return out
    # Taken round twice, so that a sector across the bow is one.
    quiet = np.concatenate((quiet, quiet))
    quiet = ndimage.binary_closing(quiet, np.ones(2 * GAP_ROWS + 1))
    label, n = ndimage.label(quiet)
    wide = max(LEAST_ROWS, math.ceil(LEAST_DEG / 360.0 * grid.n_row))
    for first, last in ((s[0].start, s[0].stop - 1) for s in ndimage.find_objects(label, n)):
        if not wide <= last - first + 1 < grid.n_row or first == 0 or last == quiet.size - 1:
            continue
        inside = float(np.median(high[np.arange(first, last + 1) % grid.n_row]))
        beyond = [high[(edge + way * np.arange(1, EDGE_ROWS + 1)) % grid.n_row].max() for edge, way in
                  ((first, -1), (last, 1))]  # fmt: skip
        if min(beyond) - inside > max(STEP_DB, SURE * sigma):
            out[np.arange(first, last + 1) % grid.n_row] = True
    return out
