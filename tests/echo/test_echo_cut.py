"""Pictures that the set has cut: few levels, nothing of noise, echoes flat at the top."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from bench.made.video import Made
from scipy import stats

from moonless.echo.background.isolated_cells import CHANCE_A_TURN, company_asked, isolated_cells, noisy_levels
from moonless.echo.detector import Detector
from moonless.echo.ghosts import find_side_lobes
from moonless.echo.lost_spokes import bridged
from moonless.echo.scale import ReceiverScale
from moonless.echo.shores import CLIPPED_BEAMS


def cut(made: Made, number: int, full_scale: int = 255, over_db: float = 15.0):
    """A turn in which all over ``over_db`` stands at full scale and all else at nought."""
    scan = made.scan(number=number)
    echo = np.where(made.power >= 10.0 ** (over_db / 10.0), full_scale, 0).astype(np.uint8)
    return replace(scan, echo=echo, full_scale=255)


def beside(plots, azimuth_rad: float, range_m: float) -> float:
    """Metres from a place to the nearest plot."""
    at = plots.range_m * np.exp(1j * plots.azimuth_rel_rad)
    return float(np.min(np.abs(at - range_m * np.exp(1j * azimuth_rad)))) if len(plots) else math.inf


def ship(made: Made, azimuth_rad: float, range_m: float, length_m: float, snr_db: float) -> None:
    """A hull across the line of sight as points 10 m apart."""
    for along in np.arange(-length_m / 2, length_m / 2 + 1.0, 10.0):
        made.point(azimuth_rad + along / range_m, range_m, snr_db)


@pytest.mark.parametrize("full_scale", [255, 15, 3, 1])
def test_ships_and_boats_of_a_cut_picture_are_plots_and_no_shore(full_scale: int) -> None:
    made = Made(beam_deg=2.0, n_spoke=720)
    ship(made, 1.0, 1000.0, 100.0, 60.0)
    made.point(3.0, 1500.0, 40.0)
    detector = Detector()
    for number in range(4):
        picture = detector.detect(cut(made, number, full_scale))
        assert picture.is_cut
        assert beside(picture.plots, 1.0, 1000.0) < 40.0
        assert beside(picture.plots, 3.0, 1500.0) < 25.0
        assert picture.shores == ()


def test_how_large_a_flat_echo_is_is_not_told_by_its_smear() -> None:
    # A point 50 dB over the cut shows as wide as the beam has fallen by so much: 2.9 beams; it has no extent.
    made = Made(beam_deg=2.0, n_spoke=720)
    made.point(1.0, 1500.0, 65.0)
    plots = Detector().detect(cut(made, 0)).plots
    k = int(np.argmax(plots.n_cells))
    assert plots.is_clipped[k]
    assert plots.cross_extent_m[k] == 0.0
    assert plots.range_extent_m[k] == 0.0
    # A coast of 40 degrees is far past what any smear can be.
    made.clear()
    for azimuth in np.arange(1.0, 1.7, 0.01):
        made.point(azimuth, 1500.0, 40.0)
    picture = [detector.detect(cut(made, n)) for detector in (Detector(),) for n in range(3)][-1]
    assert picture.shores
    assert math.radians(40.0) > CLIPPED_BEAMS * made.beam_rad


def test_isolated_cells_of_noise_are_no_plots() -> None:
    rng = np.random.default_rng(4)
    made = Made(beam_deg=2.0, n_spoke=720, cell_m=6.0, pulse_m=24.0)
    made.point(2.0, 1200.0, 30.0)
    detector = Detector()
    found = []
    for number in range(5):
        scan = cut(made, number)
        noise = rng.random(scan.echo.shape) < 0.004  # a thousand cells a turn
        echo = np.where(noise & (scan.echo == 0), 85, scan.echo).astype(np.uint8)
        plots = detector.detect(replace(scan, echo=echo)).plots
        assert beside(plots, 2.0, 1200.0) < 20.0
        found.append(len(plots))
    assert max(found[1:]) < 12


def test_how_much_company_is_asked_follows_the_binomial_law() -> None:
    share, n_cells, window = 0.01, 100_000, 12
    asked = company_asked(share, n_cells, window)
    # With one less chance would pass more cells than are allowed, with so many no more.
    assert share * n_cells * stats.binom.sf(asked - 2, window - 1, share) <= CHANCE_A_TURN
    assert share * n_cells * stats.binom.sf(asked - 3, window - 1, share) > CHANCE_A_TURN
    assert company_asked(1e-9, 1000, window) == 1
    assert company_asked(0.9, 1000, window) == window // 2


def test_levels_that_noise_reaches_are_named_by_their_shares() -> None:
    counts = np.zeros(16)
    counts[0], counts[1], counts[2], counts[3] = 9_900.0, 80.0, 15.0, 5.0
    levels, sure = noisy_levels(counts, 100_000)
    assert levels[0] == (1, pytest.approx(0.01))
    assert [level for level, _ in levels] == [1, 2, 3]
    assert sure == 4
    assert noisy_levels(np.zeros(4), 10) == ([], 1)


def test_a_full_box_keeps_itself_company() -> None:
    db = np.full((60, 40), -60.0, dtype=np.float32)
    db[10:13, 5:9] = 10.0
    db[40, 20] = 10.0
    db[50, 30] = 40.0
    lone = isolated_cells(db, [(10.0, 0.01)], 30.0, (3, 4))
    assert not lone[10:13, 5:9].any()
    assert lone[40, 20]
    assert not lone[50, 30]  # stronger than noise ever is
    assert np.count_nonzero(lone) == 1


def test_side_lobes_of_a_wide_flat_echo_lie_on_its_arc() -> None:
    from test_echo_ghosts import ERRORS, plots_of

    rows = [(90, 800, 50), (60, 802, 50), (70, 798, 50), (112, 805, 50), (130, 800, 50), (200, 1600, 50)]
    plots = replace(
        plots_of(*rows), is_clipped=np.ones(6, np.bool_), n_cells=np.array([500, 20, 30, 25, 10, 60]),
    )  # fmt: skip
    width = np.radians([30.0, 4.0, 4.0, 4.0, 3.0, 8.0])
    assert find_side_lobes(plots, ERRORS.beam_rad, ERRORS.pulse_m, width).tolist() == [-1, 0, 0, 0, 0, -1]
    # As narrow as a small boat's, it makes none; nor where nobody says how wide it is.
    assert find_side_lobes(plots, ERRORS.beam_rad, ERRORS.pulse_m, width / 3).tolist() == [-1] * 6
    assert find_side_lobes(plots, ERRORS.beam_rad, ERRORS.pulse_m).tolist() == [-1] * 6


def test_a_screen_is_no_cut_picture() -> None:
    # Its colours begin well over the noise; near the boat the sea is drawn (`python -m bench picture chain`).
    made = Made(beam_deg=2.0, n_spoke=720)
    made.point(3.0, 1500.0, 40.0)
    scan = cut(made, 0)
    picture = Detector().detect(replace(scan, errors=replace(scan.errors, is_pictured=True)))
    assert not picture.is_cut
    assert beside(picture.plots, 3.0, 1500.0) < 25.0


def test_where_echoes_are_cut_flat_is_seen_in_the_picture_and_not_taken_from_the_word() -> None:
    """Four levels to half a word's height, as a gain set low behind the receiver's own limit gives them.

    Whether strength is a bound is the receiver's: the same picture at the word's full height says the same.
    """
    made = Made(beam_deg=2.0, n_spoke=720)
    ship(made, 1.0, 1000.0, 100.0, 60.0)
    scale, high = ReceiverScale(), made.scan(number=0)
    levels = np.searchsorted([10.0**0.9, 10.0**1.2, 10.0**1.5], made.power).astype(np.uint8)
    few = replace(high, echo=np.array([0, 42, 85, 128], dtype=np.uint8)[levels], full_scale=255)
    assert scale.by_used_scale(few).full_scale == 128
    # A count higher than that shows that there was room over it.
    louder = few.echo.copy()
    louder[0, 0] = 200
    assert scale.by_used_scale(replace(few, echo=louder)).full_scale == 255
    # Noise and a ship whose strength is all shown: what is strong is rare, and nothing lies in a pile.
    weaker = Made(beam_deg=2.0, n_spoke=720)
    ship(weaker, 1.0, 1000.0, 100.0, 20.0)
    shown = weaker.scan(number=0)
    assert shown.echo.max() < 255
    assert ReceiverScale().by_used_scale(replace(shown, full_scale=255)).full_scale == 255


def lose(scan, rows):
    """The same turn with these spokes lost."""
    echo, received = scan.echo.copy(), scan.is_received.copy()
    echo[rows], received[rows] = 0, False
    return replace(scan, echo=echo, is_received=received)


def test_a_lost_spoke_does_not_cut_a_ship_in_two() -> None:
    # A hull of 100 m at 800 m is 7 degrees wide: 14 spokes of half a degree, of which each turn another is lost.
    made = Made(beam_deg=4.0, n_spoke=720)
    ship(made, 1.0, 800.0, 100.0, 60.0)
    detector = Detector()
    assert beside_all(detector.detect(cut(made, 0)).plots) == 1  # from here on it is known that the picture is cut
    for number, lost in enumerate((110, 112, 114, 115, 116, 118), 1):
        assert beside_all(detector.detect(lose(cut(made, number), [lost])).plots) == 1


def beside_all(plots) -> int:
    """How many plots lie within the hull's length of her middle."""
    at = plots.range_m * np.exp(1j * plots.azimuth_rel_rad)
    return int(np.count_nonzero(np.abs(at - 800.0 * np.exp(1j)) < 100.0))


