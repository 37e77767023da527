"""Which bodies are land: what stands over the ground turn after turn, and the picture of the last turns' mean."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.constants import TAU
from moonless.echo.background.last_turn import SLOW_LOOKS, Ground
from moonless.echo.examine import Examined
from moonless.echo.grid import Grid
from moonless.echo.hills import cells_of, segment
from moonless.echo.shores import Bodies, group_bodies, is_shore, trace_shores
from moonless.echo.types import ShoreEcho
from moonless.scan.types import Scan

SLOW_CLIPPED_UNDER_DB = 3.0  # a mean over turns whose edges come and go lies lower
AGAIN = 0.7  # share of a large body's boxes that were echo last turn, over the ground, when it is land
AGAIN_OVER_CHANCE = 0.6  # and of what chance leaves
ASIDE_RAD = 0.3
RING_SHARE = 0.5
# A window in which one echo of a point fills a quarter at most, and land that hangs together half.
FILL_BEAMS, FILL_PULSES, FILLED = 3.0, 2.0, 0.5
CLIPPED_SHARE = 0.2  # of what stands out: more of it at full scale, and even points fill the small window


def find_shores(
    scan: Scan, seen: Examined, ground: Ground
) -> tuple[NDArray[np.bool_], tuple[ShoreEcho, ...], NDArray[np.bool_]]:
    """Return (boxes of shores, their outlines, boxes of the slow picture over the threshold).

    Land glitters: in one turn it falls into a hundred hills.  The mean of the last turns over the ground is whole,
    and in it sea and rain, which boil, lie at their own mean, under their threshold.
    """
    grid, slow_db, col_m = seen.grid, ground.slow(seen.fine_db), seen.grid.col_cells * scan.cell_m
    mask = slow_db >= np.minimum(seen.threshold_db, seen.solid_db)
    clipped_db = seen.clipped_db - SLOW_CLIPPED_UNDER_DB
    cells, _, body, core, whole = segment(
        slow_db, seen.threshold_db, mask, grid, col_m, SLOW_LOOKS * seen.curve.looks, clipped_db
    )
    bodies = group_bodies(cells, body)
    large, _ = is_shore(group_bodies(core, body), grid, scan, slow_db, seen.threshold_db, clipped_db)
    which = large & stands_over_ground(bodies, large, grid, ground, slow=True)
    is_land = cells_of(bodies, which, cells, body)
    is_clipped = np.count_nonzero(slow_db >= clipped_db) > CLIPPED_SHARE * np.count_nonzero(mask)
    if np.any(is_land) and not is_clipped:
        # Houses and banks behind the water's edge hang together with it and fill the picture; what only touches it
        # by the skirts of the beam, a mark or a boat, does not.  Cut at the top, even a point fills the window.
        size = (round(FILL_BEAMS * grid.beam_spokes * grid.n_row / grid.n_spoke), round(FILL_PULSES * grid.guard))
        fill = ndimage.uniform_filter(mask.astype(np.float32), size, mode=("wrap", "nearest")).ravel()
        is_land |= np.isin(whole[cells], whole[cells[is_land]]) & (fill[cells] >= FILLED)
    land = np.zeros(mask.shape, dtype=np.bool_)
    land.ravel()[cells[is_land]] = True
    outlined = group_bodies(cells[is_land], whole)
    return land, trace_shores(outlined, np.ones(outlined.start.shape, dtype=np.bool_), grid, scan), mask


def stands_over_ground(
    bodies: Bodies, large: NDArray[np.bool_], grid: Grid, ground: Ground, *, slow: bool = False
) -> NDArray[np.bool_]:
    """Return which of the ``large`` bodies were there last turn, over the ground; True for the others.

    Land is; sea and rain that run together into a body boil, and next turn other boxes stand out.  The first
    turn has only the shape to go by: what rings the boat from the nearest cell is its own sea clutter.
    """
    fixed = np.ones(bodies.start.size, dtype=np.bool_)
    ends = np.concatenate((bodies.start[1:], [bodies.cell.size]))
    rows_aside = round(ASIDE_RAD / TAU * grid.n_row)
    for b in np.flatnonzero(large):
        cells = bodies.cell[bodies.start[b] : ends[b]]
        row, col = np.divmod(cells, grid.n_col)
        rings = np.unique(row).size > RING_SHARE * grid.n_row and int(col.min()) <= grid.guard + grid.box_cols
        fixed[b] = not rings
        cells = cells[:: max(1, cells.size // 1500)]
        again = ground.again(cells, slow=slow)
        if np.count_nonzero(np.isfinite(again)) <= 0.3 * again.size:
            continue
        # Dense clutter covers its own ground by chance: how much, the same ranges to either side tell.
        aside = [ground.again(cells, side, slow=slow) for side in (-rows_aside, rows_aside)]
        share, chance = float(np.nanmean(again)), float(np.nanmean(np.concatenate((*aside, [0.0]))))
        fixed[b] = share >= AGAIN and share - chance >= AGAIN_OVER_CHANCE * (1.0 - chance)
    return fixed
