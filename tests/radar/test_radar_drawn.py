"""The drawn scan: its statistics are those it claims, and its mean is the expected scan."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special, stats

from moonless.boat import GENERIC_SETS
from moonless.radar.artefacts import Mishaps, Sart
from moonless.radar.drawn import SeaMemory, drawn_power, drawn_scan, fluctuation
from moonless.radar.expected import expected_scan
from moonless.radar.link.receiver import FULL_SCALE, NOISE_COUNT, counts_from_snr, counts_of, snr_db_from_counts
from moonless.radar.mean import mean_echo
from moonless.radar.types import PointTarget, RadarPose, RainCell, ScanGrid, Weather
from moonless.radar.unwanted import sea_shape
from moonless.radar.world import World

RADOME = GENERIC_SETS["small radome"]
HERE = RadarPose(0.0, 0.0, 0.0)
FLAT = Weather(wave_height_m=0.0, wind_speed=0.0)
GRID = ScanGrid(512, 256, 7.0, 7.0)


def test_noise_has_the_law_of_averaged_pulses(open_water: World) -> None:
    # 2100 pulses a second, a turn in 2.5 s, 512 spokes: 10.25 pulses a spoke, averaged: gamma of that shape, mean 1.
    power = drawn_power(open_water, RADOME, HERE, GRID, 0.75, FLAT, rng=np.random.default_rng(5))
    pulses = 2100.0 * 2.5 / 512.0
    sample = power[:, 10:].ravel()[:20_000].astype(float)
    found = stats.kstest(sample, stats.gamma(pulses, scale=1.0 / pulses).cdf)
    assert found.pvalue > 1e-3
    assert power.mean() == pytest.approx(1.0, abs=0.005)
    # The tail, where false alarms come from: one in a thousand is one in a thousand.
    limit = stats.gamma(pulses, scale=1.0 / pulses).isf(1e-3)
    assert np.mean(power > limit) == pytest.approx(1e-3, rel=0.25)


def test_noise_of_one_pulse_is_exponential(open_water: World) -> None:
    # More spokes than pulses: each spoke is one pulse, power exponential.
    grid = ScanGrid(8192, 64, 7.0, 7.0)
    power = drawn_power(open_water, RADOME, HERE, grid, 0.75, FLAT, rng=np.random.default_rng(6))
    sample = power[:, 10:].ravel()[:20_000].astype(float)
    assert stats.kstest(sample, stats.expon.cdf).pvalue > 1e-3


def test_sea_is_k_distributed(open_water: World) -> None:
    # One range, many turns far apart, every twentieth spoke: independent looks at the sea.  Where the sea is 30 dB over
    # the noise the power is K distributed: exponential, its mean gamma distributed with the shape of that range.
    wind = Weather(wave_height_m=3.0, wind_speed=0.0)
    grid = ScanGrid(256, 64, 10.0, 20.0)
    mean = mean_echo(open_water, RADOME, HERE, grid, 0.75, wind)
    j = 12
    reach = grid.first_cell_m + j * grid.cell_m
    level = mean.sea_row[j] * mean.wind_row
    assert level.min() > 100.0
    rng = np.random.default_rng(7)
    looks = []
    for _ in range(60):
        power = drawn_power(open_water, RADOME, HERE, grid, 0.75, wind, rng=rng)
        looks.append(power[::32, j] / level[::32])
    sample = np.concatenate(looks).astype(float)
    nu = float(sea_shape(mean.path, mean.link, np.array([reach]))[0])

    def cdf(x: np.ndarray) -> np.ndarray:
        # K law of the power: 1 - 2/Gamma(nu) (nu x)^(nu/2) K_nu(2 sqrt(nu x)).  Ward, Tough and Watts (from memory).
        y = np.maximum(np.asarray(x, dtype=float), 1e-12) * nu
        return 1.0 - 2.0 / special.gamma(nu) * y ** (nu / 2.0) * special.kv(nu, 2.0 * np.sqrt(y))

    # Below a tenth of the mean the receiver's noise shows through; the rest of the law is looked at.
    seen = sample[sample > 0.1]
    assert stats.kstest(seen, lambda x: (cdf(x) - cdf(0.1)) / (1.0 - cdf(0.1))).pvalue > 1e-3
    assert len(seen) / len(sample) == pytest.approx(1.0 - float(cdf(0.1)), abs=0.06)
    # And it is not Rayleigh, of which nine tenths would lie above a tenth of the mean.
    assert len(seen) / len(sample) < 0.75 < math.exp(-0.1)


def test_land_and_rain_fade_evenly(open_water: World) -> None:
    rain = Weather(wave_height_m=0.0, wind_speed=0.0, rain_everywhere_mmh=60.0)
    grid = ScanGrid(256, 64, 10.0, 60.0)
    want = expected_scan(open_water, RADOME, HERE, grid, 24.0, rain).snr
    rng = np.random.default_rng(8)
    looks = []
    j = 10
    assert want[:, j].min() > 30.0
    for _ in range(50):
        power = drawn_power(open_water, RADOME, HERE, grid, 24.0, rain, rng=rng)
        looks.append(power[::32, j] / (want[::32, j] + 1.0))
    assert stats.kstest(np.concatenate(looks).astype(float), stats.expon.cdf).pvalue > 1e-3


def test_the_mean_of_many_turns_is_the_expected_scan(coast: World) -> None:
    weather = Weather(1.9, 0.5, 9.0, 1.0, (RainCell(-900.0, -600.0, 400.0, 30.0),))
    target = PointTarget("boat", -700.0, 500.0, 5.0, 2.0, 1)
    grid = ScanGrid(128, 64, 15.0, 30.0)
    want = expected_scan(coast, RADOME, HERE, grid, 1.5, weather, (target,)).snr.astype(float) + 1.0
    rng = np.random.default_rng(9)
    n = 300
    total = np.zeros(want.shape)
    square = np.zeros(want.shape)
    for _ in range(n):
        power = drawn_power(coast, RADOME, HERE, grid, 1.5, weather, (target,), rng=rng).astype(float)
        total += power
        square += power**2
    mean = total / n
    error = np.sqrt(np.maximum(square / n - mean**2, 0.0) / n)
    off = (mean - want) / np.maximum(error, 1e-3 * want)
    # Where spiky sea rules, 300 turns are few and their own spread is a poor guess; elsewhere it is a good one.
    sea = expected_scan(coast, RADOME, HERE, grid, 1.5, weather, (target,)).clutter_to_noise > 1.0
    assert np.mean(np.abs(off[~sea]) < 4.0) > 0.998
    assert np.mean(np.abs(off[sea]) < 4.0) > 0.97
    assert np.median(mean / want) == pytest.approx(1.0, abs=0.02)
    inside = want > 2.0
    assert np.mean(mean[inside] / want[inside]) == pytest.approx(1.0, abs=0.03)


def test_sea_lasts_from_turn_to_turn_and_close_by(open_water: World) -> None:
    wind = Weather(wave_height_m=3.0, wind_speed=8.0)
    grid = ScanGrid(512, 256, 3.0, 3.0)
    memory = SeaMemory()
    rng = np.random.default_rng(10)
    turns = []
    for _ in range(3):
        drawn_scan(open_water, RADOME, HERE, grid, 0.75, wind, rng=rng, memory=memory)
        assert memory.texture is not None
        turns.append(memory.texture.copy())
    a, b, c = turns
    j = 60
    one, two = np.corrcoef(a[:, j], b[:, j])[0, 1], np.corrcoef(a[:, j], c[:, j])[0, 1]
    # A turn of 2.5 s against a memory of 3 s: exp(-0.83) = 0.43, and its square.
    assert one == pytest.approx(math.exp(-2.5 / 3.0), abs=0.2)
    assert two < one
    outward = np.corrcoef(a[:, j], a[:, j + 1])[0, 1]
    assert outward == pytest.approx(math.exp(-3.0 / 12.0), abs=0.12)
    assert np.std(a) == pytest.approx(1.0, abs=0.1)


def test_same_seed_same_turn(coast: World) -> None:
    def make(seed: int) -> np.ndarray:
        return drawn_scan(coast, RADOME, HERE, GRID, 0.75, Weather(1.0), rng=np.random.default_rng(seed))

    first = make(3)
    assert first.dtype == np.uint8 and first.shape == (512, 256)
    assert np.array_equal(first, make(3)) and not np.array_equal(first, make(4))


def test_targets_fade_by_their_case() -> None:
    rng = np.random.default_rng(11)
    n = 20_000
    assert np.all(fluctuation(np.zeros(5, dtype=np.int64), rng) == 1.0)
    assert stats.kstest(fluctuation(np.ones(n, dtype=np.int64), rng), stats.expon.cdf).pvalue > 1e-3
    assert stats.kstest(fluctuation(np.full(n, 3), rng), stats.gamma(2.0, scale=0.5).cdf).pvalue > 1e-3


def test_receiver_curve() -> None:
    assert counts_from_snr(1.0) == NOISE_COUNT
    assert counts_from_snr(10.0) == NOISE_COUNT + 30
    assert counts_from_snr(0.0) == 0 and counts_from_snr(1e30) == FULL_SCALE
    assert counts_of(0.0) == NOISE_COUNT
    level = np.arange(1, 255)
    assert np.array_equal(counts_from_snr(10 ** (snr_db_from_counts(level) / 10)), level)


def test_near_land_saturates(coast: World) -> None:
    # 60 m off the island's shore.
    counts = drawn_scan(coast, RADOME, RadarPose(0.0, 890.0, 0.0), GRID, 0.75, FLAT, rng=np.random.default_rng(1))
    assert counts[0].max() >= 250


def test_sart_draws_twelve_dots_outward(open_water: World) -> None:
    grid = ScanGrid(512, 1024, 16.0, 16.0)
    sart = Mishaps(sarts=(Sart(0.0, 3000.0),), racons=False)
    quiet = drawn_scan(open_water, RADOME, HERE, grid, 12.0, FLAT, rng=np.random.default_rng(2))
    shown = drawn_scan(open_water, RADOME, HERE, grid, 12.0, FLAT, rng=np.random.default_rng(2), mishaps=sart)
    bright = (shown[0].astype(int) > NOISE_COUNT + 60) & (quiet[0] < NOISE_COUNT + 60)
    rises = np.flatnonzero(np.diff(bright.astype(int)) == 1)
    # 16.4 km of picture: those of the dots from 3 km outward that lie inside it.
    n = sum(3000.0 + k * 0.6394 * 1852.0 < 16.0 * 1024 for k in range(12))
    assert len(rises) == n == 12
    # SN/Circ.197: 0.64 NM apart.
    assert np.diff(rises).mean() * 16.0 / 1852.0 == pytest.approx(0.64, abs=0.01)


def test_other_radars_leave_dashes(open_water: World) -> None:
    quiet = drawn_power(open_water, RADOME, HERE, GRID, 0.75, FLAT, rng=np.random.default_rng(3))
    heard = drawn_scan(
        open_water, RADOME, HERE, GRID, 0.75, FLAT, rng=np.random.default_rng(3), mishaps=Mishaps(other_radars=1)
    )
    extra = (heard > NOISE_COUNT + 30) & (quiet < 10.0)
    assert 5 < extra.any(axis=1).sum() < 512
    assert extra.mean() < 0.02


def test_ghosts(open_water: World) -> None:
    ship = PointTarget("ship", 0.0, 600.0, 5000.0, 10.0, 0)
    plain = drawn_power(open_water, RADOME, HERE, GRID, 0.75, FLAT, (ship,), np.random.default_rng(4))
    mishaps = Mishaps(indirect_db=-35.0, mast_rel_rad=math.pi, multiple_db=-30.0)
    counts = drawn_scan(open_water, RADOME, HERE, GRID, 0.75, FLAT, (ship,), np.random.default_rng(4), mishaps=mishaps)
    level = 10.0 ** (snr_db_from_counts(counts) / 10.0)
    at = round((600.0 - 7.0) / 7.0)
    twice = round((1200.0 - 7.0) / 7.0)
    assert level[256, at] > 30.0 * plain[256, at]
    assert level[0, twice] > 30.0 * plain[0, twice]


def test_roll_lifts_one_side_off_the_water(open_water: World) -> None:
    boats = tuple(PointTarget("boat", east, 0.0, 50.0, 3.0, 0) for east in (800.0, -800.0))
    rolled = Mishaps(roll_rad=math.radians(10.0))
    even = drawn_scan(open_water, RADOME, HERE, GRID, 0.75, FLAT, boats, np.random.default_rng(12))
    tilted = drawn_scan(open_water, RADOME, HERE, GRID, 0.75, FLAT, boats, np.random.default_rng(12), mishaps=rolled)
    at = round((800.0 - 7.0) / 7.0)
    # Both sides look 10 degrees off a beam of 25: 8 ln 2 (10/25)^2 is 3.9 dB there and back.
    for spoke in (128, 384):
        lost = snr_db_from_counts(even[spoke, at]) - snr_db_from_counts(tilted[spoke, at])
        assert lost == pytest.approx(10 * math.log10(math.e) * 8 * math.log(2) * 0.16, abs=1.0)
    # MSC.192(79): detection not substantially impaired to 10 degrees.
    assert lost < 4.5


def test_a_racon_answers_behind_its_mark(open_water: World) -> None:
    from dataclasses import replace

    from moonless.chart.types import Mark

    mark = Mark("BOYSAW", "fairway", "made", "1", 0.0, 1500.0, None, True, True, False, True, True, {"SIGGRP": "(K)"})
    world = replace(open_water, marks=(mark,))
    grid = ScanGrid(512, 512, 16.0, 16.0)
    counts = drawn_scan(world, RADOME, HERE, grid, 3.0, FLAT, rng=np.random.default_rng(13), mishaps=Mishaps())
    bright = (counts[0] > NOISE_COUNT + 75).astype(int)
    edges = np.flatnonzero(np.diff(bright))
    runs = np.diff(edges)[::2]
    # The mark, then K: dash, dot, dash; a dash is three dots long (ITU-R M.824).
    dash, dot, dash2 = runs[-3:]
    # Noise eats or lends a cell at each end.
    assert 2.5 < dash / dot < 3.5 and dash2 == pytest.approx(dash, abs=3)
    assert np.count_nonzero(counts[256] > NOISE_COUNT + 75) == 0


def test_beyond_the_pulse_interval_things_come_too_near(open_water: World) -> None:
    # 2100 pulses a second: 71.4 km.  A mountain at 73 km shows at 1.6 km.
    from moonless.radar.artefacts import second_trace
    from moonless.radar.points import point_echoes

    grid = ScanGrid(128, 256, 10.0, 10.0)
    mean = mean_echo(open_water, RADOME, HERE, grid, 0.75, FLAT)
    far = PointTarget("mountain", 0.0, 73_000.0, 1e6, 800.0)
    echoes = point_echoes((far,), mean.link, mean.path, HERE, grid, mean.shadow_m, mean.water)
    _, cell, snr = second_trace(mean, echoes)
    assert cell[0] * 10.0 + 10.0 == pytest.approx(73_000.0 - 299_792_458.0 / 2 / 2100.0) and snr[0] > 0.0
