"""Scans in, plots and shores out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench.made.video import TURN_NS, Made

from moonless.echo.detector import Detector
from moonless.echo.examine import design_rate
from moonless.echo.grid import grid_for


def nearest(plots, azimuth_rad, range_m):
    """Index of the plot nearest a place, None beyond 60 m or 4 degrees."""
    off = np.abs(np.mod(plots.azimuth_rel_rad - azimuth_rad + math.pi, 2 * math.pi) - math.pi)
    ok = (off < math.radians(4.0)) & (np.abs(plots.range_m - range_m) < 60.0)
    return int(np.flatnonzero(ok)[np.argmax(plots.strength_db[ok])]) if np.any(ok) else None


def test_points_are_found_where_they_are_across_the_bow_too():
    made = Made()
    truth = [(0.0, 500.0), (0.01, 1500.0), (2.0, 800.0), (4.0, 1900.0), (6.27, 1100.0)]
    for azimuth, range_m in truth:
        made.point(azimuth, range_m, 30.0)
    plots = Detector().detect(made.scan()).plots
    for azimuth, range_m in truth:
        i = nearest(plots, azimuth, range_m)
        assert i is not None
        off = math.remainder(plots.azimuth_rel_rad[i] - azimuth, 2 * math.pi)
        assert abs(off) < 0.1 * made.beam_rad
        assert plots.range_m[i] == pytest.approx(range_m, abs=2.5)
        assert plots.strength_db[i] == pytest.approx(28.5, abs=2.5)
        assert plots.range_extent_m[i] == 0.0
        assert plots.cross_extent_m[i] == 0.0


@pytest.mark.parametrize("spokes", [90, 360, 720, 2048])
@pytest.mark.parametrize("cells", [64, 500])
def test_any_spoke_and_cell_count(spokes, cells):
    made = Made(n_spoke=spokes, n_cell=cells, cell_m=3000.0 / cells)
    made.point(1.0, 1500.0, 30.0)
    plots = Detector().detect(made.scan()).plots
    assert nearest(plots, 1.0, 1500.0) is not None


@pytest.mark.parametrize(
    "receiver",
    [
        {"full_scale": 15, "level": 3.0, "db_per_count": 4.0},
        {"full_scale": 65_535, "level": 9000.0, "db_per_count": 0.002},
        {"law": "linear", "level": 8.0},
        {"law": "square", "level": 2.0},
        {"level": 2.0},  # most of the noise lies under count 0
    ],
)
def test_any_receiver(receiver):
    made = Made(**receiver)
    for azimuth in (1.0, 3.0, 5.0):
        made.point(azimuth, 1200.0, 20.0)
    detector = Detector()
    for turn in range(3):
        plots = detector.detect(made.scan(number=turn)).plots
        for azimuth in (1.0, 3.0, 5.0):
            assert nearest(plots, azimuth, 1200.0) is not None
        assert len(plots) < 20


def test_zeroed_video_still_gives_its_echoes():
    made = Made()
    made.point(1.0, 1000.0, 25.0)
    detector = Detector()
    for turn in range(3):
        echo = made.counts(made.draw())
        echo[echo < 60 + 10 / 0.4] = 0
        plots = detector.detect(made.scan(echo, number=turn)).plots
        assert nearest(plots, 1.0, 1000.0) is not None
        assert len(plots) < 12


def test_spokes_not_received_are_unknown_not_empty():
    made = Made()
    made.point(2.0, 1000.0, 30.0)
    made.point(5.0, 1000.0, 30.0)
    received = np.ones(made.n_spoke, np.bool_)
    received[120:220] = False  # 1.47 to 2.7 rad
    echo = made.counts(made.draw())
    echo[~received] = 0
    picture = Detector().detect(made.scan(echo, received))
    assert nearest(picture.plots, 2.0, 1000.0) is None
    assert nearest(picture.plots, 5.0, 1000.0) is not None
    for one in (picture.clutter_db, picture.floor, picture.threshold):
        assert np.all(np.isnan(one[~received]))
        assert np.all(np.isfinite(one[300:]))
    assert any("100 of 512 spokes" in note for note in picture.notes)


def test_nothing_received_is_no_plots_and_no_floor():
    made = Made(n_spoke=64, n_cell=64)
    echo = np.zeros((64, 64), np.uint8)
    picture = Detector().detect(made.scan(echo, np.zeros(64, np.bool_)))
    assert len(picture.plots) == 0
    assert picture.shores == ()
    assert np.all(np.isnan(picture.clutter_db))


def test_own_pose_is_the_spokes_own():
    made = Made()
    made.point(3.0, 1000.0, 30.0)
    scan = made.scan()
    plots = Detector().detect(scan).plots
    i = nearest(plots, 3.0, 1000.0)
    spoke = round(3.0 / (2 * math.pi) * made.n_spoke)
    assert abs(plots.time_ns[i] - scan.time_ns[spoke]) <= 2 * TURN_NS // made.n_spoke
    assert plots.heading_true_rad[i] == made.heading_rad
    assert plots.own_lat_deg[i] == made.lat_deg


def test_unknown_pose_does_not_stop_detection():
    made = Made(lat_deg=float("nan"), lon_deg=float("nan"), heading_rad=float("nan"))
    made.point(3.0, 1000.0, 25.0)
    detector = Detector()
    for turn in range(4):
        plots = detector.detect(made.scan(number=turn)).plots
        i = nearest(plots, 3.0, 1000.0)
        assert i is not None
        assert math.isnan(plots.own_lat_deg[i])


def test_other_radars_pulses_go_and_points_stay():
    made = Made()
    truth = [(0.5 + k, 400.0 + 250.0 * k) for k in range(6)]
    for azimuth, range_m in truth:
        made.point(azimuth, range_m, 22.0)
    clean, jammed = Detector(), Detector()
    for turn in range(3):
        video = made.draw()
        without = clean.detect(made.scan(made.counts(video), number=turn))
        spoke = np.arange(0, made.n_spoke, 3)
        cell = (spoke * 37) % (made.n_cell - 6)
        for s, c in zip(spoke, cell, strict=True):
            video[s, c : c + 4] += 1000.0
        picture = jammed.detect(made.scan(made.counts(video), number=turn))
        assert picture.spikes_removed >= 0.9 * spoke.size
        assert len(picture.plots) <= len(without.plots) + 2
        for azimuth, range_m in truth:
            a, b = nearest(without.plots, azimuth, range_m), nearest(picture.plots, azimuth, range_m)
            assert a is not None
            assert b is not None
            assert picture.plots.strength_db[b] == pytest.approx(without.plots.strength_db[a], abs=1.0)


@pytest.mark.parametrize("beam_deg", [2.5, 4.5])
def test_other_radars_pulses_go_with_few_spokes_too(beam_deg):
    made = Made(n_spoke=180, beam_deg=beam_deg)
    truth = [(0.5 + k, 400.0 + 250.0 * k) for k in range(6)]
    for azimuth, range_m in truth:
        made.point(azimuth, range_m, 24.0)
    clean, jammed = Detector(), Detector()
    pulses = np.random.default_rng(5)
    for turn in range(8):
        video = made.draw()
        without = clean.detect(made.scan(made.counts(video), number=turn))
        # Another radar's pulses fall elsewhere every turn.
        spoke = np.arange(0, made.n_spoke, 2)
        cell = pulses.integers(0, made.n_cell - 6, spoke.size)
        for s, c in zip(spoke, cell, strict=True):
            video[s, c : c + 4] += 1000.0
        picture = jammed.detect(made.scan(made.counts(video), number=turn))
        if turn < 3:
            continue
        assert picture.spikes_removed >= 0.8 * spoke.size
        assert len(picture.plots) <= len(without.plots) + 4
        for azimuth, range_m in truth:
            b = nearest(picture.plots, azimuth, range_m)
            assert b is not None
            assert picture.plots.strength_db[b] > 10.0


def land(made: Made, snr_db: float = 45.0) -> None:
    """A coast from 1200 m out over 90 degrees, with a quiet bay of open water before it."""
    rows = slice(100, 228)
    made.power[rows, 200:330] += 10 ** (snr_db / 10) * made.texture(2.0, 8, 6)[rows, 200:330]


def test_land_is_a_shore_and_a_mark_before_it_is_a_plot():
    made = Made()
    land(made)
    azimuth = 164 * 2 * math.pi / made.n_spoke
    made.point(azimuth, 1100.0, 35.0)
    detector = Detector()
    for turn in range(4):
        picture = detector.detect(made.scan(number=turn))
        assert 1 <= len(picture.shores) <= 12
        widest = max(picture.shores, key=lambda s: s.azimuth_rel_rad.size)
        assert np.median(widest.near_range_m) == pytest.approx(1200.0, abs=20.0)
        assert np.ptp(widest.azimuth_rel_rad) > 1.3
        i = nearest(picture.plots, azimuth, 1100.0)
        assert i is not None
        assert picture.plots.range_m[i] == pytest.approx(1100.0, abs=6.0)
        assert len(picture.plots) < 25


def test_weak_steady_echo_comes_up_and_spikes_do_not():
    """A point in spiky sea that a single turn rarely shows is shown after some turns more often than not."""
    alone, later = 0, 0
    for seed in range(6):
        made = Made(seed=seed, n_spoke=360, n_cell=300, cell_m=6.0, pulse_m=18.0)
        made.point(2.0, 900.0, 20.0)
        detector = Detector()
        for turn in range(9):
            sea = 10.0 * made.texture(0.8, 4, 3)
            sea[:, 220:] = 0.0
            seen = nearest(detector.detect(made.scan(made.counts(made.draw(sea)), number=turn)).plots, 2.0, 900.0)
            alone += turn < 2 and seen is not None
            later += turn >= 5 and seen is not None
    assert later / 24 > alone / 12 + 0.15
    assert later / 24 > 0.5


def test_a_moving_echo_in_the_sea_is_followed():
    """A boat of 12 knots that fades below the sea's threshold time and again: the straight run vouches for her."""
    met = {True: 0, False: 0}
    for follow in (True, False):
        for seed in range(5):
            made = Made(seed=seed, n_spoke=360, n_cell=300, cell_m=6.0, pulse_m=18.0)
            detector = Detector()
            if not follow:
                detector._memory.followed = lambda met: np.zeros(met.hits.shape, np.bool_)  # type: ignore[method-assign]
            for turn in range(13):
                made.clear()
                range_m = 700.0 + 15.0 * turn
                made.point(2.0, range_m, 24.0 if turn % 2 else 17.5)
                sea = 10.0 * made.texture(0.8, 4, 3)
                sea[:, 220:] = 0.0
                picture = detector.detect(made.scan(made.counts(made.draw(sea)), number=turn))
                met[follow] += turn >= 6 and nearest(picture.plots, 2.0, range_m) is not None
    assert met[True] >= met[False] + 4


