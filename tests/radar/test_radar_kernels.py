"""Compiled loops against their readable twins."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.boat import GENERIC_SETS
from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M
from moonless.radar.environment.multipath import LAND_TOP_M, Path, land_table, two_way_factor
from moonless.radar.expected import finish
from moonless.radar.kernels import reference
from moonless.radar.kernels.field_kernels import hidden_kernel
from moonless.radar.kernels.scan_kernels import point_field_kernel
from moonless.radar.kernels.sweep_kernels import _below, smear_azimuth_kernel, splat_kernel
from moonless.radar.link.detection import clutter_weight, p_detect
from moonless.radar.mean import mean_echo, near_lobes
from moonless.radar.types import RadarPose, RainCell, ScanGrid, Weather
from moonless.radar.world import World
from moonless.sight.shadow import edge_before

RADOME = GENERIC_SETS["small radome"]
unhurried = settings(deadline=None, max_examples=60)  # the first example pays for compilation


@unhurried
@given(
    antenna=st.floats(0.5, 40.0),
    target=st.floats(0.05, 80.0),
    range_m=st.floats(5.0, 60_000.0),
    waves=st.floats(0.0, 1.5),
    polarisation=st.sampled_from(["H", "V"]),
)
def test_field(antenna: float, target: float, range_m: float, waves: float, polarisation) -> None:
    path = Path(antenna, 0.0319, polarisation, waves)
    fast = float(two_way_factor(path, np.array([range_m]), np.array([target]))[0])
    # The Bessel polynomial is good to 2e-7; in a null the difference of nearly equal rays magnifies that.
    assert fast == pytest.approx(reference.two_way_factor(path, range_m, target), rel=1e-4, abs=1e-5)


def test_profile_of_a_coast(coast: World) -> None:
    grid = ScanGrid(64, 200, 5.0, 10.0)
    mean = mean_echo(coast, RADOME, RadarPose(0.0, 0.0, 0.0), grid, 1.5, Weather())
    reach = np.maximum(grid.first_cell_m + np.arange(200) * grid.cell_m, 5.0)
    # Straight ahead the island stands from 950 to 1450 m; its heights as the raster has them.
    raster = coast.raster
    row = np.rint((reach - raster.south_m) / raster.step_m).astype(int)
    col = round((0.0 - raster.west_m) / raster.step_m)
    inside = (reach > 950.0) & (reach < 1450.0)
    height = np.where(inside, raster.height_m[row, col], 0.0)
    want = reference.shadow_height(height, reach, RADOME.height_m)
    got = mean.shadow_m[0].astype(float)
    # The kernel reads heights between cells, the twin the nearest: near equal where land is nearly level.
    np.testing.assert_allclose(got[:95], want[:95], atol=1e-3)
    np.testing.assert_allclose(got[110:], want[110:], rtol=0.03, atol=0.1)
    assert np.array_equal(mean.water[0] == 0, (height > 0) | (got > 0.05))


@unhurried
@given(row=st.integers(0, 255), height=st.floats(0.0, 120.0))
def test_land_table_is_read_between_heights(row: int, height: float) -> None:
    table = land_table(Path(3.0, 0.0319, "H", 0.1), 50.0, 10_000.0)
    assert _below(table, row, height, LAND_TOP_M) == pytest.approx(
        reference.below(table[row], height), rel=1e-4, abs=1e-6
    )


@unhurried
@given(seed=st.integers(0, 10_000), beam=st.floats(1.0, 12.0), density=st.floats(0.0, 1.0))
def test_smear_azimuth(seed: int, beam: float, density: float) -> None:
    rng = np.random.default_rng(seed)
    raw = (rng.exponential(size=(64, 33)) * (rng.random((64, 33)) < density)).astype(np.float32)
    reach = max(1, int(1.6 * beam))
    taps = np.exp(-5.5 * (np.arange(-reach, reach + 1) / beam) ** 2).astype(np.float32)
    out, sectors = np.zeros_like(raw), np.zeros((16, 33))
    smear_azimuth_kernel(raw, taps, out, sectors)
    np.testing.assert_allclose(out, reference.smear_azimuth(raw, taps), rtol=1e-4, atol=1e-5)
    np.testing.assert_allclose(sectors, raw.reshape(16, 4, 33).sum(axis=1), rtol=1e-5)


@pytest.mark.parametrize("weather", [Weather(), Weather(1.9, 0.4, 9.0, 2.0, (RainCell(300.0, 900.0, 300.0, 20.0),))])
def test_finish(coast: World, weather: Weather) -> None:
    grid = ScanGrid(128, 160, 6.0, 12.0)
    blind = ((math.radians(170.0), math.radians(190.0)),)
    from dataclasses import replace

    radar = replace(RADOME, blind_sectors_rad=blind)
    mean = mean_echo(coast, radar, RadarPose(0.0, 0.0, 0.2), grid, 1.5, weather)
    everything, sea, _ = finish(mean, is_drawn=True)
    snr, clutter, chance = finish(mean, is_drawn=False)
    share = reference.water_in_beam(mean.water, max(1, round(mean.beam_spokes)))
    n_sea = len(mean.sea_row)
    want_sea = np.zeros((128, 160))
    want_sea[:, :n_sea] = mean.sea_row * mean.wind_row[:, None] * share[:, :n_sea]
    passed = np.ones((128, 160))
    rained = np.zeros((128, 160))
    if mean.rain.size:
        na, nb = mean.rain.shape
        a, b = np.arange(128) * na / 128, np.arange(160) * (nb - 1) / 159
        passed = _between(mean.passed, a, b)
        rained = _between(mean.rain, a, b)
    shown = np.ones((128, 160), dtype=bool)
    shown[mean.is_blind] = False
    shown[:, : mean.first_shown] = False
    np.testing.assert_allclose(sea, want_sea * passed * shown, rtol=1e-3, atol=1e-6)
    lobes = near_lobes(mean.sectors)
    far = mean.sectors.sum(axis=0)
    from moonless.radar.mean import LOBE_MEAN_DB

    near_gain = 10 ** ((2 * radar.side_lobe_near_db + LOBE_MEAN_DB) / 10)
    far_gain = 10 ** ((2 * radar.side_lobe_far_db + LOBE_MEAN_DB) / 10)
    for i in (0, 5, 40, 127):
        x = (i + 0.5) * 64 / 128 - 0.5
        s, f = math.floor(x), x - math.floor(x)
        near = lobes[s % 64] * (1 - f) + lobes[(s + 1) % 64] * f
        row = (mean.main[i] + near_gain * near + far_gain * far) * passed[i]
        want = (reference.smear_range(row, mean.half_cells, mean.half_rest) + rained[i]) * shown[i]
        np.testing.assert_allclose(everything[i], want, rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(snr, everything + sea, rtol=1e-4, atol=1e-6)
    # The chance is that of what stands there against noise and weighed clutter.
    spikes = np.ones(160)
    spikes[:n_sea] = mean.spike_row
    level = (everything - rained * shown) / (
        1.0 + clutter_weight(mean.link.hits) * (want_sea * passed * spikes + rained)
    )
    found = np.where(shown, p_detect(np.maximum(level, 0.0), mean.link.hits), 0.0)
    assert np.max(np.abs(found - chance)) < 0.04
    np.testing.assert_allclose(clutter, (want_sea * passed + rained) * shown, rtol=1e-3, atol=1e-6)
    assert np.all(chance[mean.is_blind] == 0.0) and np.all(chance <= 1.0)


def _between(coarse: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    a0, b0 = a.astype(int), np.minimum(b.astype(int), coarse.shape[1] - 2)
    fa, fb = (a - a0)[:, None], (b - b0)[None, :]
    a1 = (a0 + 1) % coarse.shape[0]
    low = coarse[a0][:, b0] * (1 - fb) + coarse[a0][:, b0 + 1] * fb
    high = coarse[a1][:, b0] * (1 - fb) + coarse[a1][:, b0 + 1] * fb
    return low * (1 - fa) + high * fa


@unhurried
@given(spoke=st.integers(0, 63), cell=st.integers(0, 210), height=st.floats(0.1, 30.0))
def test_hidden(coast: World, spoke: int, cell: int, height: float) -> None:
    grid = ScanGrid(64, 200, 5.0, 10.0)
    path = Path(RADOME.height_m, 0.0319, "H", 0.1)
    mean = mean_echo(coast, RADOME, RadarPose(0.0, 0.0, 0.0), grid, 1.5, Weather())
    factor, hides = hidden_kernel(
        np.array([spoke]), np.array([cell]), np.array([[height]]), mean.shadow_m, mean.water,
        grid.first_cell_m, grid.cell_m, path.antenna_m, path.wavelength_m, RE_M,
    )  # fmt: skip
    want, below = reference.hidden(spoke, cell, height, mean.shadow_m, mean.water, grid, path)
    # Heights of the edge are kept as float32: centimetres, which the loss feels in its second figure.
    assert factor[0, 0] == pytest.approx(want, rel=0.05)
    assert hides[0] == pytest.approx(below, rel=1e-5)


def test_the_edge_is_the_island(coast: World) -> None:
    grid = ScanGrid(64, 200, 5.0, 10.0)
    mean = mean_echo(coast, RADOME, RadarPose(0.0, 0.0, 0.0), grid, 1.5, Weather())
    edge = edge_before(mean.shadow_m[0], grid.first_cell_m, grid.cell_m, 1900.0, RADOME.height_m)
    assert edge is not None and 950.0 <= edge.range_m <= 1450.0
    assert edge.height_m == pytest.approx(9.0, abs=1.0)  # low land with trees: the default height
    assert edge_before(mean.shadow_m[32], grid.first_cell_m, grid.cell_m, 1900.0, RADOME.height_m) is None


def test_a_point_has_the_beam_and_the_pulse() -> None:
    out, sectors = np.zeros((128, 50), dtype=np.float32), np.zeros((64, 50))
    splat_kernel(np.array([20.25]), np.array([10.2]), np.array([100.0]), 8.0, 13, out, sectors)
    assert out.max() == pytest.approx(100.0, rel=0.01)
    # Half power one way is a quarter there and back, at half a beam from the middle.
    assert out[24, 10] == pytest.approx(100.0 * 0.5 ** (2 * (3.75 / 4.0) ** 2), rel=1e-3)
    assert np.count_nonzero(out[:, 11:]) == 0 and sectors.sum() == pytest.approx(100.0)
    re, im, has = np.zeros((128, 50), np.float32), np.zeros((128, 50), np.float32), np.zeros(128, np.bool_)
    point_field_kernel(
        np.array([20.25]), np.array([10.2]), np.array([10.0]), np.array([0.3]), 8.0, 13, 2, 0.5, re, im, has
    )
    power = re.astype(float) ** 2 + im.astype(float) ** 2
    np.testing.assert_allclose(power[:, 10], out[:, 10], rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(power[20, 7:14], power[20, 10] * np.array([0.5, 1, 1, 1, 1, 1, 0.5]), rtol=1e-3)


@unhurried
@given(seed=st.integers(1, 2**62), n_spoke=st.integers(1, 12), n_sea=st.integers(1, 19), keep=st.floats(0.0, 1.0))
def test_texture(seed: int, n_spoke: int, n_sea: int, keep: float) -> None:
    from moonless.radar.drawn import _normal_table
    from moonless.radar.kernels.scan_kernels import texture_kernel

    rng = np.random.default_rng(seed % 1000)
    old = rng.standard_normal((n_spoke, n_sea)).astype(np.float32)
    round_row = rng.random(n_sea)
    out = np.zeros_like(old)
    texture_kernel(seed, _normal_table(), 0.6, 0.8, round_row, np.sqrt(1.0 - round_row**2), keep, old, out)
    want = reference.texture(seed, _normal_table(), 0.6, round_row, keep, old)
    np.testing.assert_allclose(out, want, rtol=1e-5, atol=1e-5)


@unhurried
@given(seed=st.integers(1, 2**62), n_spoke=st.integers(1, 8), n_cell=st.integers(1, 17), quiet=st.floats(0.0, 1.0))
def test_draw(seed: int, n_spoke: int, n_cell: int, quiet: float) -> None:
    from moonless.radar.drawn import _COUNT_SHIFT, _count_table, _normal_table, _rest_table, _shape_table
    from moonless.radar.kernels.scan_kernels import draw_kernel
    from moonless.radar.link.receiver import counts_from_snr

    rng = np.random.default_rng(seed % 1000)
    shape = (n_spoke, n_cell)
    even = (rng.exponential(50.0, shape) * (rng.random(shape) > quiet)).astype(np.float32)
    n_sea = n_cell // 2
    sea = np.zeros(shape, dtype=np.float32)
    sea[:, :n_sea] = rng.exponential(20.0, (n_spoke, n_sea))
    texture = rng.standard_normal((n_spoke, n_sea)).astype(np.float32)
    row = rng.integers(0, 32, n_sea)
    point = (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)).astype(np.complex64)
    has_point = rng.random(n_spoke) > 0.5
    power, counts = np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.uint8)
    along, round_, sigma = 0.7, 0.9, 0.3
    draw_kernel(
        seed, even, sea, n_sea, texture, row, _shape_table(), np.ascontiguousarray(point.real),
        np.ascontiguousarray(point.imag), has_point, np.zeros((0, 0), np.float32), np.zeros(n_spoke, np.bool_),
        _normal_table(), _rest_table(2.5), sigma, along, round_, _count_table(), _COUNT_SHIFT, power, counts,
    )  # fmt: skip
    level = np.clip(((texture + 4.0) * 128.0).astype(int), 0, 1023)
    mean = even.astype(np.float64)
    mean[:, :n_sea] += sea[:, :n_sea] * _shape_table()[row, level]
    want = reference.draw(
        seed, mean, point * has_point[:, None], _normal_table(), _rest_table(2.5), sigma, along, round_
    )
    np.testing.assert_allclose(power, want, rtol=2e-4, atol=1e-5)
    # The table's steps are 0.006 dB: a count may round the other way, never more.
    assert np.max(np.abs(counts.astype(int) - counts_from_snr(want).astype(int))) <= 1
