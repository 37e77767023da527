"""How far things are seen: never past the first gap, and nearer when the radar does worse."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, RADAR, make_boat, make_situation
from reading_rasters import open_water

from moonless.radar.link.budget import scale_of
from moonless.radar.types import Weather
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS
from moonless.reading.situation import Situation
from moonless.reading.visibility.raster import CAUSE_OF
from moonless.reading.visibility.seeing import (
    Curve,
    RadarPerformance,
    clutter_at,
    curve_for,
    curve_in,
    seeing_line,
)
from moonless.reading.visibility.stage import VisibilityStage, cut_off

R = np.linspace(50.0, 3050.0, 301)  # every 10 m
PLENTY, NOTHING = 1e6, 1e-9


def _curve(lost: list[tuple[float, float]]) -> Curve:
    snr = np.full(R.shape, PLENTY)
    for low, high in lost:
        snr[(low <= R) & (high >= R)] = NOTHING
    return Curve(R, snr, 20.0)


def _free() -> Curve:
    return Curve(R, 1e13 / R**4, 20.0)


@pytest.mark.parametrize(
    ("lost", "reach"),
    [
        ([(1000.0, 1500.0)], 990.0),  # held again from 1510 m on: not past the gap
        ([(400.0, 500.0), (1000.0, 3050.0)], 390.0),
        ([], 3050.0),
        ([(50.0, 90.0)], 100.0),  # inside the least range nothing is asked
        ([(50.0, 3050.0)], None),
        ([(50.0, 120.0)], None),  # lost from the least range on, whatever is seen further out
    ],
)
def test_a_size_is_held_to_the_first_gap(lost: list[tuple[float, float]], reach: float | None) -> None:
    got = _curve(lost).held_to_m(1.0, 0.0, least_m=100.0)
    if lost == [(50.0, 90.0)]:
        assert got == pytest.approx(3050.0)
    else:
        assert got is None if reach is None else got == pytest.approx(reach)


def test_the_line_stops_at_the_first_ring_of_clutter_of_its_own_bearing() -> None:
    n = 8
    clutter = np.zeros((n, len(R)))
    clutter[2, (R >= 600.0) & (R <= 800.0)] = 1e9
    clutter[3, (R >= 1200.0) & (R <= 1300.0)] = 1e9
    clutter[3, (R >= 300.0) & (R <= 340.0)] = 1e9
    clutter[5, R >= 2000.0] = np.nan  # not received
    clutter[6, 100] = 1e9  # a single cell between two that are held: speckle
    line = seeing_line(_curve([]), 1.0, 0.0, clutter, least_m=100.0)
    assert line == pytest.approx([3050.0, 3050.0, 590.0, 290.0, 3050.0, 1990.0, 3050.0, 3050.0])
    # And where the radar itself has a gap, every bearing stops there.
    gap = seeing_line(_curve([(900.0, 1000.0)]), 1.0, 0.0, clutter, least_m=100.0)
    assert gap == pytest.approx([890.0, 890.0, 590.0, 290.0, 890.0, 890.0, 890.0, 890.0])


def test_where_clutter_is_not_known_the_line_is_one_reach_for_all_and_nothing_held_is_the_least_range() -> None:
    assert seeing_line(_curve([(900.0, 1000.0)]), 1.0, 0.0, None, least_m=100.0).tolist() == [890.0]
    assert seeing_line(_curve([(50.0, 3050.0)]), 1.0, 0.0, None, least_m=100.0).tolist() == [100.0]


def test_decibels_lost_and_smaller_things_bring_it_in_by_the_fourth_root() -> None:
    """In free space power falls as the fourth power of range: 12 dB, or a sixteenth of the size, is half as far."""
    free = _free()
    far = free.held_to_m(1.0, 0.0, 60.0)
    assert far is not None and 600.0 < far < 2900.0
    for half in (free.held_to_m(1.0, -10.0 * math.log10(16.0), 60.0), free.held_to_m(1.0 / 16.0, 0.0, 60.0)):
        assert half == pytest.approx(far / 2.0, abs=10.0)
    more = free.held_to_m(1.0, 10.0 * math.log10(1.2**4), 60.0)
    assert more == pytest.approx(1.2 * far, abs=12.0)


def test_a_worse_sea_and_a_lower_thing_are_seen_less_far() -> None:
    def held(height_m: float, wave_m: float) -> float:
        reach = curve_for(RADAR, 11_112.0, height_m, wave_m).held_to_m(2.5, 0.0, RADAR.min_range_m)
        assert reach is not None
        return reach

    assert held(0.5, 0.2) < held(1.0, 0.2) < held(3.0, 0.2)


@pytest.mark.parametrize("heading_deg", [0.0, 50.0, 235.0])
def test_clutter_is_laid_on_true_bearings(heading_deg: float) -> None:
    """A bright sector on the starboard bow lies at heading plus its angle, and past 0.5 dB as its own power."""
    clutter_db = np.zeros((360, 100), dtype=np.float32)
    clutter_db[40, 30] = 20.0
    clutter_db[200, :] = np.nan
    ranges = 10.0 + 20.0 * np.arange(100)
    out = clutter_at(clutter_db, 10.0, 20.0, math.radians(heading_deg), ranges, 720)
    row = round((heading_deg + 40.0) * 2.0) % 720
    # 20 dB is a hundredfold; the floor of plain noise is taken off.
    assert out[row, 30] == pytest.approx(100.0, abs=1.5)
    assert np.argmax(np.nan_to_num(out).sum(axis=1)) in (row - 1, row, row + 1)
    assert np.isnan(out[round((heading_deg + 200.0) * 2.0) % 720]).all()
    assert np.count_nonzero(np.nan_to_num(out)) <= 3  # nowhere else


@pytest.mark.parametrize(("reach_nm", "scale"), [(1.5, 1.5), (1.49, 1.5), (1.4, 0.75), (0.05, 0.125), (7.0, 6.0)])
def test_the_scale_of_a_picture(reach_nm: float, scale: float) -> None:
    # Range scales of MSC.192(79) and MSC.64(67) annex 4, 3.3.2, and finer ones; video reaches the edge or past it.
    assert scale_of(reach_nm * 1852.0) == scale


def test_the_line_ends_where_land_a_vessel_or_a_mast_shuts_the_view() -> None:
    """And not where only clutter or the horizon does: those are in the line already."""
    water = open_water(2000.0)
    for row, cause in ((10, "land"), (20, "vessel"), (30, "blind sector"), (40, "clutter"), (50, "horizon")):
        water.cause[row, 200:] = CAUSE_OF[cause]
    water.land[60, 100:110] = True
    at = [200 * water.cell_m] * 3 + [1800.0] * 2 + [100 * water.cell_m, 1800.0]
    line = cut_off(np.full(N_BEARINGS, 1800.0), water, 2000.0)
    assert line[[10, 20, 30, 40, 50, 60, 70]] == pytest.approx(at)
    assert cut_off(np.full(3, 9000.0), None, 2000.0) == pytest.approx([2000.0] * 3)


def _turn(**changes: Any) -> Situation:
    """One turn with a picture of plain noise, far past what is asked about."""
    picture = SimpleNamespace(clutter_db=np.zeros((720, 512), dtype=np.float32))
    scan = SimpleNamespace(first_cell_m=3.0, cell_m=6.0)
    return make_situation(scan=scan, picture=picture, **changes)


def test_a_radar_not_shown_to_hear_has_no_seeing_line() -> None:
    curve, stage = _free(), VisibilityStage(make_boat())
    known = RadarPerformance(0.0, 0.5, True)
    for turn, is_drawn in ((_turn(), True), (_turn(is_hearing_shown=False), False), (make_situation(), False)):
        own = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)
        assert (stage._seeing_line(turn, own, curve, known) is not None) is is_drawn
        assert (stage._seeing(turn, own, curve, known) != ()) is is_drawn


def test_what_is_not_known_of_the_radar_brings_the_line_in() -> None:
    """Twelve decibels of doubt are half the range in free space, exactly as twelve decibels lost are."""
    curve, stage, own = _free(), VisibilityStage(make_boat()), OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)
    at = [
        stage._seeing_line(_turn(), own, curve, RadarPerformance(offset, sigma, True))
        for offset, sigma in ((0.0, 0.0), (0.0, 12.04), (-12.04, 0.0), (-6.02, 6.02))
    ]
    assert at[0] is not None and 600.0 < at[0][0] < 2900.0
    for half in at[1:]:
        assert half is not None and half[0] == pytest.approx(at[0][0] / 2.0, abs=10.0)


def test_rain_and_sea_are_set_against_what_is_seen() -> None:
    def held(weather: Weather) -> float:
        return curve_in(RADAR, 5_556.0, 1.0, weather, 0.0).held_to_m(2.5, 0.0, RADAR.min_range_m) or 0.0

    dry = held(Weather(0.3, 0.0, 3.0))
    assert dry > 1.5 * held(Weather(0.3, 0.0, 3.0, rain_everywhere_mmh=25.0))
    assert dry > 1.5 * held(Weather(2.0, 0.0, 14.0))