def test_two_marks_a_beam_apart_are_two_in_most_turns():
    """In phase they fill the gap between them; out of phase not even a shallow pass is needed to see them."""
    made = Made(n_spoke=1024, n_cell=400, cell_m=6.0, beam_deg=3.9, pulse_m=24.0)
    parted = 0
    for turn in range(24):
        made.clear()
        fields = [
            np.exp(1j * made.rng.uniform(0, 2 * np.pi)) * np.sqrt(made.beam(b)) for b in (1.0, 1.0 + made.beam_rad)
        ]
        made.power += 10**3.5 * (np.abs(fields[0] + fields[1]) ** 2)[:, None] * made.pulse(1500.0)[None, :]
        plots = Detector().detect(made.scan(number=turn)).plots
        near = (np.abs(plots.range_m - 1500.0) < 20.0) & (np.abs(plots.azimuth_rel_rad - 1.03) < 0.15)
        parted += np.count_nonzero(near & (plots.strength_db > 15)) == 2
    assert parted >= 11  # 12 here; with a pass of 5 dB it was 8


def test_glittering_land_is_an_outline_and_few_plots():
    made = Made()
    land(made)
    coast = made.power.copy()
    detector = Detector()
    for turn in range(8):
        # Every turn the same land in another light; own motion of some metres a turn.
        made.power = coast * made.rng.gamma(1.0, 1.0, coast.shape)
        picture = detector.detect(made.scan(number=turn, lat_deg=made.lat_deg + turn * 1e-5))
    ashore = (picture.plots.range_m > 1150.0) & (np.abs(picture.plots.azimuth_rel_rad - 2.01) < 0.8)
    assert np.count_nonzero(ashore) <= 12
    bearings = np.concatenate([s.azimuth_rel_rad for s in picture.shores])
    assert bearings.min() < math.radians(85.0)
    assert bearings.max() > math.radians(145.0)


