"""The drawn scan: one random turn of the antenna, as the receiver would send it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from moonless.boat.types import RadarSet
from moonless.constants import TAU
from moonless.radar.artefacts import Extras, Mishaps, add_extras, tilt_gain
from moonless.radar.environment.clutter import SHAPE_BOUNDS
from moonless.radar.expected import CALM, finish
from moonless.radar.kernels.scan_kernels import draw_kernel, point_field_kernel, texture_kernel
from moonless.radar.link.receiver import FULL_SCALE, counts_from_snr
from moonless.radar.mean import MeanEcho, mean_echo
from moonless.radar.points import PointEchoes, point_echoes
from moonless.radar.types import PointTarget, RadarPose, ScanGrid, Weather
from moonless.radar.unwanted import sea_shape
from moonless.radar.world import World

Floats32 = NDArray[np.float32]

# The sea's slow unevenness: as long as a wave train's groups.  Common practice, no source.
TEXTURE_ALONG_M = 12.0
TEXTURE_ACROSS_M = 15.0
TEXTURE_S = 3.0
_N_SHAPE = 32
_N_LEVEL = 1024
# Counts are looked up by the leading bits of a float32 power: exponent and nine bits of mantissa, steps of 0.006 dB.
_COUNT_SHIFT = 14


@dataclass(slots=True, eq=False)
class SeaMemory:
    """What of the sea lasts from turn to turn; keep one for each run and hand it to every call."""

    texture: Floats32 | None = None
    time_s: float | None = None


def drawn_scan(
    world: World,
    radar: RadarSet,
    pose: RadarPose,
    grid: ScanGrid,
    scale_nm: float,
    weather: Weather = CALM,
    targets: Sequence[PointTarget] = (),
    rng: np.random.Generator | None = None,
    *,
    memory: SeaMemory | None = None,
    mishaps: Mishaps | None = None,
) -> NDArray[np.uint8]:
    """Return one turn, (n_spoke, n_cell) receiver counts on the curve of `moonless.radar.link.receiver`.

    The same ``rng`` state gives the same turn; None means seed 0.  ``memory`` carries the sea from turn to turn.
    ``mishaps``: what radars do wrong beyond side lobes and saturation, which are always there.
    """
    return _draw(world, radar, pose, grid, scale_nm, weather, targets, rng, memory, mishaps, keep_power=False)[0]


def drawn_power(
    world: World,
    radar: RadarSet,
    pose: RadarPose,
    grid: ScanGrid,
    scale_nm: float,
    weather: Weather = CALM,
    targets: Sequence[PointTarget] = (),
    rng: np.random.Generator | None = None,
) -> Floats32:
    """Return the same turn as power over mean noise before the receiver's curve; noise itself is 1 on the mean."""
    return _draw(world, radar, pose, grid, scale_nm, weather, targets, rng, None, None, keep_power=True)[1]


def _draw(
    world: World,
    radar: RadarSet,
    pose: RadarPose,
    grid: ScanGrid,
    scale_nm: float,
    weather: Weather,
    targets: Sequence[PointTarget],
    rng: np.random.Generator | None,
    memory: SeaMemory | None,
    mishaps: Mishaps | None,
    *,
    keep_power: bool,
) -> tuple[NDArray[np.uint8], Floats32]:
    chance = np.random.default_rng(0) if rng is None else rng
    mean = mean_echo(world, radar, pose, grid, scale_nm, weather, targets)
    everything = [*world.mark_targets, *targets]
    echoes = point_echoes(everything, mean.link, mean.path, pose, grid, mean.shadow_m, mean.water)
    extras = add_extras(world, mean, echoes, pose, mishaps, chance)
    point_re, point_im, has_point = _fields(mean, echoes, extras, chance)
    even, sea, _ = finish(mean, is_drawn=True)
    tilt = tilt_gain(mean, mishaps)
    if tilt is not None:
        for field, gain in ((even, tilt), (sea, tilt), (point_re, np.sqrt(tilt)), (point_im, np.sqrt(tilt))):
            field *= gain[:, np.newaxis].astype(np.float32)
    n_sea = len(mean.sea_row)
    texture = _texture(mean, memory, chance)
    shape = (grid.n_spoke, grid.n_cell)
    counts = np.empty(shape, dtype=np.uint8)
    power = np.empty(shape if keep_power else (0, 0), dtype=np.float32)
    pulses = mean.link.pulses_per_spoke(grid.n_spoke)
    draw_kernel(
        int(chance.integers(1, 2**62)),
        even,
        sea,
        n_sea,
        texture,
        _shape_rows(mean),
        _shape_table(),
        point_re,
        point_im,
        has_point,
        extras.power,
        extras.has_power,
        _normal_table(),
        _rest_table(round(pulses, 3)),
        math.sqrt(0.5 / pulses),
        math.exp(-grid.cell_m / max(mean.link.pulse_m, 1e-3)),
        math.exp(-2.0 / mean.beam_spokes),
        _count_table(),
        _COUNT_SHIFT,
        power,
        counts,
    )
    return counts, power


