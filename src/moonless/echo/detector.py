"""From one scan to its plots and shores; learns from turn to turn, and has no knob.

The order of work: learn the receiver's scale from quiet water, take out other radars' pulses, gather energy in
boxes a beam wide and a pulse long, estimate what lies around each box by order statistics on both sides in range,
hold the box against the threshold that its own patch of sea has earned, part the hills, measure each.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.constants import TAU
from moonless.echo._body_kernels import blot_kernel, peaks_kernel, segment_kernel
from moonless.echo._floor_kernels import floor_kernel, levels_kernel, ordered_kernel
from moonless.echo._video_kernels import blocks_kernel, boxes_kernel, spread_kernel
from moonless.echo.clutter import N_SECTOR, ClutterMap
from moonless.echo.curve import Curve, learn_curve, noise_level
from moonless.echo.ghosts import GhostFinder
from moonless.echo.grid import BOX_BEAMS, Grid, grid_for
from moonless.echo.ground import EVERY, SLOW_LOOKS, Ground
from moonless.echo.lean import FloorLean
from moonless.echo.lone import lone_cells, noisy_levels
from moonless.echo.memory import P_CANDIDATE, EchoMemory
from moonless.echo.others import PulseWatch, take_out_streaks
from moonless.echo.plots import Video, measure
from moonless.echo.shaded import shaded_rows
from moonless.echo.shores import CORE_DB, Bodies, group_bodies, is_shore, trace_shores, without_thin_ends
from moonless.echo.types import EchoPicture, ShoreEcho
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
# Between two equal points 1.3 beams apart the two-way beam falls by 10 dB, and where both add in phase by 4.5.
PASS_DB = 5.0
# One point has no two tops so far apart, however it shines: there a shallow pass parts two, if noise does not dip it.
# Sea, rain and land boil deeper than that; what is parted so must stand well over the threshold.  Hulls are several
# points too: nothing nearer together than most are long.
FAR_BEAMS, FAR_APART_M, FAR_PASS_DB, FAR_FIRM_DB = 0.8, 60.0, 1.0, 5.0
CLIPPED_CORE_DB = 3.0  # half of a box
CLIPPED_UNDER_DB = 1.5  # seven cells in ten of a box at full scale
ROOMY = 8
# With so few cells of quiet water over zero there is nothing to sum up in boxes; the second figure holds it there.
CUT_SHARE, CUT_STAYS = 0.98, 0.95
SLOW_CLIPPED_UNDER_DB = 3.0  # and a mean over turns whose edges come and go lies lower
MOST_PEAKS = 20_000
AGAIN = 0.7  # share of a large body's boxes that were echo last turn, over the ground, when it is land
AGAIN_OVER_CHANCE = 0.6  # and of what chance leaves
ASIDE_RAD = 0.3
RING_SHARE = 0.5
# A window in which one echo of a point fills a quarter at most, and land that hangs together half.
FILL_BEAMS, FILL_PULSES, FILLED = 3.0, 2.0, 0.5
CLIPPED_SHARE = 0.2  # of what stands out: more of it at full scale, and even points fill the small window
KEEP_OFF_BEAMS = 1.3  # round known echoes, where the sea is not learnt: to where the beam's skirt is 40 dB down
COUNTS_KEEP = 0.9
CUT_LOOKS = 4.0  # a cell, then: a box half full of the lowest count passes; own figure
LEARN_EVERY = 4  # turns from one fit of the scale to the next, once it is known; the level is read every turn
LEAN_TURNS = 6  # and how far strays go with their floor is learnt every turn until so many have told
GAIN_STEP_SHARE = 0.1  # of the noise's own spread
GAIN_STEP_COUNTS = 1.5  # a median that steps farther from turn to turn is a hand on the gain
ENOUGH_COUNTS = 20_000.0
SPIKE_OVER_NOISE_DB = 10.0
SPIKE_MARGIN_DB = 9.0
SPIKE_LEAST_BEAM = 2.5  # spokes; with fewer the last turn is asked instead of the neighbours


@dataclass(frozen=True, slots=True, eq=False)
class Examined:
    """Every box of one turn beside what it was held against; arrays (n_row, n_col), dB above the mean noise."""

    grid: Grid
    curve: Curve
    video: Video
    sector: NDArray[np.int64]  # (n_row,)
    box_db: NDArray[np.float32]
    fine_db: NDArray[np.float32]  # the same of boxes one row wide: what parts echoes side by side
    floor_db: NDArray[np.float32]
    threshold_db: NDArray[np.float32]
    candidate_db: NDArray[np.float32]  # the lower threshold, of candidates
    solid_db: NDArray[np.float32]  # over this a large body may be land
    offset_db: NDArray[np.float32]  # of each floor from its bin's mean, before it was drawn toward it
    foreign_db: float  # a box so far under its floor lies beside what made the floor, and tells nothing of its strays
    spikes: int
    notes: tuple[str, ...]

    @property
    def clipped_db(self) -> float:
        """From here on most of a box's cells stand at full scale."""
        return float(self.video.db[-1]) - CLIPPED_UNDER_DB


