"""Lone cells of a picture that the set has cut: what noise lets through, told from echoes by its company.

Where the set sends next to nothing of noise, every cell is a box of its own and any that stands over zero would be an
echo.  With the gain high some cells of noise get through all the same, one here and one there; an echo fills a good
part of a beam and a pulse.  How many cells must keep company is told by how often quiet water lets one through.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, stats

Floats = NDArray[np.float64]
Levels = list[tuple[float, float]]

# Cells a turn that may pass by chance, over all the picture.
CHANCE_A_TURN = 2.0
# Of levels that noise reaches, those are asked whose shares fall to this from one to the next.
SHARE_STEP = 0.3


def noisy_levels(counts: Floats, n_cells: int) -> tuple[list[tuple[int, float]], int]:
    """Return ((count, share of quiet cells that reach it), lowest first; the count from which noise is not expected).

    ``counts`` (full_scale + 1,): how often quiet water showed each count; ``n_cells`` of the picture.
    """
    total = float(counts.sum())
    out: list[tuple[int, float]] = []
    if total <= 0.0:
        return out, 1
    above = np.cumsum(counts[::-1])[::-1] / total
    for level in range(1, counts.size):
        share = float(above[level])
        if share * n_cells < CHANCE_A_TURN:
            return out, level
        if not out or share < SHARE_STEP * out[-1][1]:
            out.append((level, share))
    return out, counts.size


def company_asked(share: float, n_cells: int, window: int) -> int:
    """Return how many cells of a ``window`` must reach a level that quiet water reaches with ``share``, itself counted.

    As few as make chance rarer than `CHANCE_A_TURN`, and at least one; never more than half of the window.
    Source: the binomial law.
    """
    others = np.arange(window)
    chance = share * n_cells * stats.binom.sf(others - 1, max(window - 1, 1), share)
    rare = np.flatnonzero(chance <= CHANCE_A_TURN)
    most = max(window // 2, 1)
    return min(1 + int(rare[0]), most) if rare.size else most


def isolated_cells(
    box_db: NDArray[np.float32], levels: Levels, sure_db: float, window: tuple[int, int]
) -> NDArray[np.bool_]:
    """Return (n_row, n_col) which cells are no more than noise lets through; rows wrap.

    ``levels``: (dB, share in quiet water), lowest first; from ``sure_db`` on a cell is no noise whatever its company.
    ``window``: rows and columns that an echo fills.
    """
    lone = np.zeros(box_db.shape, dtype=np.bool_)
    size = (max(window[0], 1), max(window[1], 1))
    n = size[0] * size[1]
    tops = [*[level for level, _ in levels[1:]], sure_db][: len(levels)]
    for (level_db, share), top_db in zip(levels, tops, strict=True):
        reaches = box_db >= np.float32(level_db - 0.01)  # NaN never
        near = ndimage.uniform_filter(reaches.astype(np.float32), size, mode=("wrap", "constant")) * n
        # An echo's edge has its company on one side: the best of the windows that hold the cell counts.
        best = ndimage.maximum_filter(near, size, mode=("wrap", "constant"))
        few = best < company_asked(share, box_db.size, n) - 0.5
        lone |= reaches & (box_db < np.float32(top_db - 0.01)) & few
    return lone