def fluctuation(swerling: NDArray[np.int64], rng: np.random.Generator) -> NDArray[np.float64]:
    """Return a power factor of mean 1 for each target this turn.

    Cases 1 and 2 exponential, 3 and 4 chi-square of four degrees, 0 steady.  Within one turn the beam passes in a few
    hundredths of a second, so all stay put while it passes.
    """
    factor = np.ones(len(swerling))
    heavy = (swerling == 1) | (swerling == 2)
    factor[heavy] = rng.exponential(size=int(heavy.sum()))
    light = (swerling == 3) | (swerling == 4)
    factor[light] = rng.gamma(2.0, 0.5, size=int(light.sum()))
    return factor


def _fields(
    mean: MeanEcho, echoes: PointEchoes, extras: Extras, rng: np.random.Generator
) -> tuple[Floats32, Floats32, NDArray[np.bool_]]:
    grid = mean.grid
    re = np.zeros((grid.n_spoke, grid.n_cell), dtype=np.float32)
    im = np.zeros((grid.n_spoke, grid.n_cell), dtype=np.float32)
    has_point = np.zeros(grid.n_spoke, dtype=np.bool_)
    spoke = np.concatenate([echoes.spoke, extras.spoke])
    cell = np.concatenate([echoes.cell, extras.cell])
    snr = np.concatenate([echoes.snr, extras.snr])
    swerling = np.concatenate([echoes.swerling, extras.swerling])
    factor = fluctuation(swerling, rng)
    phase = rng.uniform(0.0, TAU, len(snr))
    if mean.passed.size:
        n_round, n_out = mean.passed.shape
        i = np.rint(spoke * (n_round / grid.n_spoke)).astype(np.int64) % n_round
        j = np.clip(np.rint(cell * ((n_out - 1) / (grid.n_cell - 1))), 0, n_out - 1).astype(np.int64)
        snr = snr * mean.passed[i, j]
    shown = (snr > 1e-4) & (cell >= mean.first_shown - 0.5)
    point_field_kernel(
        spoke[shown],
        cell[shown],
        np.sqrt(snr[shown] * factor[shown]),
        phase[shown],
        mean.beam_spokes,
        max(1, math.ceil(1.6 * mean.beam_spokes)),
        mean.half_cells,
        mean.half_rest,
        re,
        im,
        has_point,
    )
    re[mean.is_blind] = 0.0
    im[mean.is_blind] = 0.0
    re[:, : mean.first_shown] = 0.0
    im[:, : mean.first_shown] = 0.0
    return re, im, has_point


