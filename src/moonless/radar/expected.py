"""The expected scan: mean power and the chance of being seen, without randomness."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.chart.types import Mark
from moonless.radar.environment.propagation import GAS_DB_PER_M
from moonless.radar.kernels.scan_kernels import finish_kernel
from moonless.radar.kernels.sweep_kernels import splat_kernel
from moonless.radar.link.detection import TABLE_SHIFT, clutter_weight, p_detect, p_detect_table
from moonless.radar.mean import LOBE_MEAN_DB, MeanEcho, mean_echo, near_lobes
from moonless.radar.points import PointEchoes, point_echoes
from moonless.radar.targets import target_of_mark
from moonless.radar.types import (
    ExpectedScan,
    MarkExpectation,
    PointTarget,
    RadarPose,
    ScanGrid,
    Swerling,
    Weather,
)
from moonless.radar.world import World

CALM = Weather()
# Enough for asking about marks alone: finer than any small set's beam and near its pulse.
_MARK_SPOKES, _MARK_CELLS = 1024, 768


def expected_scan(
    world: World,
    radar: RadarSet,
    pose: RadarPose,
    grid: ScanGrid,
    scale_nm: float,
    weather: Weather = CALM,
    targets: Sequence[PointTarget] = (),
) -> ExpectedScan:
    """Return what the radar should show: land, built things, charted marks, ``targets``, sea and rain.

    Raises InputError if the grid or the pose cannot be used.
    """
    mean = mean_echo(world, radar, pose, grid, scale_nm, weather, targets)
    echoes = point_echoes([*world.mark_targets, *targets], mean.link, mean.path, pose, grid, mean.shadow_m, mean.water)
    splat(mean, echoes)
    snr, clutter, chance = finish(mean, is_drawn=False)
    return ExpectedScan(
        grid=grid,
        snr=snr,
        clutter_to_noise=clutter,
        p_detect=chance,
        shadow_height_m=mean.shadow_m,
        loss=_fine_loss(mean),
    )


def splat(mean: MeanEcho, echoes: PointEchoes) -> None:
    """Add points to the mean echo's map, with the beam's shape."""
    splat_kernel(
        echoes.spoke,
        echoes.cell,
        echoes.snr,
        mean.beam_spokes,
        max(1, math.ceil(1.6 * mean.beam_spokes)),
        mean.main,
        mean.sectors,
    )


def finish(mean: MeanEcho, *, is_drawn: bool) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Return (power, clutter, chance); for the drawn scan (all but the sea, the sea, nothing)."""
    grid, radar = mean.grid, mean.link.radar
    shape = (grid.n_spoke, grid.n_cell)
    snr = np.empty(shape, dtype=np.float32)
    clutter = np.empty(shape, dtype=np.float32)
    chance = np.empty((0, 0) if is_drawn else shape, dtype=np.float32)
    hits = mean.link.hits
    finish_kernel(
        mean.main,
        near_lobes(mean.sectors),
        mean.sectors.sum(axis=0),
        10.0 ** ((2.0 * radar.side_lobe_near_db + LOBE_MEAN_DB) / 10.0),
        10.0 ** ((2.0 * radar.side_lobe_far_db + LOBE_MEAN_DB) / 10.0),
        mean.half_cells,
        mean.half_rest,
        mean.first_shown,
        mean.is_blind,
        mean.water,
        mean.sea_row,
        mean.wind_row,
        mean.spike_row,
        max(1, round(mean.beam_spokes)),
        mean.rain,
        mean.passed,
        np.float32(clutter_weight(hits)),
        p_detect_table(hits),
        TABLE_SHIFT,
        is_drawn,
        snr,
        clutter,
        chance,
    )
    return snr, clutter, chance