def test_what_stands_on_both_sides_of_a_short_gap_stands_in_it_and_nothing_else_does() -> None:
    # A beam of 4 degrees is eight spokes: a gap of four is half of it, one of five is more.
    made = Made(beam_deg=4.0, n_spoke=720)
    scan = made.scan(number=0)
    echo = np.zeros_like(scan.echo)
    echo[90:110, 40] = 200  # on both sides of the gaps
    echo[90:100, 50] = 200  # on one side
    echo[95:100, 60], echo[103:110, 60] = 90, 200
    scan = replace(scan, echo=echo)
    got, n = bridged(lose(scan, [100, 101, 102]))
    assert n == 3 and got.is_whole
    assert got.echo[100:103, 40].tolist() == [200] * 3 and not got.echo[100:103, 50].any()
    assert got.echo[100:103, 60].tolist() == [90] * 3  # the lesser
    assert bridged(lose(scan, [100, 101, 102, 103]))[1] == 4
    wide, n = bridged(lose(scan, [100, 101, 102, 103, 104]))
    assert n == 0 and np.flatnonzero(~wide.is_received).tolist() == [100, 101, 102, 103, 104]
    # Across the seam of the turn, and where a beam is no wider than a spoke: unknown stays unknown.
    assert bridged(lose(scan, [719, 0]))[0].is_whole
    narrow = replace(scan, errors=replace(scan.errors, beam_rad=math.radians(0.6)))
    assert bridged(lose(narrow, [100]))[1] == 0