def test_hulls_have_length_and_direction():
    made = Made(n_spoke=1024, n_cell=400, cell_m=4.0, beam_deg=1.5, pulse_m=12.0)
    # 100 m across the line of sight at 800 m, and 80 m along it.
    for k in np.linspace(-50.0, 50.0, 21):
        made.point(1.0 + k / 800.0, 800.0, 25.0)
    for k in np.linspace(-40.0, 40.0, 17):
        made.point(3.0, 800.0 + k, 25.0)
    plots = Detector().detect(made.scan()).plots
    across, along = nearest(plots, 1.0, 800.0), nearest(plots, 3.0, 800.0)
    assert plots.cross_extent_m[across] == pytest.approx(100.0, rel=0.2)
    assert plots.range_extent_m[across] == 0.0
    turned = math.remainder(plots.orientation_rel_rad[across] - (1.0 + math.pi / 2), math.pi)
    assert abs(turned) < 0.15
    assert plots.range_extent_m[along] == pytest.approx(80.0, rel=0.2)
    assert abs(math.remainder(plots.orientation_rel_rad[along] - 3.0, math.pi)) < 0.15


def test_close_echoes_are_parted_where_there_is_a_gap():
    made = Made(n_spoke=1024, n_cell=400, cell_m=4.0, beam_deg=3.0, pulse_m=16.0)
    for gap, azimuth in ((1.35, 1.0), (0.5, 4.0)):
        made.point(azimuth, 1000.0, 30.0)
        made.point(azimuth + gap * made.beam_rad, 1000.0, 30.0)
    plots = Detector().detect(made.scan()).plots
    near = np.abs(plots.range_m - 1000.0) < 20.0
    apart = near & (np.abs(plots.azimuth_rel_rad - 1.0) < 0.2)
    merged = near & (np.abs(plots.azimuth_rel_rad - 4.0) < 0.2)
    assert np.count_nonzero(apart & (plots.strength_db > 15)) == 2
    assert np.count_nonzero(merged & (plots.strength_db > 15)) == 1