def _fine_loss(mean: MeanEcho) -> NDArray[np.float32]:
    """Return the two-way loss, 1 and more, on the scan's own cells; a view that takes no room when there is no rain."""
    grid = mean.grid
    reach = grid.first_cell_m + np.arange(grid.n_cell) * grid.cell_m
    air = (10.0 ** (0.2 * GAS_DB_PER_M * reach)).astype(np.float32)
    if not mean.passed.size:
        return np.broadcast_to(air, (grid.n_spoke, grid.n_cell))
    n_round, n_out = mean.passed.shape
    row = np.rint(np.arange(grid.n_spoke) * (n_round / grid.n_spoke)).astype(np.int64) % n_round
    col = np.rint(np.linspace(0, n_out - 1, grid.n_cell)).astype(np.int64)
    lost = np.asarray(air / mean.passed[:, col], dtype=np.float32)
    return np.asarray(lost[row], dtype=np.float32)


def expected_marks(
    world: World,
    radar: RadarSet,
    pose: RadarPose,
    scale_nm: float,
    marks: Sequence[Mark | PointTarget],
    weather: Weather = CALM,
    range_m: float | None = None,
) -> tuple[MarkExpectation, ...]:
    """Return what each mark or target should give this turn, in the order asked.

    ``range_m``: how far the picture reaches; the range scale itself unless told.  Beyond it nothing is seen.
    """
    last_m = range_m if range_m is not None else scale_nm * 1852.0
    cell_m = last_m / _MARK_CELLS
    grid = ScanGrid(_MARK_SPOKES, _MARK_CELLS, 0.5 * cell_m, cell_m)
    targets = [m if isinstance(m, PointTarget) else target_of_mark(m) for m in marks]
    mean = mean_echo(world, radar, pose, grid, scale_nm, weather)
    echoes = point_echoes(targets, mean.link, mean.path, pose, grid, mean.shadow_m, mean.water)
    solid, sea, _ = finish(mean, is_drawn=True)
    hits = mean.link.hits
    weight = clutter_weight(hits)
    row = np.rint(echoes.spoke).astype(np.int64) % grid.n_spoke
    col = np.clip(np.rint(echoes.cell).astype(np.int64), 0, grid.n_cell - 1)
    spikes = np.ones(grid.n_cell)
    spikes[: len(mean.spike_row)] = mean.spike_row
    unwanted, beside = sea[row, col] * spikes[col], solid[row, col].astype(np.float64)
    rain, passed = _rain_at(mean, row, col)
    found = []
    for index in range(len(targets)):
        mine = np.flatnonzero(echoes.target == index)
        snr = float(np.sum(echoes.snr[mine] * passed[mine]))
        strongest = int(mine[np.argmax(echoes.snr[mine])])
        ratio = snr / (1.0 + weight * (unwanted[strongest] + rain[strongest]))
        swerling: Swerling = targets[index].swerling
        chance = float(p_detect(ratio, hits, swerling)) if snr > 0.0 else 0.0
        one = targets[index]
        east, north = one.east_m - pose.east_m, one.north_m - pose.north_m
        found.append(
            MarkExpectation(
                index=index,
                range_m=math.hypot(east, north),
                azimuth_rel_rad=(math.atan2(east, north) - pose.heading_rad) % (2.0 * math.pi),
                snr=snr,
                p_detect=chance,
                hidden_by_land=bool(np.all(echoes.is_hidden[mine])),
                beside_snr=max(0.0, float(beside[strongest] - rain[strongest])),
            )
        )
    return tuple(found)


def _rain_at(
    mean: MeanEcho, row: NDArray[np.int64], col: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if not mean.rain.size:
        return np.zeros(len(row)), np.ones(len(row))
    n_round, n_out = mean.rain.shape
    i = np.rint(row * (n_round / mean.grid.n_spoke)).astype(np.int64) % n_round
    j = np.rint(col * ((n_out - 1) / (mean.grid.n_cell - 1))).astype(np.int64)
    return mean.rain[i, j].astype(np.float64), mean.passed[i, j].astype(np.float64)