def _texture(mean: MeanEcho, memory: SeaMemory | None, rng: np.random.Generator) -> Floats32:
    grid = mean.grid
    n_sea = len(mean.sea_row)
    out = np.empty((grid.n_spoke, n_sea), dtype=np.float32)
    seed = int(rng.integers(1, 2**62))
    if n_sea == 0:
        return out
    reach = grid.first_cell_m + np.arange(n_sea) * grid.cell_m
    along = math.exp(-grid.cell_m / TEXTURE_ALONG_M)
    # Never finer than the beam, which averages what is smaller.
    beam = mean.link.radar.beam_horizontal_rad
    across = np.maximum(TEXTURE_ACROSS_M, 0.5 * beam * reach)
    round_row = np.exp(-reach * (TAU / grid.n_spoke) / across)
    keep, old = 0.0, out
    if memory is not None and memory.texture is not None and memory.texture.shape == out.shape:
        keep, old = math.exp(-mean.link.turn_s / TEXTURE_S), memory.texture
    else:
        out[:] = 0.0
    texture_kernel(
        seed,
        _normal_table(),
        along,
        math.sqrt(1.0 - along * along),
        round_row,
        np.sqrt(1.0 - round_row**2),
        keep,
        old,
        out,
    )
    if memory is not None:
        memory.texture = out
    return out


_SHAPES = np.geomspace(*SHAPE_BOUNDS, _N_SHAPE)


def _shape_rows(mean: MeanEcho) -> NDArray[np.int64]:
    """Return (n_sea,) the row of the shape table for each range."""
    grid = mean.grid
    reach = np.maximum(grid.first_cell_m + np.arange(len(mean.sea_row)) * grid.cell_m, 1.0)
    nu = sea_shape(mean.path, mean.link, reach)
    least, greatest = SHAPE_BOUNDS
    row = np.log(nu / least) / math.log(greatest / least) * (_N_SHAPE - 1)
    return np.asarray(np.clip(np.rint(row), 0, _N_SHAPE - 1), dtype=np.int64)


@lru_cache(maxsize=1)
def _shape_table() -> Floats32:
    """Return (_N_SHAPE, _N_LEVEL): the gamma quantile, mean 1, that belongs to a unit Gaussian level in -4..4."""
    level = (np.arange(_N_LEVEL) + 0.5) * (8.0 / _N_LEVEL) - 4.0
    share = special.ndtr(level)
    weight = np.diff(special.ndtr(np.arange(_N_LEVEL + 1) * (8.0 / _N_LEVEL) - 4.0))
    # The outermost levels stand for everything beyond.
    weight[0] += special.ndtr(-4.0)
    weight[-1] += special.ndtr(-4.0)
    table = np.stack([special.gammaincinv(nu, share) / nu for nu in _SHAPES])
    table /= np.sum(table * weight, axis=1, keepdims=True)
    return np.asarray(table, dtype=np.float32)


@lru_cache(maxsize=1)
def _normal_table() -> Floats32:
    """Return (65536,) quantiles of the unit normal."""
    table = special.ndtri((np.arange(65536) + 0.5) / 65536.0)
    return np.asarray(table / table.std(), dtype=np.float32)


@lru_cache(maxsize=32)
def _rest_table(pulses: float) -> Floats32:
    """Return (65536,) quantiles of the noise left beside the coherent part when ``pulses`` are averaged.

    The power of n averaged pulses of signal and noise is |s + m|^2 + r: m complex Gaussian of power 1/n, r gamma of
    shape n - 1 over n.  Their sum has the noncentral chi-square law of a square-law detector, exactly.
    """
    if pulses <= 1.0 + 1e-6:
        return np.zeros(65536, dtype=np.float32)
    table = special.gammaincinv(pulses - 1.0, (np.arange(65536) + 0.5) / 65536.0) / pulses
    # Equal steps miss a little of the tail; the mean must be right.
    return np.asarray(table * ((1.0 - 1.0 / pulses) / table.mean()), dtype=np.float32)


@lru_cache(maxsize=1)
def _count_table() -> NDArray[np.uint8]:
    bits = np.arange(1 << (31 - _COUNT_SHIFT), dtype=np.int64)
    middle = np.minimum((bits << _COUNT_SHIFT) + (1 << (_COUNT_SHIFT - 1)), 0x7F7FFFFF)
    table = counts_from_snr(middle.astype(np.int32).view(np.float32))
    table[bits >= (0x7F7FFFFF >> _COUNT_SHIFT)] = FULL_SCALE
    return table
