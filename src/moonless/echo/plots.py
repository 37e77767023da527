"""From hills on the grid to plots: centroid, extent, strength, and how well each is known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.echo.grid import Grid
from moonless.echo.kernels.video_kernels import measure_kernel
from moonless.echo.shores import CLIPPED_BEAMS, CLIPPED_PULSES
from moonless.echo.types import FalseCause, Plots
from moonless.scan.types import Scan

Floats = NDArray[np.float64]

GATE_DB = 10.0  # blocks this close under the peak weigh in the centroid; design/echo/sigma.py
RESOLVED = 1.35  # a second moment this many times a point's is an extent; design/echo/sigma.py
# An echo this many times as wide (in second moment) as a point; its middle wanders by so much of what is beyond it.
# Own figures: false tracks beside pairs of marks a beam apart fell by a third to a half.
WIDE, WANDER = 1.1, 0.7
# How far the middle of a clipped echo wanders, of its own width and depth: half of what each edge does.  Seen in real
# video: 0.5 deg for echoes 8 deg wide, 10 m for 120 m deep.
EDGES_OF_WIDTH = 0.07
LN16 = 4.0 * math.log(2.0)


@dataclass(frozen=True, slots=True, eq=False)
class ScaledScan:
    """One scan with its learnt scale and its spike test, as the kernels take them."""

    scan: Scan
    db: NDArray[np.float32]  # (full_scale + 1,)
    power: NDArray[np.float32]
    spike: NDArray[np.int64]  # (3,) least count, factor and offset in 256ths: see ``blocks_kernel``
    reach: int


@lru_cache(maxsize=32)
def point_moments(beam_spokes: float, pulse_cells: float, row_spokes: float, col_cells: int) -> tuple[float, float]:
    """Return (azimuth, range) second moments in spokes^2 and cells^2 that a point shows within the gate."""

    def moment(profile: Floats, x: Floats, hop: float, box: float) -> float:
        step = x[1] - x[0]
        width = max(1, round(box / step))
        smooth = np.convolve(profile, np.ones(width) / width, mode="same")
        block = max(1, round(hop / step))
        held = smooth >= smooth.max() * 10.0 ** (-GATE_DB / 10.0)
        # Blocks are kept whole: the gate reaches half a block further on each side on average.
        held = np.convolve(held.astype(float), np.ones(block), mode="same") > 0.5 * block
        w = profile * held
        mean = float((w * x).sum() / w.sum())
        return float((w * (x - mean) ** 2).sum() / w.sum())

    x = np.linspace(-3.0 * beam_spokes, 3.0 * beam_spokes, 6001)
    azimuth = moment(np.exp(-2.0 * LN16 * (x / beam_spokes) ** 2), x, row_spokes, 3.0 * row_spokes)
    y = np.linspace(-3.0 * pulse_cells, 3.0 * pulse_cells, 6001)
    range_ = moment((np.abs(y) <= 0.5 * pulse_cells).astype(float), y, float(col_cells), 3.0 * col_cells)
    # Cells and spokes sample the profile; rounding to their middles adds 1/12.
    return azimuth + 1.0 / 12.0, range_ + 1.0 / 12.0


def measure(
    video: ScaledScan,
    grid: Grid,
    cells: NDArray[np.int64],
    number: NDArray[np.int64],
    peak_cell: NDArray[np.int64],
    box_db: NDArray[np.float32],
    floor_db: NDArray[np.float32],
    cell_looks: float,
) -> Plots:
    """Return the plots of ``cells`` (m,), plot ``number`` (m,), with the block of each plot's peak (n,)."""
    scan = video.scan
    n = peak_cell.shape[0]
    flat_db, flat_floor = box_db.ravel(), floor_db.ravel()
    cells, number, of_peak = whole_boxes(grid, cells, number, peak_cell)
    gate = of_peak | (flat_db[cells] >= flat_db[peak_cell][number] - GATE_DB)
    sums = np.zeros((n, 12), dtype=np.float64)
    peak_count = np.zeros(n, dtype=np.int64)
    n_cells = np.zeros(n, dtype=np.int64)
    clipped = np.zeros(n, dtype=np.bool_)
    measure_kernel(
        scan.echo, scan.is_received, grid.row_edge, grid.col_cells, video.power, video.spike, video.reach,
        scan.full_scale, cells, number, peak_cell, gate, grid.n_row, grid.n_col, sums, peak_count, n_cells, clipped,
    )  # fmt: skip
    # The floor beneath comes off as a flat pedestal, yet never so much that little weight is left.
    beneath = np.power(10.0, flat_floor[peak_cell].astype(np.float64) / 10.0)
    held = np.maximum(sums[:, 6], 1.0)
    sums = sums[:, :6] - np.minimum(beneath, 0.7 * sums[:, 0] / held)[:, None] * sums[:, 6:]
    weight = np.maximum(sums[:, 0], 1e-12)
    mean_s, mean_r = sums[:, 1] / weight, sums[:, 2] / weight
    var_s = np.maximum(sums[:, 3] / weight - mean_s**2, 0.0)
    var_r = np.maximum(sums[:, 4] / weight - mean_r**2, 0.0)
    cov = sums[:, 5] / weight - mean_s * mean_r
    peak_row, peak_col = np.divmod(peak_cell, grid.n_col)
    spoke = np.mod(grid.row_edge[peak_row] + mean_s, scan.n_spoke)
    range_m = scan.first_cell_m + (peak_col * grid.col_cells + mean_r) * scan.cell_m
    nearest = np.rint(spoke).astype(np.int64) % scan.n_spoke
    snr = np.maximum(10.0 ** ((flat_db[peak_cell] - flat_floor[peak_cell]) / 10.0) - 1.0, 0.05)
    azimuth_sigma, range_sigma = centroid_sigmas(grid, scan.cell_m, snr, cell_looks, clipped)
    # What is wider than a point is several, whose middle wanders between them as their echoes add and cancel.
    point_s, point_r = _smear(grid, clipped)
    wander = np.sqrt(np.maximum(var_s - WIDE * point_s, 0.0)) * (TAU / scan.n_spoke)
    azimuth_sigma = np.hypot(azimuth_sigma, WANDER * wander)
    # The middle of a flat top is the middle between its two edges, and where these lie changes with its strength.
    edge = np.where(clipped, EDGES_OF_WIDTH, 0.0)
    azimuth_sigma = np.hypot(azimuth_sigma, edge * np.sqrt(12.0 * np.minimum(var_s, point_s)) * (TAU / scan.n_spoke))
    range_sigma = np.hypot(range_sigma, edge * np.sqrt(12.0 * np.minimum(var_r, point_r)) * scan.cell_m)
    range_ext, cross_ext, orientation = _extents(
        scan, (point_s, point_r), var_s, var_r, cov, np.maximum(range_m, scan.cell_m)
    )
    return Plots(
        time_ns=scan.time_ns[nearest].copy(),
        range_m=range_m,
        azimuth_rel_rad=np.mod(spoke * (TAU / scan.n_spoke), TAU),
        heading_true_rad=scan.heading_true_rad[nearest].copy(),
        own_lat_deg=scan.lat_deg[nearest].copy(),
        own_lon_deg=scan.lon_deg[nearest].copy(),
        range_sigma_m=range_sigma,
        azimuth_sigma_rad=azimuth_sigma,
        range_extent_m=range_ext,
        cross_extent_m=cross_ext,
        orientation_rel_rad=np.where(
            np.isfinite(orientation), np.mod(spoke * (TAU / scan.n_spoke) + orientation, math.pi), np.nan
        ),
        strength_db=(flat_db[peak_cell] - flat_floor[peak_cell]).astype(np.float64),
        peak_count=peak_count.astype(np.float64),
        n_cells=n_cells,
        is_clipped=clipped,
        false_parent=np.full(n, -1, dtype=np.int64),
        false_cause=cast_causes(n),
    )


