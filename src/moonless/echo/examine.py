"""Each box of a turn beside what it is held against: floor and thresholds, learnt from turn to turn.

The receiver's scale comes from quiet water (`scale`), other radars' pulses are taken out, energy is gathered in boxes a
beam wide and a pulse long, and what lies around each box is estimated by order statistics on both sides in range; the
threshold over it is what the box's own patch of sea has earned (`clutter`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.echo.background.clutter import N_SECTOR, ClutterMap
from moonless.echo.background.interference import PulseWatch, take_out_streaks
from moonless.echo.background.isolated_cells import isolated_cells, noisy_levels
from moonless.echo.background.last_turn import EVERY, Ground
from moonless.echo.background.receiver_curve import TENFOLD_DB, ReceiverCurve
from moonless.echo.background.rings import ring_level
from moonless.echo.background.scan_correlation import P_CANDIDATE
from moonless.echo.background.shaded_sectors import shaded_rows
from moonless.echo.background.tail_dependence import FloorLean
from moonless.echo.grid import BOX_BEAMS, Grid, grid_for
from moonless.echo.kernels.body_kernels import dilate_kernel
from moonless.echo.kernels.floor_kernels import floor_kernel, levels_kernel, ordered_kernel
from moonless.echo.kernels.video_kernels import blocks_kernel, boxes_kernel
from moonless.echo.plots import ScaledScan
from moonless.echo.scale import LEARN_EVERY, ReceiverScale
from moonless.scan.types import Scan

# Boxes over the threshold that chance is allowed in one turn, and the bounds of the rate per box that follow.
FALSE_BOXES_A_TURN = 4.0
P_FALSE_MOST = 1e-4
P_FALSE_LEAST = 1e-6
LEVEL_LOW_DB = -14.0
LEVEL_STEP_DB = 1.0 / 3.0  # 256 levels reach 71 dB
EDGE_MEDIANS = 6.0  # nine deviations: the two sides of a box differ so far only at an edge
EVERY_ROW = 5
_LOW, _STEP = np.float32(LEVEL_LOW_DB), np.float32(LEVEL_STEP_DB)
SOLID_DB = 25.0  # above noise: stronger than rain; such blocks are no reference for others
SOLID_OVER_CLUTTER_DB = 12.0
# A scale that ends below that has its solid echoes at its top, and so much over clutter at the least.
SOLID_LEAST_DB = 3.0
# However spiky the sea is held to be, what stands so far over its floor is an echo: a Pareto sea of shape 2.2, spikier
# than most, passes 31.6 dB over its median once in a million cells (elementary).  Where the scale is not known decibels
# say nothing: no threshold lies past this share of it; and with so few steps none past its top (own figures).
SPIKIEST_DB, UNKNOWN_MOST, FINE_STEPS = 32.0, 0.75, 63
# What stands at the top of the scale, so far over its floor, is shown whatever the sea's tail.  Own figure.
SHOWN_AT_TOP_DB = 16.0
SAME_SCALE = 1.5  # a scale learnt better by less than this factor is the same one; own figure
CLIPPED_UNDER_DB = 1.5  # seven cells in ten of a box at full scale
KEEP_OFF_BEAMS = 1.3  # round known echoes, where the sea is not learnt: to where the beam's skirt is 40 dB down
CUT_LOOKS = 4.0  # a cell, then: a box half full of the lowest count passes; own figure
LEAN_TURNS = 6  # how far strays go with their floor is learnt every turn until so many have told
SPIKE_OVER_NOISE_DB = 10.0
SPIKE_MARGIN_DB = 9.0
SPIKE_LEAST_BEAM = 2.5  # spokes; with fewer the last turn is asked instead of the neighbours


@dataclass(frozen=True, slots=True, eq=False)
class Examined:
    """Every box of one turn beside what it was held against; arrays (n_row, n_col), dB above the mean noise."""

    grid: Grid
    curve: ReceiverCurve
    video: ScaledScan
    sector: NDArray[np.int64]  # (n_row,)
    box_db: NDArray[np.float32]
    fine_db: NDArray[np.float32]  # the same of boxes one row wide: what parts echoes side by side
    floor_db: NDArray[np.float32]
    threshold_db: NDArray[np.float32]
    candidate_db: NDArray[np.float32]  # the lower threshold, of candidates
    solid_db: NDArray[np.float32]  # over this a large body may be land
    offset_db: NDArray[np.float32]  # of each floor from its bin's mean, before it was drawn toward it
    foreign_db: float  # a box so far under its floor lies beside what made the floor, and says nothing of its own
    spikes: int
    notes: tuple[str, ...]

    @property
    def clipped_db(self) -> float:
        """From here on most of a box's cells stand at full scale."""
        return float(self.video.db[-1]) - CLIPPED_UNDER_DB