def test_saturated_echo_says_so():
    made = Made(full_scale=120)
    made.point(1.0, 1000.0, 40.0)
    plots = Detector().detect(made.scan()).plots
    i = nearest(plots, 1.0, 1000.0)
    assert plots.is_clipped[i]
    assert plots.peak_count[i] == 120


def test_turning_the_world_turns_the_plots():
    made = Made()
    for k in range(5):
        made.point(0.3 + 1.1 * k, 400.0 + 300.0 * k, 25.0)
    echo = made.counts(made.draw())
    grid = grid_for(made.n_spoke, made.n_cell, made.cell_m, made.beam_rad, made.pulse_m)
    # Rows of one width, half of them to the half turn: the blocks fall alike.
    widths = np.diff(grid.row_edge)
    assert np.array_equal(np.roll(widths, grid.n_row // 2), widths)
    assert int(grid.row_edge[grid.n_row // 2]) == made.n_spoke // 2
    a = Detector().detect(made.scan(echo)).plots
    b = Detector().detect(made.scan(np.roll(echo, made.n_spoke // 2, axis=0))).plots
    strong_a, strong_b = a.strength_db > 12, b.strength_db > 12
    assert np.count_nonzero(strong_a) == np.count_nonzero(strong_b) == 5
    order_a, order_b = np.argsort(a.range_m[strong_a]), np.argsort(b.range_m[strong_b])
    np.testing.assert_allclose(a.range_m[strong_a][order_a], b.range_m[strong_b][order_b], atol=1.5)
    turned = a.azimuth_rel_rad[strong_a][order_a] + math.pi - b.azimuth_rel_rad[strong_b][order_b]
    np.testing.assert_allclose(np.sin(turned), 0.0, atol=0.1 * made.beam_rad)


def test_design_rate_is_bounded():
    small = design_rate(grid_for(90, 64, 50.0, 0.07, 40.0))
    large = design_rate(grid_for(4096, 4096, 1.0, 0.01, 3.0))
    assert small == 1e-4
    assert 1e-6 <= large < 1e-5


@pytest.mark.parametrize("case", ["noise", "spiky sea", "edge"])
def test_false_alarms_stay_near_the_design(case):
    """A small version of ``python -m bench detection``: wider bounds for the smaller count."""
    made = Made(n_spoke=720, n_cell=320, cell_m=6.0, pulse_m=18.0, beam_deg=3.9, seed=5)
    design = 1e-3
    detector = Detector(p_false=design)
    passed = tested = 0
    for turn in range(9):
        clutter = np.zeros((made.n_spoke, made.n_cell))
        if case == "spiky sea":
            clutter[:, :220] = 100.0 * made.texture(1.0, 8, 3)[:, :220]
        elif case == "edge":
            clutter[:, :160] = 99.0
        scan = made.scan(made.counts(made.draw(clutter)), number=turn)
        detector.detect(scan)
        seen = detector.examine(scan)
        if turn >= 3:
            mask = (seen.box_db >= seen.threshold_db)[:, : 200 if case == "spiky sea" else None]
            passed += int(mask.sum())
            tested += mask.size
    assert 0.4 * design < passed / tested < 2.0 * design


def test_many_marks_in_one_channel_do_not_hide_each_other():
    """Echoes that fill a good part of a patch must not pass for its clutter, on the first turn or later."""
    made = Made(n_spoke=720, n_cell=400, cell_m=4.0, beam_deg=3.9, pulse_m=12.0)
    truth = [(0.6 + 0.16 * k, 500.0 + 90.0 * j) for k in range(6) for j in range(8)]
    for azimuth, range_m in truth:
        made.point(azimuth, range_m, 30.0)
    detector = Detector()
    for turn in range(5):
        plots = detector.detect(made.scan(number=turn)).plots
        assert sum(nearest(plots, *place) is not None for place in truth) >= 46


def test_own_motion_is_taken_out_of_what_is_remembered():
    """At 12 m/s the same ground is met again: a coast stays a shore, and the sea's tail is not made of its echoes."""
    made = Made()
    detector = Detector()
    for turn in range(5):
        north_m = 30.0 * turn
        made.clear()
        rows = np.arange(made.n_spoke) * 2 * math.pi / made.n_spoke + made.heading_rad
        # A straight coast along the parallel 1500 m north of the start, 400 m deep.
        with np.errstate(divide="ignore"):
            near = np.where(np.cos(rows) > 0.6, (1500.0 - north_m) / np.cos(rows), np.inf)
        r = np.arange(made.n_cell) * made.cell_m
        rng = np.random.default_rng(turn)
        made.power += (
            3e4
            * ((r[None, :] > near[:, None]) & (r[None, :] < near[:, None] + 400.0))
            * rng.gamma(2.0, 0.5, (made.n_spoke, made.n_cell))
        )
        picture = detector.detect(made.scan(number=turn, lat_deg=10.0 + north_m / 110_600.0))
        widest = max(picture.shores, key=lambda s: s.azimuth_rel_rad.size)
        north = widest.near_range_m * np.cos(widest.azimuth_rel_rad + made.heading_rad) + north_m
        assert np.median(north) == pytest.approx(1500.0, abs=15.0)
        assert widest.azimuth_rel_rad.size > 60


@pytest.mark.parametrize("levels", [1, 3])
def test_a_video_cut_to_few_levels_shows_its_points_at_once(levels):
    """The set's own threshold and one or two bits: nothing is left to learn a scale from, and nothing to wait for."""
    detector = Detector()
    for turn in range(4):
        made = Made(n_spoke=360, n_cell=200, beam_deg=2.0, pulse_m=12.0, seed=turn)
        made.point(1.0, 600.0, 30.0)
        made.point(3.0, 700.0, 22.0)
        counts = made.counts(made.draw())
        # 12 dB over the noise, then 6 dB a level.
        echo = np.where(counts > 90, np.minimum(1 + (counts.astype(int) - 90) // 15, levels), 0).astype(np.uint8)
        made.full_scale = levels
        plots = detector.detect(made.scan(echo, number=turn)).plots
        assert nearest(plots, 1.0, 600.0) is not None
        assert nearest(plots, 3.0, 700.0) is not None
        assert len(plots) <= 4


def test_the_gain_of_a_long_word_may_tremble():
    """In 12 bit the noise covers hundreds of counts: a median some counts off is no hand on the gain."""
    made = Made(full_scale=4095, level=960.0, db_per_count=0.025)
    detector = Detector()
    for turn in range(3):
        made.level = 960.0 + 4.0 * (turn % 2)
        detector.detect(made.scan(number=turn))
    # The counts of all three turns are still there, each a tenth less than the next.
    one = Detector()
    one.detect(made.scan())
    assert detector.boxes.scale.counts.sum() > 2.4 * one.boxes.scale.counts.sum()