def whole_boxes(
    grid: Grid, cells: NDArray[np.int64], number: NDArray[np.int64], peak_cell: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Return (cells, number) with the rest of each peak's box added, and which cells lie in their plot's peak box.

    A weak echo passes in one box only, and its energy lies in all of that box, not in its middle block.  What is
    another plot's already stays there.
    """
    owner = np.full(grid.n_row * grid.n_col, -1, dtype=np.int64)
    of_peak = np.zeros(owner.size, dtype=np.bool_)
    plot = np.arange(peak_cell.size, dtype=np.int64)
    row, col = np.divmod(peak_cell, grid.n_col)
    owner[cells] = number
    for dr in range(grid.box_rows):
        for dc in range(grid.box_cols):
            at_col = col + dc - grid.box_cols // 2
            inside = (at_col >= 0) & (at_col < grid.n_col)
            at = ((row + dr - grid.box_rows // 2) % grid.n_row) * grid.n_col + at_col
            at, mine = at[inside], plot[inside]
            owner[at] = np.where(owner[at] < 0, mine, owner[at])
            of_peak[at[owner[at] == mine]] = True
    held = np.flatnonzero(owner >= 0)
    return held, owner[held], of_peak[held]


def cast_causes(n: int) -> tuple[FalseCause | None, ...]:
    """Return ``n`` times None, typed as causes."""
    return (None,) * n


# Fitted by design/echo/sigma.py to made echoes of 6 to 40 dB; the floors are what remains when noise is gone.
AZIMUTH_NOISE, AZIMUTH_FLOOR = 0.45, 0.02  # of the beam
# An echo that changes from spoke to spoke shifts its own middle; half of what full change would do.
SCINTILLATION = 0.15  # beams, over the root of the spokes in a beam
RANGE_NOISE, RANGE_FLOOR = 0.42, 0.03  # of the pulse


def centroid_sigmas(
    grid: Grid, cell_m: float, snr: Floats, cell_looks: float, clipped: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Return (azimuth in rad, range in m) standard deviations of centroids of boxes with this mean SNR."""
    looks = max(1.0, grid.box_looks * cell_looks)
    # Output SNR of summed looks: the square of the mean's rise over its spread.
    energy = looks * snr**2 / (1.0 + 2.0 * snr)
    share = 1.0 / np.sqrt(1.0 + energy)
    beam_rad = grid.beam_spokes * TAU / grid.n_spoke
    pulse_m = grid.pulse_cells * cell_m
    # A flat top hides where the peak stood.
    flat = np.where(clipped, 1.5, 1.0)
    floor = math.hypot(AZIMUTH_FLOOR, SCINTILLATION / math.sqrt(grid.beam_spokes))
    azimuth = beam_rad * np.hypot(AZIMUTH_NOISE * share, floor) * flat
    range_ = pulse_m * np.hypot(RANGE_NOISE * share, RANGE_FLOOR) * flat
    return np.hypot(azimuth, 0.1 * TAU / grid.n_spoke), np.hypot(range_, 0.1 * cell_m)


def _smear(grid: Grid, clipped: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return (n,) second moments in spokes^2 and in cells^2 that a point may show, a clipped one however strong."""
    point_s, point_r = point_moments(grid.beam_spokes, grid.pulse_cells, grid.n_spoke / grid.n_row, grid.col_cells)
    # A bar of length L has variance L^2 / 12.
    most_s = max(point_s, (CLIPPED_BEAMS * grid.beam_spokes) ** 2 / 12.0 / RESOLVED)
    most_r = max(point_r, (CLIPPED_PULSES * grid.pulse_cells) ** 2 / 12.0 / RESOLVED)
    return np.where(clipped, most_s, point_s), np.where(clipped, most_r, point_r)


def _extents(
    scan: Scan, point: tuple[Floats, Floats], var_s: Floats, var_r: Floats, cov: Floats, range_m: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return (along range, across, orientation from the line of sight) with a point's own smear taken out."""
    point_s, point_r = point
    across_m = range_m * TAU / scan.n_spoke
    v_cross = np.where(var_s > RESOLVED * point_s, (var_s - point_s) * across_m**2, 0.0)
    v_range = np.where(var_r > RESOLVED * point_r, (var_r - point_r) * scan.cell_m**2, 0.0)
    # A bar of length L has variance L^2 / 12.
    cross, along = np.sqrt(12.0 * v_cross), np.sqrt(12.0 * v_range)
    c = cov * across_m * scan.cell_m
    resolved = (v_cross > 0.0) | (v_range > 0.0)
    angle = 0.5 * np.arctan2(2.0 * c, v_range - v_cross)
    return along, cross, np.where(resolved, angle, np.nan)