class Examiner:
    """Holds every box against its threshold.  One per radar; feed it every turn in order."""

    def __init__(self, p_false: float | None = None) -> None:
        """Begin.  ``p_false``: false-alarm rate per box tested; None: from `design_rate`."""
        self.p_false = p_false
        self.ground = Ground()
        self.scale = ReceiverScale()
        self.map: ClutterMap | None = None
        self._others = PulseWatch()
        self._grid: Grid | None = None
        self._base: Grid | None = None  # the grid as it was first cut; `_grid`: for this turn's spokes
        self._geometry: tuple[float, ...] = ()
        self._curve: ReceiverCurve | None = None  # of the last turn
        self._lean = FloorLean(1, np.zeros(1, dtype=np.int64))  # of no grid yet

    def examine(self, scan: Scan) -> Examined:
        """Return each box of a scan by its used scale beside its floor and thresholds."""
        notes: list[str] = []
        curve = self.scale.learn(scan, notes)
        grid, is_new = self._choose_grid(scan, self.scale.is_background_cut(curve))
        measures_anew = self._measures_anew(curve)
        if is_new or self.map is None or measures_anew:
            rate = design_rate(grid) if self.p_false is None else self.p_false
            # Where the set has cut the noise, none is left to be guarded against: what strays is measured alone.
            looks = grid.box_looks * (CUT_LOOKS if curve.is_zeroed else curve.looks)
            self.map = ClutterMap(grid, max(1.0, round(looks, 2)), rate)
            self._lean = FloorLean(N_SECTOR + 1, self.map.ring_of_col)
        scan, lone = take_out_streaks(scan)
        if grid.beam_spokes < SPIKE_LEAST_BEAM:
            scan, pulses = self._others.clean(scan, curve.db(scan.full_scale))
            lone += pulses
        video = _video(scan, grid, curve)
        total = np.empty((grid.n_row, grid.n_col), dtype=np.float32)
        weight = np.empty(grid.n_row, dtype=np.int64)
        spikes = blocks_kernel(
            scan.echo, scan.is_received, grid.row_edge, grid.col_cells, video.power, video.spike, video.reach,
            total, weight,
        )  # fmt: skip
        strip = np.empty_like(total)
        box = np.empty_like(total)
        nominal = round(scan.n_spoke / grid.n_row * grid.box_rows)
        boxes_kernel(total, weight, nominal, grid.box_rows, grid.box_cols, grid.col_cells, grid.n_cell, strip, box)
        strip_db, box_db = _to_db(strip), _to_db(box)
        nominal = round(scan.n_spoke / grid.n_row)
        boxes_kernel(total, weight, nominal, 1, grid.box_cols, grid.col_cells, grid.n_cell, strip, box)
        fine_db = np.where(np.isfinite(box), _to_db(box), box_db)
        heading = scan.heading_true_rad[np.minimum(grid.row_edge[:-1], scan.n_spoke - 1)]
        sector = self.map.sector_of_row(heading, shaded_rows(strip_db, grid))
        level = self.map.update_level(strip_db, sector)
        ring = self.map.ring_of_col
        solid_from_db, solid_over_db = _solid(video)
        near, far = _sides(strip_db, level, sector, ring, grid, (solid_from_db, solid_over_db))
        wide, lone_db = _one_sided(near, far)
        clutter_db = level[sector][:, ring]
        floor_db, threshold_db, candidate_db = np.empty_like(box), np.empty_like(box), np.empty_like(box)
        self.ground.turn_to(scan, grid)
        if self.map.turns <= 1:
            nothing = np.zeros_like(level)
            floor_kernel(
                near,
                far,
                wide,
                lone_db,
                level,
                nothing,
                nothing,
                sector,
                ring,
                _LOW,
                _STEP,
                floor_db,
                threshold_db,
                candidate_db,
            )
            offset_db = self._lean.settle(floor_db, threshold_db, candidate_db, sector)
            ratio_db = box_db - floor_db
            usable = ratio_db > -wide * _STEP
            if self.map.turns == 0:
                usable &= strip_db < clutter_db + solid_from_db
            elif self.ground.is_known:
                usable &= self.ground.fresh()
            if self.map.turns == 0 or self.ground.is_known:
                self.map.update_exceedances(ratio_db, usable, sector, provisional=self.map.turns == 1)
                self._lean.learn(ratio_db, offset_db, usable, sector, *self.map.lines())
        over, low = self.map.thresholds_db(self.map.p_false, P_CANDIDATE)
        low = np.minimum(low, over)
        floor_kernel(
            near, far, wide, lone_db, level, over.astype(np.float32), low.astype(np.float32), sector, ring, _LOW, _STEP,
            floor_db, threshold_db, candidate_db,
        )  # fmt: skip
        offset_db = self._lean.settle(floor_db, threshold_db, candidate_db, sector)
        solid_db = np.maximum(clutter_db + solid_over_db, solid_from_db)
        if solid_from_db < SOLID_DB:
            np.minimum(solid_db, solid_from_db, out=solid_db)
        # Boats among the strays take a spiky sea's tail without bound; and past the top of the scale nothing is shown.
        top_db = np.float32(video.db[-1] - CLIPPED_UNDER_DB)
        if curve.is_learnt:
            most_db = np.minimum(
                floor_db + np.float32(SPIKIEST_DB), np.maximum(top_db, floor_db + np.float32(SHOWN_AT_TOP_DB))
            )
        elif scan.full_scale < FINE_STEPS:
            most_db = np.full_like(floor_db, video.db[-1] - CLIPPED_UNDER_DB)
        else:
            most_db = np.full_like(floor_db, UNKNOWN_MOST * video.db[-1])
        np.minimum(threshold_db, np.maximum(most_db, floor_db), out=threshold_db)
        # At the top of the scale nothing stands out any more: what is up there stays.
        ring_db = ring_level(box_db, threshold_db, grid.col_cells * scan.cell_m, scan.errors.pulse_m)
        ring_db = np.minimum(ring_db, top_db)
        for limit in (threshold_db, candidate_db, solid_db):
            np.maximum(limit, ring_db, out=limit)
        if not scan.is_whole:
            notes.append(f"{np.count_nonzero(~scan.is_received)} of {scan.n_spoke} spokes were not received")
        if self.scale.is_cut and self.scale.counts is not None:
            db = curve.db(scan.full_scale)
            noisy, sure = noisy_levels(self.scale.counts, box_db.size)
            window = (round(BOX_BEAMS * grid.beam_spokes), round(grid.pulse_cells))
            sure_db = float(db[sure]) if sure < db.size else np.inf
            lone_ones = isolated_cells(box_db, [(float(db[level]), share) for level, share in noisy], sure_db, window)
            threshold_db[lone_ones] = box_db[lone_ones] + np.float32(1.0)
        return Examined(
            grid,
            curve,
            video,
            sector,
            box_db,
            fine_db,
            floor_db,
            threshold_db,
            candidate_db,
            solid_db,
            offset_db,
            float(-wide * _STEP),
            int(spikes) + lone,
            tuple(notes),
        )

    def learn_exceedances(self, seen: Examined, echoes: NDArray[np.int64], peaks: NDArray[np.int64]) -> None:
        """Count how far boxes stray from their floor, over ground that was quiet last turn and clear of known echoes.

        An echo that fades and comes back carries its skirts with it: over a beam and a pulse round what stands on one
        spot turn after turn (``echoes``, flat blocks) nothing is asked.  ``peaks``: all candidates, flat blocks.
        """
        if not self.ground.is_known or self.map is None:
            return
        ratio_db = seen.box_db - seen.floor_db
        grid = seen.grid
        kept_off = np.zeros(ratio_db.shape, dtype=np.bool_)
        rows = math.ceil(KEEP_OFF_BEAMS * grid.beam_spokes * grid.n_row / grid.n_spoke)
        dilate_kernel(echoes, np.full(echoes.shape, rows, np.int64), grid.guard, kept_off)
        asked = (ratio_db > seen.foreign_db) & self.ground.fresh() & ~kept_off
        if self.map.turns > 1:
            over = np.flatnonzero((seen.box_db >= seen.threshold_db) & ~kept_off)
            over = over[self.ground.is_fresh(over)]
            tops = peaks[self.ground.is_fresh(peaks)]
            tops = tops[(seen.box_db.ravel()[tops] >= seen.threshold_db.ravel()[tops]) & ~kept_off.ravel()[tops]]
            bins = self.map.bins(seen.sector)
            tested = EVERY**2 * np.bincount(bins[asked], minlength=self.map.n_bin)
            excess_db = (seen.box_db - seen.threshold_db).ravel()[tops]
            bins = bins.ravel()
            self.map.close_loop(bins[over], bins[tops], excess_db, tested)
        if self.map.turns < LEAN_TURNS or self.map.turns % LEARN_EVERY == 0:
            self._lean.learn(ratio_db, seen.offset_db, asked, seen.sector, *self.map.lines())
        self.map.update_exceedances(ratio_db, asked, seen.sector)

    def _measures_anew(self, curve: ReceiverCurve) -> bool:
        """Return whether decibels are not what they were a turn before: all that was learnt in them is void.

        How far the sea strays by one scale is no word on how far it does by another: thresholds past the top of the
        scale came of it, for a dozen turns.
        """
        before, self._curve = self._curve, curve
        if before is None:
            return False
        if (before.law, before.is_zeroed) != (curve.law, curve.is_zeroed):
            return True
        return curve.law == "log" and not 1.0 / SAME_SCALE < curve.db_per_count / before.db_per_count < SAME_SCALE

    def _choose_grid(self, scan: Scan, is_cut: bool) -> tuple[Grid, bool]:
        """Return (grid, whether all that was learnt on the one before is void).

        Rows are bearings: as long as the radar, its range scale and its pulse stay, they stay whatever the spokes.
        """
        geometry = (scan.n_cell, scan.cell_m, scan.first_cell_m, scan.errors.beam_rad, scan.errors.pulse_m, is_cut)
        is_new = self._grid is None or geometry != self._geometry or not self._grid.holds(scan.n_spoke)
        if is_new:
            self._base = grid_for(
                scan.n_spoke, scan.n_cell, scan.cell_m, scan.errors.beam_rad, scan.errors.pulse_m, is_cut=is_cut
            )
            self._geometry = geometry
        assert self._base is not None
        self._grid = self._base.at(scan.n_spoke)
        return self._grid, is_new


