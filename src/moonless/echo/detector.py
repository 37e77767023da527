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

from moonless.echo._kernels import (
    blocks_kernel,
    blot_kernel,
    boxes_kernel,
    ordered_kernel,
    peaks_kernel,
    segment_kernel,
    spread_kernel,
)
from moonless.echo.clutter import ClutterMap
from moonless.echo.curve import Curve, learn_curve, noise_level
from moonless.echo.grid import Grid, grid_for
from moonless.echo.memory import P_CANDIDATE, EchoMemory
from moonless.echo.plots import Video, measure
from moonless.echo.shores import group_bodies, is_shore, trace_shores
from moonless.echo.types import EchoPicture
from moonless.scan.types import Scan

P_FALSE = 1e-4  # per box tested, in whatever background
LEVEL_LOW_DB = -14.0
LEVEL_STEP_DB = 1.0 / 3.0  # 256 levels reach 71 dB
SOLID_DB = 25.0  # above noise: stronger than rain; such blocks are no reference for others
SOLID_OVER_CLUTTER_DB = 12.0
STEADY_SHARE = 0.8  # of the remembered turns: met so often, a peak is an echo and does not count as clutter
MOST_PEAKS = 20_000
SPIKE_OVER_NOISE_DB = 10.0
SPIKE_MARGIN_DB = 9.0


@dataclass(frozen=True, slots=True, eq=False)
class Examined:
    """Every box of one turn beside what it was held against; arrays (n_row, n_col), dB above the mean noise."""

    grid: Grid
    curve: Curve
    video: Video
    sector: NDArray[np.int64]  # (n_row,)
    box_db: NDArray[np.float32]
    floor_db: NDArray[np.float32]
    threshold_db: NDArray[np.float32]
    candidate_db: NDArray[np.float32]  # the lower threshold, of candidates
    spikes: int
    notes: tuple[str, ...]


