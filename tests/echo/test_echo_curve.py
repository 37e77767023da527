"""The receiver's scale is told by its noise."""

from __future__ import annotations

import numpy as np
import pytest
from bench.made.video import Made

from moonless.echo.background.receiver_curve import learn_curve, noise_level
from moonless.echo.detector import Detector


def histogram_of(counts, full_scale):
    return np.bincount(counts.ravel(), minlength=full_scale + 1).astype(float)


@pytest.mark.parametrize(
    ("db_per_count", "full_scale", "level"), [(0.4, 255, 60.0), (0.33, 255, 20.0), (0.02, 4095, 900.0)]
)
def test_logarithmic_scale_is_learnt(db_per_count, full_scale, level):
    made = Made(n_spoke=256, n_cell=200, db_per_count=db_per_count, full_scale=full_scale, level=level)
    curve = learn_curve(histogram_of(made.counts(made.draw()), full_scale), full_scale)
    assert (curve.law, curve.is_learnt) == ("log", True)
    assert curve.db_per_count == pytest.approx(db_per_count, rel=0.05)
    assert curve.noise_counts == pytest.approx(level, abs=0.4 / db_per_count)


def test_a_few_echoes_in_the_quiet_water_spoil_nothing():
    made = Made(n_spoke=256, n_cell=200, db_per_count=0.33, level=20.0)
    video = np.mean([made.draw() for _ in range(4)], axis=0)
    counts = made.counts(video)
    rng = np.random.default_rng(3)
    loud = rng.random(counts.shape) < 0.03
    counts[loud] = rng.integers(40, 180, np.count_nonzero(loud))
    curve = learn_curve(histogram_of(counts, 255), 255)
    assert (curve.law, curve.is_learnt) == ("log", True)
    # Looks and scale are told together from what spread is left: neither is exact.
    assert curve.db_per_count == pytest.approx(0.33, rel=0.35)
    assert curve.noise_counts == pytest.approx(20.0, abs=1.0)


def test_weak_echoes_among_the_noise_do_not_spoil_a_scale_whose_pulses_are_known():
    """A skirt of weak echoes lifts the upper half of the counts; five looks then pass for ten."""
    made = Made(n_spoke=256, n_cell=200, db_per_count=0.333, level=20.0)
    video = np.mean([made.draw() for _ in range(5)], axis=0)
    video *= 1.0 + made.rng.exponential(0.5, video.shape) * (made.rng.random(video.shape) < 0.35)
    histogram = histogram_of(made.counts(video), 255)
    told = learn_curve(histogram, 255, 5.0)
    assert told.db_per_count == pytest.approx(0.333, rel=0.1)
    assert told.sigma < 0.2 * told.db_per_count
    # Without the pulses it may be wrong, and says so.
    alone = learn_curve(histogram, 255)
    assert alone.sigma > 0.1 * alone.db_per_count
    assert abs(alone.db_per_count - 0.333) < 2.0 * alone.sigma


@pytest.mark.parametrize("looks", [2, 4, 8])
def test_looks_are_told_from_the_skew(looks):
    made = Made(n_spoke=256, n_cell=200)
    video = np.mean([made.draw() for _ in range(looks)], axis=0)
    curve = learn_curve(histogram_of(made.counts(video), 255), 255)
    assert curve.law == "log"
    assert 0.7 * looks <= curve.looks <= 1.5 * looks
    assert curve.db_per_count == pytest.approx(0.4, rel=0.15)


@pytest.mark.parametrize(
    ("law", "level", "exponent"), [("linear", 25.0, 0.5), ("square", 20.0, 1.0), ("root", 50.0, 0.25)]
)
def test_laws_without_a_logarithm_are_told_apart(law, level, exponent):
    made = Made(n_spoke=256, n_cell=200, law=law, level=level)
    curve = learn_curve(histogram_of(made.counts(made.draw()), 255), 255)
    assert curve.law == law
    assert curve.noise_counts == pytest.approx(level, rel=0.03)
    # The median of one look of noise lies at ln 2 of its mean power (elementary).
    assert noise_level(curve, level * 0.6931**exponent) == pytest.approx(level, rel=0.03)


@pytest.mark.parametrize("kept", [1, 6])
def test_a_set_that_keeps_one_pulse_of_those_it_has_time_for_is_learnt_as_one_that_sums_them(kept):
    """Spokes with time for six pulses; the noise of one look and of six differ in their tails."""
    made = Made(n_spoke=256, n_cell=200, db_per_count=0.157, level=40.0)
    video = np.mean([made.draw() for _ in range(kept)], axis=0)
    curve = learn_curve(histogram_of(made.counts(video), 255), 255, 6.0)
    assert curve.law == "log"
    assert curve.db_per_count == pytest.approx(0.157, rel=0.1)
    assert curve.looks == pytest.approx(kept, rel=0.35)


def test_no_logarithmic_word_spans_more_than_a_receiver_does():
    """Counts that go as the fourth root of power, whose noise a logarithm of a decibel a count fits too: 240 dB."""
    made = Made(n_spoke=256, n_cell=200, law="root", level=14.0)
    curve = learn_curve(histogram_of(made.counts(made.draw()), 255), 255)
    assert curve.law == "root"
    assert curve.db(255)[255] == pytest.approx(40.0 * np.log10(255.0 / 14.0), abs=1.5)