def design_rate(grid: Grid) -> float:
    """Return the false-alarm rate per box: few enough that a whole turn of noise gives a handful."""
    return min(max(FALSE_BOXES_A_TURN / (grid.n_row * grid.n_col), P_FALSE_LEAST), P_FALSE_MOST)


def _solid(video: ScaledScan) -> tuple[np.float32, np.float32]:
    """Return from where on an echo is solid: dB over noise, and over clutter."""
    short = max(0.0, SOLID_DB - (float(video.db[-1]) - CLIPPED_UNDER_DB))
    return np.float32(SOLID_DB - short), np.float32(max(SOLID_LEAST_DB, SOLID_OVER_CLUTTER_DB - short))


def _sides(
    strip_db: NDArray[np.float32],
    level: NDArray[np.float32],
    sector: NDArray[np.int64],
    ring: NDArray[np.int64],
    grid: Grid,
    solid: tuple[np.float32, np.float32],
) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Return the medians of the reference on the near and the far side of every box, in steps; -1: too little there."""
    steps = np.empty(strip_db.shape, dtype=np.uint8)
    skip = np.empty(strip_db.shape, dtype=np.bool_)
    levels_kernel(strip_db, level, sector, ring, _LOW, _STEP, *solid, steps, skip)
    near = np.empty(strip_db.shape, dtype=np.int16)
    far = np.empty(strip_db.shape, dtype=np.int16)
    ordered_kernel(steps, skip, grid.guard, grid.window, max(1, grid.window // 3), near, far)
    return near, far


def _one_sided(near: NDArray[np.int16], far: NDArray[np.int16]) -> tuple[int, np.float32]:
    """Return (steps by which sides differ at an edge, dB by which one side lies under the higher of two by chance).

    Half of how far the two sides differ where no edge is: so far the higher of two lies over their mean.
    """
    here, there = near[::EVERY_ROW], far[::EVERY_ROW]
    apart = np.abs(here - there)[(here >= 0) & (there >= 0)]
    if apart.size == 0:
        return np.iinfo(np.int16).max, np.float32(0.0)
    wide = int(EDGE_MEDIANS * (float(np.median(apart)) + 1.0))
    same = apart[apart < wide]
    return wide, np.float32(0.5 * float(same.mean()) * LEVEL_STEP_DB if same.size else 0.0)


def _to_db(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return dB; NaN stays NaN."""
    return np.asarray(np.float32(10.0) * np.log10(np.maximum(power, np.float32(1e-6))), dtype=np.float32)


def _video(scan: Scan, grid: Grid, curve: ReceiverCurve) -> ScaledScan:
    """Return the scan with the scale and the spike test that suits its beam."""
    db = curve.db(scan.full_scale)
    reach = 0 if grid.beam_spokes < SPIKE_LEAST_BEAM else (1 if grid.beam_spokes < 8.0 else 2)
    # What a point's own beam shape may fall from one spoke to the next, and what fluctuation adds.
    margin_db = SPIKE_MARGIN_DB + 24.08 * (reach / grid.beam_spokes) ** 2
    least = int(np.searchsorted(db, SPIKE_OVER_NOISE_DB))
    if curve.law == "log" or curve.is_zeroed:
        spike = (least, 256, round(256.0 * margin_db / curve.db_per_count))
    else:
        spike = (least, round(256.0 * 10.0 ** (margin_db / TENFOLD_DB[curve.law])), 0)
    return ScaledScan(scan, db, curve.power(scan.full_scale), np.asarray(spike, dtype=np.int64), reach)