class Detector:
    """Turns scans into plots.  One detector per radar; feed it every turn in order."""

    def __init__(self, p_false: float = P_FALSE) -> None:
        self.p_false = p_false
        self._grid: Grid | None = None
        self._map: ClutterMap | None = None
        self._memory = EchoMemory()
        self._curve: Curve | None = None
        self._full_scale = 0

    def detect(self, scan: Scan) -> EchoPicture:
        """Return the plots, shores and background of one turn.

        A spoke that was not received is unknown: nothing is found there, and floor, threshold and clutter are NaN.
        """
        seen = self.examine(scan)
        grid, box_db = seen.grid, seen.box_db
        weak, is_steady, peaks = self._recall(scan, seen)
        # What the last turns vouch for stands out of the candidates; its hill is what stands over their threshold.
        mask = box_db >= seen.threshold_db  # NaN is never found
        around = np.zeros(mask.shape, dtype=np.bool_)
        blot_kernel(weak, np.full(weak.shape, grid.box_rows, np.int64), grid.box_cols, around)
        mask |= around & (box_db >= seen.candidate_db)
        cells, basin, body = _segment(box_db, mask, grid, seen.curve.looks)
        bodies = group_bodies(cells, body)
        shore = is_shore(bodies, grid, scan, box_db, seen.threshold_db)
        shores = trace_shores(bodies, shore, grid, scan)
        in_shore = np.isin(body[cells], bodies.top[shore]) if np.any(shore) else np.zeros(cells.shape, np.bool_)
        loose = cells[~in_shore]
        tops, number = np.unique(basin[loose], return_inverse=True)
        plots = measure(
            seen.video, grid, loose, number.astype(np.int64), tops, box_db, seen.floor_db, seen.curve.looks
        )
        self._learn_strays(seen, np.concatenate((peaks[is_steady], cells[in_shore])))
        curve = seen.curve
        clutter_db = np.where(np.isfinite(box_db), seen.floor_db, np.float32(np.nan))
        return EchoPicture(
            plots=plots,
            shores=shores,
            floor=_spread(_to_counts(seen.floor_db, curve), scan, grid),
            threshold=_spread(_to_counts(seen.threshold_db, curve), scan, grid),
            clutter_db=_spread(clutter_db, scan, grid),
            db_per_count=curve.db_per_count if curve.is_learnt else None,
            noise_counts=curve.noise_counts,
            spikes_removed=seen.spikes,
            notes=seen.notes,
        )

    def examine(self, scan: Scan) -> Examined:
        """Return each box beside its floor and thresholds; ``detect`` goes on from there."""
        notes: list[str] = []
        grid = grid_for(scan.n_spoke, scan.n_cell, scan.cell_m, scan.errors.beam_rad, scan.errors.pulse_m)
        curve = self._learn(scan, notes)
        if grid is not self._grid or self._map is None:
            self._grid = grid
            self._map = ClutterMap(grid, max(1.0, round(grid.box_looks * curve.looks, 2)), self.p_false)
        video = _video(scan, grid, curve)
        total = np.empty((grid.n_row, grid.n_col), dtype=np.float32)
        weight = np.empty(grid.n_row, dtype=np.int64)
        spikes = blocks_kernel(
            scan.echo, scan.is_received, grid.row_edge, grid.col_cells, video.db, video.power, video.spike_count,
            video.reach, video.margin_db, total, weight,
        )  # fmt: skip
        strip = np.empty_like(total)
        box = np.empty_like(total)
        nominal = round(scan.n_spoke / grid.n_row * grid.box_rows)
        boxes_kernel(total, weight, nominal, grid.box_rows, grid.box_cols, grid.col_cells, grid.n_cell, strip, box)
        strip_db, box_db = _to_db(strip), _to_db(box)
        heading = scan.heading_true_rad[np.minimum(grid.row_edge[:-1], scan.n_spoke - 1)]
        sector = self._map.sector_of_row(heading)
        level = self._map.update_level(strip_db, sector)
        clutter_db = level[sector][:, self._map.ring_of_col]
        floor_db = _floor(strip_db, clutter_db, grid)
        if self._map.turns == 0:
            ratio_db = box_db - floor_db
            usable = np.isfinite(ratio_db) & (strip_db < clutter_db + SOLID_DB)
            self._map.update_strays(ratio_db, usable, sector)
        over = self._map.threshold_db()
        low = np.minimum(self._map.threshold_db(P_CANDIDATE), over)
        ring = self._map.ring_of_col
        threshold_db = floor_db + over.astype(np.float32)[sector][:, ring]
        candidate_db = floor_db + low.astype(np.float32)[sector][:, ring]
        if not scan.is_whole:
            notes.append(f"{np.count_nonzero(~scan.is_received)} of {scan.n_spoke} spokes were not received")
        return Examined(
            grid, curve, video, sector, box_db, floor_db, threshold_db, candidate_db, int(spikes), tuple(notes)
        )

    def _recall(
        self, scan: Scan, seen: Examined
    ) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.int64]]:
        """Return (weak peaks that the last turns vouch for, which of all peaks are steady, all peaks), flat indices."""
        grid = seen.grid
        found = np.empty(MOST_PEAKS, dtype=np.int64)
        n = peaks_kernel(seen.box_db, seen.candidate_db, max(1, grid.box_rows // 2), max(1, grid.box_cols // 2), found)
        peaks = found[:n]
        row, col = np.divmod(peaks, grid.n_col)
        spoke = (grid.row_edge[row] + grid.row_edge[row + 1]) // 2 % scan.n_spoke
        range_m = np.maximum(scan.first_cell_m + (col + 0.5) * grid.col_cells * scan.cell_m, 0.0)
        hits, chance = self._memory.hits(scan, spoke, range_m)
        turns = self._memory.turns
        vouched = self._memory.vouched(hits, chance)
        is_steady = (hits >= max(1, math.ceil(STEADY_SHARE * turns))) & (turns > 0)
        self._memory.remember(scan, spoke, range_m)
        is_weak = seen.box_db.ravel()[peaks] < seen.threshold_db.ravel()[peaks]
        return peaks[vouched & is_weak], is_steady, peaks

    def _learn_strays(self, seen: Examined, echoes: NDArray[np.int64]) -> None:
        """Count how far boxes stray from their floor, save where a known echo and its skirts lie."""
        grid = seen.grid
        assert self._map is not None
        if self._map.turns == 1 and self._memory.turns < 2:
            return  # this is still the first turn, counted already
        ratio_db = seen.box_db - seen.floor_db
        over = np.maximum(ratio_db.ravel()[echoes], 0.0)
        beam_rows = grid.beam_spokes * grid.n_row / grid.n_spoke
        skirt = np.ceil(beam_rows * np.sqrt(over / 24.08) + 0.5 * grid.box_rows).astype(np.int64) + 1
        known = np.zeros(ratio_db.shape, dtype=np.bool_)
        blot_kernel(echoes, np.minimum(skirt, grid.n_row // 8), grid.guard, known)
        self._map.update_strays(ratio_db, np.isfinite(ratio_db) & ~known, seen.sector)

    def _learn(self, scan: Scan, notes: list[str]) -> Curve:
        """Return this turn's curve: the best scale learnt so far at this turn's noise level."""
        if scan.full_scale != self._full_scale:
            self._curve = None
            self._full_scale = scan.full_scale
        sample = _quiet_counts(scan)
        now = learn_curve(sample, scan.full_scale)
        kept = self._curve
        if now.is_learnt:
            # The scale is the receiver's and stays; the level is the gain's and may be turned.  A cleaner look at
            # the noise replaces the scale; old ones fade, lest one lucky turn rule for ever.
            if kept is None or not kept.is_learnt or now.misfit <= kept.misfit:
                self._curve = now
            else:
                self._curve = replace(
                    kept, noise_counts=noise_level(kept, float(np.median(sample))), misfit=kept.misfit * 1.02
                )
        elif kept is not None and kept.is_learnt and not now.is_zeroed:
            notes.append("the noise could not be read this turn; the scale learnt before is kept")
        else:
            notes.append(
                "the background is cut to zero: the echo scale is assumed"
                if now.is_zeroed
                else "the noise does not show the echo scale: it is assumed"
            )
            self._curve = now
        assert self._curve is not None
        return self._curve


def _floor(strip_db: NDArray[np.float32], clutter_db: NDArray[np.float32], grid: Grid) -> NDArray[np.float32]:
    """Return the local floor in dB: the higher of the two sides' medians, without what is solid."""
    known = np.isfinite(strip_db)
    solid = ~known | (strip_db > np.maximum(SOLID_DB, clutter_db + SOLID_OVER_CLUTTER_DB))
    index = np.clip((np.where(known, strip_db, LEVEL_LOW_DB) - LEVEL_LOW_DB) / LEVEL_STEP_DB, 0, 255)
    near = np.empty(strip_db.shape, dtype=np.int16)
    far = np.empty(strip_db.shape, dtype=np.int16)
    ordered_kernel(index.astype(np.uint8), solid, grid.guard, grid.window, max(1, grid.window // 3), near, far)
    higher = np.maximum(near, far)
    floor = LEVEL_LOW_DB + (higher.astype(np.float32) + np.float32(0.5)) * np.float32(LEVEL_STEP_DB)
    return np.where(higher >= 0, floor, clutter_db).astype(np.float32)


def _spread(coarse: NDArray[np.float32], scan: Scan, grid: Grid) -> NDArray[np.float32]:
    """Return block values over the cells of their blocks."""
    fine = np.empty(scan.echo.shape, dtype=np.float32)
    spread_kernel(np.asarray(coarse, dtype=np.float32), grid.row_edge, grid.col_cells, fine)
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
    low = np.quantile(smooth, 0.1)
    step = 0.12 * max(float(np.median((high - middle)[smooth <= low])), 1.0)
    quiet = smooth <= low + step
    return np.asarray(sample.ravel()[quiet[patch.ravel()]])


def _video(scan: Scan, grid: Grid, curve: Curve) -> Video:
    """Return the scan with the scale and the spike test that suits its beam."""
    db = curve.db(scan.full_scale)
    reach = 0 if grid.beam_spokes < 2.5 else (1 if grid.beam_spokes < 8.0 else 2)
    # What a point's own beam shape may fall from one spoke to the next, and what fluctuation adds.
    fall = 24.08 * (reach / grid.beam_spokes) ** 2
    spike_count = int(np.searchsorted(db, SPIKE_OVER_NOISE_DB))
    return Video(scan, db, curve.power(scan.full_scale), spike_count, reach, SPIKE_MARGIN_DB + fall)


def _segment(
    box_db: NDArray[np.float32], mask: NDArray[np.bool_], grid: Grid, cell_looks: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return (flat masked cells, hilltop of each flat cell, body of each flat cell)."""
    cells = np.flatnonzero(mask)
    value = box_db.ravel()
    order = cells[np.argsort(-value[cells], kind="stable")]
    basin = np.full(value.size, -1, dtype=np.int64)
    body = np.full(value.size, -1, dtype=np.int64)
    # A pass must lie deeper than chance dips it: three deviations of the box's own speckle, in dB.
    depth = max(3.0, 3.0 * 4.34 / np.sqrt(max(1.0, grid.box_looks * cell_looks)))
    segment_kernel(value, order, grid.n_row, grid.n_col, np.float32(depth), basin, body)
    return cells, basin, body