def test_zeroed_background_is_said_to_be_unknown():
    made = Made(n_spoke=256, n_cell=200)
    counts = made.counts(made.draw())
    counts[counts < 75] = 0
    curve = learn_curve(histogram_of(counts, 255), 255)
    assert curve.is_zeroed
    assert not curve.is_learnt
    made = Made()
    made.point(1.0, 1000.0, 30.0)
    echo = made.counts(made.draw())
    echo[echo < 75] = 0
    picture = Detector().detect(made.scan(echo))
    assert picture.db_per_count is None
    assert any("cut to zero" in note for note in picture.notes)


def test_full_scale_four_bits_is_not_guessed_from_one_count():
    curve = learn_curve(np.array([100.0, 5000.0, 200.0] + [0.0] * 13), 15)
    assert not curve.is_learnt
    assert curve.db(15).shape == (16,)


def test_gain_turned_during_the_run_moves_the_level_not_the_scale():
    detector = Detector()
    made = Made(n_spoke=256, n_cell=256)
    made.point(2.0, 900.0, 20.0)
    for turn, level in enumerate((60.0, 60.0, 90.0, 40.0)):
        made.level = level
        picture = detector.detect(made.scan(number=turn))
        assert picture.noise_counts == pytest.approx(level, abs=1.5)
        assert picture.db_per_count == pytest.approx(0.4, rel=0.06)
        assert np.any(np.abs(picture.plots.range_m - 900.0) < 10.0)


def test_noise_in_the_lowest_counts_of_a_long_word_is_of_no_logarithmic_set():
    """Eight looks spread over 3 dB between their lowest tenth and their highest: in two counts of 255 they would make a
    word of some 250 dB.  A logarithmic one with as many zeros, whose noise covers thirty counts, is left in doubt."""
    rng = np.random.default_rng(5)
    power = rng.gamma(8.0, 1.0 / 8.0, 50_000)
    linear = np.floor(np.sqrt(power) * 0.95).astype(int)
    curve = learn_curve(histogram_of(linear, 255), 255)
    assert (curve.law, curve.is_learnt, curve.is_zeroed) == ("linear", True, False)
    # Ten times the count is a hundred times the power.
    assert curve.db(255)[200] - curve.db(255)[20] == pytest.approx(20.0, abs=0.01)
    log = np.maximum(np.floor(10.0 * np.log10(rng.exponential(1.0, 50_000) / 1.6) / 0.16), 0).astype(int)
    assert learn_curve(histogram_of(log, 255), 255).is_zeroed


def test_a_gap_under_the_lowest_count_is_the_sets_own_threshold():
    """A quarter of zeros, then nothing up to 21: noise lifted by side lobes, cut at 6 dB, at 0.29 dB a count."""
    rng = np.random.default_rng(6)
    power = 12.0 * rng.exponential(1.0, 30_000)
    counts = np.rint(10.0 * np.log10(power) / 0.29).astype(int)
    curve = learn_curve(histogram_of(np.where(power < 4.0, 0, np.maximum(counts, 0)), 255), 255)
    assert curve.is_zeroed and curve.noise_counts == pytest.approx(21.0, abs=3.0)
    # A sector where the set sends nothing leaves zeros too, but no edge: the noise of the rest is read.
    made = Made(n_spoke=256, n_cell=200, level=60.0)
    noise = made.counts(made.draw())
    noise[:60] = 0
    blanked = learn_curve(histogram_of(noise, 255), 255)
    assert blanked.is_learnt and not blanked.is_zeroed


def test_a_linear_sets_echo_is_as_strong_as_its_count_squared():
    made = Made(n_spoke=256, n_cell=256, law="linear", level=10.0)
    made.point(2.0, 900.0, 20.0)
    picture = Detector().detect(made.scan())
    assert picture.db_per_count is not None
    level = picture.over_noise_db(np.array([100.0, 200.0]))
    assert level[0] == pytest.approx(20.0, abs=0.5) and level[1] - level[0] == pytest.approx(6.02, abs=0.01)


def test_another_scale_makes_the_old_strays_void():
    """A set that begins to cut its noise is held to what a detector that never knew it otherwise holds it to."""
    highest = []
    for cut_from in (6, 0):
        made, detector = Made(n_spoke=256, n_cell=256, level=40.0, db_per_count=0.3), Detector()
        for turn in range(cut_from + 5):
            counts = made.counts(made.draw())
            counts[(counts < 48) & (turn >= cut_from)] = 0
            picture = detector.detect(made.scan(counts, number=turn))
        highest.append(float(np.quantile(picture.threshold, 0.95)))
    assert highest[0] == pytest.approx(highest[1], abs=12.0)


@pytest.mark.parametrize(("law", "level"), [("root", 1225.0), ("linear", 372.0)])
def test_a_scale_that_ends_low_still_shows_what_stands_at_its_top(law, level):
    """A set whose word ends 21 dB over noise: land at the top of it is a shore, a mark before it a plot."""
    made = Made(n_spoke=512, n_cell=384, law=law, level=level, full_scale=4095)
    made.point(1.0, 900.0, 40.0)
    for bearing in np.arange(2.0, 3.2, 0.02):
        for away in np.arange(1100.0, 1700.0, 18.0):
            made.point(float(bearing), float(away), 45.0)
            made.point(float(bearing) - 1.2, float(away), 45.0)
    detector = Detector()
    for turn in range(6):
        picture = detector.detect(made.scan(number=turn))
    assert np.any((np.abs(picture.plots.range_m - 900.0) < 15.0) & (np.abs(picture.plots.azimuth_rel_rad - 1.0) < 0.05))
    assert picture.shores
    assert float(np.nanmax(picture.floor)) < 4095.0