class Detector:
    """Turns scans into plots.  One detector per radar; feed it every turn in order."""

    def __init__(self, p_false: float | None = None) -> None:
        """Begin.  ``p_false``: false-alarm rate per box tested; None: from `design_rate`."""
        self.p_false = p_false
        self._ghosts = GhostFinder()
        self._ground = Ground()
        self._others = PulseWatch()
        self.last_examined: Examined | None = None  # for those who measure the detector
        self._grid: Grid | None = None
        self._base: Grid | None = None  # the grid as it was first cut; `_grid`: for this turn's spokes
        self._geometry: tuple[float, ...] = ()
        self._map: ClutterMap | None = None
        self._lean = FloorLean(1, np.zeros(1, dtype=np.int64))  # of no grid yet
        self._memory = EchoMemory()
        self._hills = EchoMemory()
        self._curve: Curve | None = None
        self._counts: NDArray[np.float64] | None = None  # of quiet water, over the last turns
        self._median = 0.0
        self._since_learnt = -1
        self._is_cut = False
        self._top = 0  # highest count met
        self._full_scale = 0

    def detect(self, scan: Scan) -> EchoPicture:
        """Return the plots, shores and background of one turn.

        A spoke that was not received is unknown: nothing is found there, and floor, threshold and clutter are NaN.
        """
        scan = self._by_used_scale(scan)
        seen = self.examine(scan)
        self.last_examined = seen
        grid, box_db, col_m = seen.grid, seen.box_db, seen.grid.col_cells * scan.cell_m
        weak, known, is_steady, peaks = self._recall(scan, seen)
        # What the last turns vouch for stands out of the candidates; its hill is what stands over their threshold.
        mask = box_db >= seen.threshold_db  # NaN is never found
        around = np.zeros(mask.shape, dtype=np.bool_)
        blot_kernel(weak, np.full(weak.shape, grid.box_rows, np.int64), grid.box_cols, around)
        mask |= around & (box_db >= seen.candidate_db)
        # What stands far over the background for bearings on end may be land whatever the sea's tail is held to be.
        found, mask = mask, mask | (box_db >= seen.solid_db)
        cells, basin, body, core, _ = _segment(
            seen.fine_db, seen.threshold_db, mask, grid, col_m, seen.curve.looks, seen.clipped_db
        )
        bodies = group_bodies(cells, body)
        large, long = is_shore(group_bodies(core, body), grid, scan, seen.fine_db, seen.threshold_db, seen.clipped_db)
        fixed = self._stands_over_ground(bodies, large, grid)
        in_body = _cells_of(bodies, large & fixed, cells, body)
        in_clutter = _cells_of(bodies, large & ~fixed, cells, body)
        land, shores, slow_mask = self._find_shores(scan, seen)
        loud = ~(box_db < seen.floor_db + np.float32(self._map.loud_db if self._map is not None else 0.0))
        self._learn_strays(seen, np.concatenate((known, np.flatnonzero(land), cells[in_body])), peaks)
        self._ground.remember(scan, mask, slow_mask, loud)
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
        plots = replace(plots, is_of_shore=np.isin(tops, np.unique(basin[cells[of_land]])))
        plots = self._ghosts.mark(plots, scan.errors, scan.cell_m, width_rad if self._is_cut else None)
        curve = seen.curve
        return EchoPicture(
            plots=plots,
            shores=shores,
            floor=_spread(_to_counts(seen.floor_db, curve), scan, grid),
            threshold=_spread(_to_counts(seen.threshold_db, curve), scan, grid),
            clutter_db=_spread(seen.floor_db, scan, grid),
            db_per_count=curve.db_per_count if curve.is_learnt else None,
            db_per_count_sigma=curve.sigma if curve.is_learnt else None,
            noise_counts=curve.noise_counts,
            spikes_removed=seen.spikes,
            notes=seen.notes,
            is_cut=self._is_cut,
        )

    def examine(self, scan: Scan) -> Examined:
        """Return each box beside its floor and thresholds; ``detect`` goes on from there."""
        notes: list[str] = []
        curve = self._learn(scan, notes)
        grid, is_new = self._choose_grid(scan, self._is_background_cut(curve))
        if is_new or self._map is None:
            rate = design_rate(grid) if self.p_false is None else self.p_false
            # Where the set has cut the noise, none is left to be guarded against: what strays is measured alone.
            looks = grid.box_looks * (CUT_LOOKS if curve.is_zeroed else curve.looks)
            self._map = ClutterMap(grid, max(1.0, round(looks, 2)), rate)
            self._lean = FloorLean(N_SECTOR + 1, self._map.ring_of_col)
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
        sector = self._map.sector_of_row(heading, shaded_rows(strip_db, grid))
        level = self._map.update_level(strip_db, sector)
        ring = self._map.ring_of_col
        near, far = _sides(strip_db, level, sector, ring, grid)
        wide, lone_db = _one_sided(near, far)
        clutter_db = level[sector][:, ring]
        floor_db, threshold_db, candidate_db = np.empty_like(box), np.empty_like(box), np.empty_like(box)
        self._ground.turn_to(scan, grid)
        if self._map.turns <= 1:
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
            if self._map.turns == 0:
                usable &= strip_db < clutter_db + SOLID_DB
            elif self._ground.is_known:
                usable &= self._ground.fresh()
            if self._map.turns == 0 or self._ground.is_known:
                self._map.update_strays(ratio_db, usable, sector, provisional=self._map.turns == 1)
                self._lean.learn(ratio_db, offset_db, usable, sector, *self._map.lines())
        over, low = self._map.thresholds_db(self._map.p_false, P_CANDIDATE)
        low = np.minimum(low, over)
        floor_kernel(
            near, far, wide, lone_db, level, over.astype(np.float32), low.astype(np.float32), sector, ring, _LOW, _STEP,
            floor_db, threshold_db, candidate_db,
        )  # fmt: skip
        offset_db = self._lean.settle(floor_db, threshold_db, candidate_db, sector)
        solid_db = np.maximum(clutter_db + np.float32(SOLID_OVER_CLUTTER_DB), np.float32(SOLID_DB))
        if not scan.is_whole:
            notes.append(f"{np.count_nonzero(~scan.is_received)} of {scan.n_spoke} spokes were not received")
        if self._is_cut and self._counts is not None:
            db = curve.db(scan.full_scale)
            noisy, sure = noisy_levels(self._counts, box_db.size)
            window = (round(BOX_BEAMS * grid.beam_spokes), round(grid.pulse_cells))
            sure_db = float(db[sure]) if sure < db.size else np.inf
            lone_ones = lone_cells(box_db, [(float(db[level]), share) for level, share in noisy], sure_db, window)
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

    def _by_used_scale(self, scan: Scan) -> Scan:
        """Return the scan with the full scale that the set uses: few levels are often written into a wider word.

        The next power of two over the highest count met so far, where the word has room for eight times as much.
        """
        self._top = max(self._top, int(scan.echo.max(initial=0)))
        used = (1 << max(self._top, 1).bit_length()) - 1
        return replace(scan, full_scale=used) if used * ROOMY <= scan.full_scale else scan

    def _is_background_cut(self, curve: Curve) -> bool:
        """Return whether the set has cut not only the noise's middle but next to all of it from quiet water."""
        assert self._counts is not None
        share = float(self._counts[0] / max(float(self._counts.sum()), 1.0))
        self._is_cut = curve.is_zeroed and share >= (CUT_STAYS if self._is_cut else CUT_SHARE)
        return self._is_cut

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

    def _find_shores(
        self, scan: Scan, seen: Examined
    ) -> tuple[NDArray[np.bool_], tuple[ShoreEcho, ...], NDArray[np.bool_]]:
        """Return (boxes of shores, their outlines, boxes of the slow picture over the threshold).

        Land glitters: in one turn it falls into a hundred hills.  The mean of the last turns over the ground is whole,
        and in it sea and rain, which boil, lie at their own mean, under their threshold.
        """
        grid, slow_db, col_m = seen.grid, self._ground.slow(seen.fine_db), seen.grid.col_cells * scan.cell_m
        mask = slow_db >= np.minimum(seen.threshold_db, seen.solid_db)
        clipped_db = seen.clipped_db - SLOW_CLIPPED_UNDER_DB
        cells, _, body, core, whole = _segment(
            slow_db, seen.threshold_db, mask, grid, col_m, SLOW_LOOKS * seen.curve.looks, clipped_db
        )
        bodies = group_bodies(cells, body)
        large, _ = is_shore(group_bodies(core, body), grid, scan, slow_db, seen.threshold_db, clipped_db)
        which = large & self._stands_over_ground(bodies, large, grid, slow=True)
        is_land = _cells_of(bodies, which, cells, body)
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

    def _stands_over_ground(
        self, bodies: Bodies, large: NDArray[np.bool_], grid: Grid, *, slow: bool = False
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
            again = self._ground.again(cells, slow=slow)
            if np.count_nonzero(np.isfinite(again)) <= 0.3 * again.size:
                continue
            # Dense clutter covers its own ground by chance: how much, the same ranges to either side tell.
            aside = [self._ground.again(cells, side, slow=slow) for side in (-rows_aside, rows_aside)]
            share, chance = float(np.nanmean(again)), float(np.nanmean(np.concatenate((*aside, [0.0]))))
            fixed[b] = share >= AGAIN and share - chance >= AGAIN_OVER_CHANCE * (1.0 - chance)
        return fixed

    def _recall(
        self, scan: Scan, seen: Examined
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_] | None, NDArray[np.int64]]:
        """Return (weak peaks that the last turns vouch for, all such, which of all peaks are steady, all), flat."""
        grid = seen.grid
        found = np.empty(MOST_PEAKS, dtype=np.int64)
        n = peaks_kernel(seen.box_db, seen.candidate_db, max(1, grid.box_rows // 2), max(1, grid.box_cols // 2), found)
        peaks = found[:n]
        spoke, range_m = _places(scan, grid, peaks)
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
        spoke, range_m = _places(scan, grid, tops)
        vouched = self._hills.vouched(self._hills.ask(scan, spoke, range_m, runs=False))
        self._hills.remember(scan, spoke, range_m, np.ones(tops.shape, dtype=np.bool_))
        return tops[vouched]

    def _learn_strays(self, seen: Examined, echoes: NDArray[np.int64], peaks: NDArray[np.int64]) -> None:
        """Count how far boxes stray from their floor, over ground that was quiet last turn and clear of known echoes.

        An echo that fades and comes back carries its skirts with it: over a beam and a pulse round what stands on one
        spot turn after turn (``echoes``, flat blocks) nothing is asked.  ``peaks``: all candidates, flat blocks.
        """
        if not self._ground.is_known or self._map is None:
            return
        ratio_db = seen.box_db - seen.floor_db
        grid = seen.grid
        kept_off = np.zeros(ratio_db.shape, dtype=np.bool_)
        rows = math.ceil(KEEP_OFF_BEAMS * grid.beam_spokes * grid.n_row / grid.n_spoke)
        blot_kernel(echoes, np.full(echoes.shape, rows, np.int64), grid.guard, kept_off)
        asked = (ratio_db > seen.foreign_db) & self._ground.fresh() & ~kept_off
        if self._map.turns > 1:
            over = np.flatnonzero((seen.box_db >= seen.threshold_db) & ~kept_off)
            over = over[self._ground.is_fresh(over)]
            tops = peaks[self._ground.is_fresh(peaks)]
            tops = tops[(seen.box_db.ravel()[tops] >= seen.threshold_db.ravel()[tops]) & ~kept_off.ravel()[tops]]
            bins = self._map.bins(seen.sector)
            tested = EVERY**2 * np.bincount(bins[asked], minlength=self._map.n_bin)
            excess_db = (seen.box_db - seen.threshold_db).ravel()[tops]
            bins = bins.ravel()
            self._map.close_loop(bins[over], bins[tops], excess_db, tested)
        if self._map.turns < LEAN_TURNS or self._map.turns % LEARN_EVERY == 0:
            self._lean.learn(ratio_db, seen.offset_db, asked, seen.sector, *self._map.lines())
        self._map.update_strays(ratio_db, asked, seen.sector)

    def _learn(self, scan: Scan, notes: list[str]) -> Curve:
        """Return this turn's curve: the best scale learnt so far at this turn's noise level."""
        if scan.full_scale != self._full_scale:
            self._curve = None
            self._since_learnt = -1
            self._counts = None
            self._full_scale = scan.full_scale
        sample = _quiet_counts(scan)
        median = float(np.median(sample)) if sample.size else 0.0
        step = GAIN_STEP_COUNTS
        if sample.size:
            # In a long word the noise itself covers hundreds of counts.
            low, high = np.quantile(sample, (0.16, 0.84))
            step = max(step, GAIN_STEP_SHARE * 0.5 * float(high - low))
        if self._counts is None or abs(median - self._median) > step:
            # The gain was turned, or nothing is known yet: begin afresh, keeping the scale, which is the receiver's.
            self._counts = np.zeros(scan.full_scale + 1)
            self._median = median
        self._counts *= COUNTS_KEEP
        self._counts += np.bincount(sample.ravel(), minlength=scan.full_scale + 1)[: scan.full_scale + 1]
        kept = self._curve
        self._since_learnt += 1
        is_sure = kept is not None and kept.is_learnt and self._counts.sum() > ENOUGH_COUNTS
        if kept is not None and is_sure and 0 < self._since_learnt < LEARN_EVERY:
            self._curve = replace(kept, noise_counts=noise_level(kept, median))
            return self._curve
        self._since_learnt = 0
        now = learn_curve(self._counts, scan.full_scale, _pulses_a_spoke(scan))
        is_news = kept is None or not kept.is_learnt or self._counts.sum() > ENOUGH_COUNTS
        if kept is not None and kept.is_learnt and now.law != kept.law:
            # The law is the receiver's: only a better fit than the one it was learnt from changes it.
            is_news = is_news and now.misfit < kept.misfit
        if now.is_learnt and is_news:
            self._curve = replace(now, noise_counts=noise_level(now, median)) if now.law != "log" else now
        elif kept is not None and kept.is_learnt and not now.is_zeroed:
            self._curve = replace(kept, noise_counts=noise_level(kept, median))
        else:
            notes.append(
                "the background is cut to zero: the echo scale is assumed"
                if now.is_zeroed
                else "the noise does not show the echo scale: it is assumed"
            )
            self._curve = now
        assert self._curve is not None
        return self._curve


def _pulses_a_spoke(scan: Scan) -> float | None:
    """Return how many pulses a spoke sums, at least one; None where the interval or the turn's length is not known."""
    interval_s = scan.errors.pulse_interval_s
    times = scan.time_ns[scan.is_received]
    if interval_s is None or interval_s <= 0.0 or times.size < 2:
        return None
    spoke_s = (int(times.max()) - int(times.min())) / 1e9 / (scan.n_spoke - 1)
    return max(1.0, spoke_s / interval_s) if spoke_s > 0.0 else None


def _places(scan: Scan, grid: Grid, flat: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return (spoke, range in metres) of the middles of flat blocks."""
    row, col = np.divmod(flat, grid.n_col)
    spoke = (grid.row_edge[row] + grid.row_edge[row + 1]) // 2 % scan.n_spoke
    return spoke, np.maximum(scan.first_cell_m + (col + 0.5) * grid.col_cells * scan.cell_m, 0.0)


def _cells_of(
    bodies: Bodies, which: NDArray[np.bool_], cells: NDArray[np.int64], body: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Return which of ``cells`` belong to the bodies marked in ``which``."""
    if not np.any(which):
        return np.zeros(cells.shape, dtype=np.bool_)
    return np.asarray(np.isin(body[cells], bodies.top[which]))


def design_rate(grid: Grid) -> float:
    """Return the false-alarm rate per box: few enough that a whole turn of noise gives a handful."""
    return min(max(FALSE_BOXES_A_TURN / (grid.n_row * grid.n_col), P_FALSE_LEAST), P_FALSE_MOST)


def _sides(
    strip_db: NDArray[np.float32],
    level: NDArray[np.float32],
    sector: NDArray[np.int64],
    ring: NDArray[np.int64],
    grid: Grid,
) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Return the medians of the reference on the near and the far side of every box, in steps; -1: too little there."""
    steps = np.empty(strip_db.shape, dtype=np.uint8)
    skip = np.empty(strip_db.shape, dtype=np.bool_)
    levels_kernel(
        strip_db, level, sector, ring, _LOW, _STEP, np.float32(SOLID_DB), np.float32(SOLID_OVER_CLUTTER_DB), steps, skip
    )
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


def _spread(coarse: NDArray[np.float32], scan: Scan, grid: Grid) -> NDArray[np.float32]:
    """Return block values over the cells of their blocks, NaN in spokes that were not received."""
    fine = np.empty(scan.echo.shape, dtype=np.float32)
    spread_kernel(np.asarray(coarse, dtype=np.float32), grid.row_edge, grid.col_cells, fine)
    fine[~scan.is_received] = np.nan
    return fine


def _to_db(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return dB; NaN stays NaN."""
    return np.asarray(np.float32(10.0) * np.log10(np.maximum(power, np.float32(1e-6))), dtype=np.float32)


def _to_counts(db: NDArray[np.float32], curve: Curve) -> NDArray[np.float32]:
    """Return the receiver counts of dB above noise."""
    if curve.law == "log" or curve.is_zeroed:
        return np.asarray(curve.noise_counts + db / curve.db_per_count, dtype=np.float32)
    root = 20.0 if curve.law == "linear" else 10.0
    return np.asarray(curve.noise_counts * np.power(10.0, db / root), dtype=np.float32)


def _quiet_counts(scan: Scan) -> NDArray[np.integer]:
    """Return a sample of counts from the quiet parts of the scan: where the highest counts of a patch are lowest.

    The middle of a patch says little: spiky sea leaves most of it at the noise.
    """
    n_sector, n_ring = 16, 16
    rows = np.flatnonzero(scan.is_received)
    if rows.size < n_sector or scan.n_cell < n_ring:
        return np.asarray(scan.echo[rows].ravel())
    row_step = max(1, rows.size // (n_sector * 24))
    col_step = max(1, scan.n_cell // (n_ring * 32))
    sample = scan.echo[rows[::row_step]][:, ::col_step]
    r, c = sample.shape[0] // n_sector, sample.shape[1] // n_ring
    sample = sample[: r * n_sector, : c * n_ring]
    n_level = 4096 if scan.full_scale > 4095 else scan.full_scale + 1
    shift = max(0, int(scan.full_scale).bit_length() - 12)
    row_bin = np.arange(r * n_sector, dtype=np.int64) // r * n_ring
    patch = row_bin[:, None] + (np.arange(c * n_ring, dtype=np.int64) // c)[None, :]
    flat = (patch * n_level + (sample >> shift)).ravel()
    counts = np.bincount(flat, minlength=n_sector * n_ring * n_level).reshape(n_sector * n_ring, n_level)
    cumulative = np.cumsum(counts, axis=1)
    high = np.argmax(cumulative >= 0.97 * r * c, axis=1).astype(np.float64)
    middle = np.argmax(cumulative >= 0.5 * r * c, axis=1).astype(np.float64)
    smooth = ndimage.uniform_filter(high.reshape(n_sector, n_ring), 3, mode=("wrap", "nearest")).ravel()
    low = np.quantile(smooth, 0.06)
    step = 0.06 * max(float(np.median((high - middle)[smooth <= low])), 1.0)
    quiet = smooth <= low + step
    return np.asarray(sample.ravel()[quiet[patch.ravel()]])


def _video(scan: Scan, grid: Grid, curve: Curve) -> Video:
    """Return the scan with the scale and the spike test that suits its beam."""
    db = curve.db(scan.full_scale)
    reach = 0 if grid.beam_spokes < SPIKE_LEAST_BEAM else (1 if grid.beam_spokes < 8.0 else 2)
    # What a point's own beam shape may fall from one spoke to the next, and what fluctuation adds.
    margin_db = SPIKE_MARGIN_DB + 24.08 * (reach / grid.beam_spokes) ** 2
    least = int(np.searchsorted(db, SPIKE_OVER_NOISE_DB))
    if curve.law == "log" or curve.is_zeroed:
        spike = (least, 256, round(256.0 * margin_db / curve.db_per_count))
    else:
        root = 20.0 if curve.law == "linear" else 10.0
        spike = (least, round(256.0 * 10.0 ** (margin_db / root)), 0)
    return Video(scan, db, curve.power(scan.full_scale), np.asarray(spike, dtype=np.int64), reach)


def _segment(
    value_db: NDArray[np.float32],
    threshold_db: NDArray[np.float32],
    mask: NDArray[np.bool_],
    grid: Grid,
    col_m: float,
    cell_looks: float,
    clipped_db: float,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return (flat masked cells, hilltop and body of each flat cell, flat cells of the cores, what hangs together)."""
    cells = np.flatnonzero(mask)
    value = value_db.ravel()
    firm_db = threshold_db.ravel() + np.float32(FAR_FIRM_DB)
    order = cells[np.argsort(-value[cells], kind="stable")]
    basin = np.full(value.size, -1, dtype=np.int64)
    body = np.full(value.size, -1, dtype=np.int64)
    # A pass must lie deeper than chance dips it: three deviations of the row's own speckle, in dB.
    speckle = 3.0 * 4.34 / np.sqrt(max(1.0, grid.box_looks / grid.box_rows * cell_looks))
    depth, far = np.float32(max(PASS_DB, speckle)), np.float32(max(FAR_PASS_DB, speckle))
    row_m = TAU / grid.n_row * np.maximum(col_m * (np.arange(grid.n_col) + 0.5), col_m)
    least = FAR_BEAMS * grid.beam_spokes * grid.n_row / grid.n_spoke - 0.25
    far_rows = np.ceil(np.maximum(least, FAR_APART_M / row_m)).astype(np.int64)
    segment_kernel(value, order, grid.n_row, grid.n_col, depth, far_rows, far, firm_db, basin, body)
    # Strong echoes a beam or two apart join by their skirts, and a row of marks is no shore: what makes a body is
    # joined within the cores of its hills.  The rest of a hill goes with its top.
    # A clipped hill is flat, and its boxes tell how far they are filled with it: its core is where most of them is.
    top_db = value[basin[order]]
    core = order[value[order] >= top_db - np.where(top_db >= clipped_db, CLIPPED_CORE_DB, CORE_DB).astype(np.float32)]
    hill, joined = np.full(value.size, -1, dtype=np.int64), np.full(value.size, -1, dtype=np.int64)
    segment_kernel(value, core, grid.n_row, grid.n_col, depth, far_rows, far, firm_db, hill, joined)
    whole = body.copy()
    body[cells] = joined[basin[cells]]
    return cells, basin, body, np.sort(core), whole
