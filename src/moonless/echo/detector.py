"""From one scan to its plots and shores; learns from turn to turn, and has no knob.

The order of work: learn the receiver's scale from quiet water, take out other radars' pulses, gather energy in
boxes a beam wide and a pulse long, estimate what lies around each box by order statistics on both sides in range,
hold the box against the threshold that its own patch of sea has earned (all that in `examine`), part the hills
(`hills`), tell land from what floats (`land`), measure each (`plots`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.echo.background.last_turn import Ground
from moonless.echo.background.scan_correlation import ScanCorrelation
from moonless.echo.examine import Examined, Examiner
from moonless.echo.ghosts import GhostFinder
from moonless.echo.grid import Grid
from moonless.echo.hills import cells_of, places, segment
from moonless.echo.kernels.body_kernels import dilate_kernel, peaks_kernel
from moonless.echo.kernels.video_kernels import spread_kernel
from moonless.echo.land import find_shores, stands_over_ground
from moonless.echo.lost_spokes import bridged
from moonless.echo.plots import measure
from moonless.echo.raised_ground import RaisedGround
from moonless.echo.scale import to_counts
from moonless.echo.shores import CLIPPED_BEAMS, CLIPPED_PULSES, group_bodies, is_shore, without_thin_ends
from moonless.echo.types import EchoPicture
from moonless.scan.types import Scan

MOST_PEAKS = 20_000


class Detector:
    """Turns scans into plots.  One detector per radar; feed it every turn in order."""

    def __init__(self, p_false: float | None = None) -> None:
        """Begin.  ``p_false``: false-alarm rate per box tested; None: from `design_rate`."""
        self.boxes = Examiner(p_false)
        self.last_examined: Examined | None = None  # for those who measure the detector
        self._ghosts = GhostFinder()
        self._memory = ScanCorrelation()
        self._hills = ScanCorrelation()

    def detect(self, scan: Scan) -> EchoPicture:
        """Return the plots, shores and background of one turn.

        A spoke that was not received is unknown: nothing is found there, and floor, threshold and clutter are NaN; but
        of a cut picture gaps within half a beam are bridged (`bridged`).
        """
        boxes = self.boxes
        scan = boxes.scale.by_used_scale(scan)
        # Elsewhere a box gathers over several spokes, and over those that came where one was lost.
        scan, n_bridged = bridged(scan) if boxes.scale.is_cut else (scan, 0)
        seen = boxes.examine(scan)
        self.last_examined = seen
        grid, box_db, col_m = seen.grid, seen.box_db, seen.grid.col_cells * scan.cell_m
        weak, known, is_steady, peaks = self._recall(scan, seen)
        # What the last turns vouch for stands out of the candidates; its hill is what stands over their threshold.
        mask = box_db >= seen.threshold_db  # NaN is never found
        around = np.zeros(mask.shape, dtype=np.bool_)
        dilate_kernel(weak, np.full(weak.shape, grid.box_rows, np.int64), grid.box_cols, around)
        mask |= around & (box_db >= seen.candidate_db)
        # What stands far over the background for bearings on end may be land whatever the sea's tail is held to be.
        found, mask = mask, mask | (box_db >= seen.solid_db)
        cells, basin, body, core, whole = segment(
            seen.fine_db, seen.threshold_db, mask, grid, col_m, seen.curve.looks, seen.clipped_db
        )
        bodies = group_bodies(cells, body)
        large, long = is_shore(group_bodies(core, body), grid, scan, seen.fine_db, seen.threshold_db, seen.clipped_db)
        fixed = stands_over_ground(bodies, large, grid, boxes.ground)
        in_body = cells_of(bodies, large & fixed, cells, body)
        in_clutter = cells_of(bodies, large & ~fixed, cells, body)
        land, shores, slow_mask = find_shores(scan, seen, boxes.ground)
        loud = ~(box_db < seen.floor_db + np.float32(boxes.map.loud_db if boxes.map is not None else 0.0))
        boxes.learn_exceedances(seen, np.concatenate((known, np.flatnonzero(land), cells[in_body])), peaks)
        boxes.ground.remember(scan, mask, slow_mask, loud)
        # A mark close before a quay joins it by the skirts of the beam: what stands on one spot of the ground, turn
        # after turn and oftener than the land's own glitter round about, is a plot although the shore holds it.
        standing = self._standing(scan, grid, np.unique(basin[cells]))
        # What lies on the slow picture's land is a piece of it, though this turn's glitter cut it off.
        of_land = in_body | land.ravel()[basin[cells]]
        in_clutter &= ~of_land
        # What stands alone and is no longer than a ship may be one, though it be larger than most: never only a shore.
        # And where the picture is cut at the top there is no glitter in a shore's echo: its hills are pieces that stand
        # apart, and the one that is a ship or a moored boat cannot be told from the others by this turn alone.
        hills = group_bodies(core, basin)
        _, too_long = is_shore(hills, grid, scan, seen.fine_db, seen.threshold_db, seen.clipped_db)
        is_cut = seen.fine_db.ravel()[hills.top] >= seen.clipped_db
        alone = np.isin(body[hills.top], bodies.top[large & ~long])
        apart = hills.top[(is_cut & ~too_long) | alone]
        is_loose = found.ravel()[cells] & (~of_land | np.isin(basin[cells], np.concatenate((standing, apart))))
        if np.any(in_clutter):
            # Of clutter that has run together only what the last turns know stays.
            firm = peaks[is_steady] if is_steady is not None else peaks[:0]
            is_loose &= ~in_clutter | np.isin(basin[cells], basin[firm[basin[firm] >= 0]])
        loose = cells[is_loose]
        tops, number = np.unique(basin[loose], return_inverse=True)  # a hill's top passes wherever any of it does
        # The thin ends of a clipped echo are side lobes, now on one side and now on the other: they would pull its
        # middle about.
        middle = without_thin_ends(loose, number, tops, seen.fine_db.ravel()[tops] >= seen.clipped_db, grid)
        loose, number = loose[middle], number[middle]
        plots = measure(seen.video, grid, loose, number.astype(np.int64), tops, box_db, seen.floor_db, seen.curve.looks)
        rows = np.unique(number * grid.n_row + loose // grid.n_col) // grid.n_row
        width_rad = np.bincount(rows, minlength=tops.size).astype(np.float64) * (TAU / grid.n_row)
        # Hills that hang together and are no more than a ship may be one ship's.
        whose = np.where(np.isin(body[tops], bodies.top[large]), -1, whole[tops])
        plots = replace(plots, is_of_shore=np.isin(tops, np.unique(basin[cells[of_land]])), body=whose)
        plots = self._ghosts.mark(plots, scan.errors, scan.cell_m, width_rad if boxes.scale.is_cut else None)
        curve = seen.curve
        return EchoPicture(
            plots=plots,
            shores=shores,
            floor=_spread(to_counts(seen.floor_db, curve), scan, grid),
            threshold=_spread(to_counts(seen.threshold_db, curve), scan, grid),
            clutter_db=_spread(seen.floor_db, scan, grid),
            db_per_count=curve.db_per_count if curve.is_learnt else None,
            db_per_count_sigma=curve.sigma if curve.is_learnt else None,
            db_per_tenfold=curve.db_per_tenfold,
            noise_counts=curve.noise_counts,
            spikes_removed=seen.spikes,
            notes=seen.notes if n_bridged == 0 else (*seen.notes, f"{n_bridged} lost spokes bridged"),
            is_cut=boxes.scale.is_cut,
            raised=_raised(scan, grid, boxes.ground, tops),
        )

    def examine(self, scan: Scan) -> Examined:
        """Return each box beside its floor and thresholds; ``detect`` goes on from there."""
        return self.boxes.examine(scan)

    def _recall(
        self, scan: Scan, seen: Examined
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_] | None, NDArray[np.int64]]:
        """Return (weak peaks that the last turns vouch for, all such, which of all peaks are steady, all), flat."""
        grid = seen.grid
        found = np.empty(MOST_PEAKS, dtype=np.int64)
        n = peaks_kernel(seen.box_db, seen.candidate_db, max(1, grid.box_rows // 2), max(1, grid.box_cols // 2), found)
        peaks = found[:n]
        spoke, range_m = places(scan, grid, peaks)
        met = self._memory.ask(scan, spoke, range_m)
        turns = self._memory.turns
        vouched, followed = self._memory.vouched(met), self._memory.followed(met)
        # Without a turn before there is no telling an echo from a spike, and nothing is learnt of either.
        is_steady = self._memory.steady(met) if turns else None
        is_weak = seen.box_db.ravel()[peaks] < seen.threshold_db.ravel()[peaks]
        self._memory.remember(scan, spoke, range_m, ~is_weak | vouched)
        return peaks[(vouched | followed) & is_weak], peaks[vouched | followed], is_steady, peaks

    def _standing(self, scan: Scan, grid: Grid, tops: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return which hilltops stood on their spot of the ground in the last turns too; remember all of them."""
        spoke, range_m = places(scan, grid, tops)
        vouched = self._hills.vouched(self._hills.ask(scan, spoke, range_m, runs=False))
        self._hills.remember(scan, spoke, range_m, np.ones(tops.shape, dtype=np.bool_))
        return tops[vouched]


def _raised(scan: Scan, grid: Grid, ground: Ground, tops: NDArray[np.int64]) -> RaisedGround | None:
    """Return the ground that may stand over the water, for whoever asks; ``tops`` (p,): flat blocks of the plots."""
    if ground.slow_db is None:
        return None
    col_m = grid.col_cells * scan.cell_m
    reach = np.asarray(scan.first_cell_m + (np.arange(grid.n_col) + 0.5) * col_m, dtype=np.float64)
    smear_m = CLIPPED_BEAMS * scan.errors.beam_rad * (CLIPPED_PULSES * scan.errors.pulse_m + col_m)
    return RaisedGround(ground.slow_db, ground.slow_before_db, reach, col_m, smear_m, tops)


def _spread(coarse: NDArray[np.float32], scan: Scan, grid: Grid) -> NDArray[np.float32]:
    """Return block values over the cells of their blocks, NaN in spokes that were not received."""
    fine = np.empty(scan.echo.shape, dtype=np.float32)
    spread_kernel(np.asarray(coarse, dtype=np.float32), grid.row_edge, grid.col_cells, fine)
    fine[~scan.is_received] = np.nan
    return fine
