"""The steps of the wide search for the bearing bias, each against a closed form: densities, geometry, Kalman's gain.

Half-Cauchy and normal densities are scipy's; places are reckoned in polar form, by range and true bearing.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S, make_boat
from scipy import stats

from moonless.reading.own import OwnPlane
from moonless.reading.registration import bearing_bias
from moonless.reading.registration.bearing_bias import (
    BearingSearch,
    _Vessel,
    _way_of,
    first_edges,
    shore_likelihood,
)
from moonless.reading.registration.observations import Sightings
from moonless.reading.situation import BearingByMotion
from moonless.track.types import AisTarget

BIAS_DEG = np.arange(-9.0, 9.1, 1.0)
FINE_DEG = np.arange(-9.0, 9.1, 0.25)
SHIFT_M = np.arange(-300.0, 301.0, 60.0)
NONE = np.zeros((0, 2))


def _polar(range_m: float, bearing_deg: float) -> tuple[float, float]:
    b = math.radians(bearing_deg)
    return range_m * math.sin(b), range_m * math.cos(b)


def _log_shore(away_m: float, scale_m: float) -> float:
    """An echo so far from the charted shore, over one anywhere within 600 m of it; three in ten are of nothing."""
    near, anywhere = stats.halfcauchy(scale=scale_m), stats.uniform(0.0, 600.0)
    return float(np.log((0.7 * near.pdf(away_m) + 0.3 * anywhere.pdf(away_m)) / anywhere.pdf(away_m)))


class _Straight:
    """A charted shore, straight, 1300 m off on 040 true; distances in cells of 20 m, 30 at the most."""

    def cells_to_shore(self, points_en: np.ndarray) -> np.ndarray:
        towards = points_en @ np.array(_polar(1.0, 40.0))
        return np.asarray(np.minimum(np.round(np.abs(towards - 1300.0) / 20.0), 30).astype(np.uint8))


def test_how_likely_a_shore_is_at_each_bias_and_shift() -> None:
    straight: Any = _Straight()
    # Four edges in the square of 800 m that begins at (800, 800): one vote among them.  One alone: a third.
    edges = [(1290.0, 40.0), (1320.0, 42.0), (1350.0, 38.0), (1180.0, 59.0), (900.0, -20.0)]
    own = np.array([[30.0, -10.0]] * 3 + [[-90.0, 240.0], [30.0, -10.0]])
    rel = np.array([_polar(*edge) for edge in edges])
    likely, votes = shore_likelihood(straight, rel, own)
    assert likely.shape == (4, 19, 121) and votes == pytest.approx(4.0 / 3.0)
    for k, scale in enumerate((15.0, 40.0, 80.0, 160.0)):
        for i, bias in ((0, -9.0), (9, 0.0), (12, 3.0), (18, 9.0)):
            for east, north in ((-300.0, -300.0), (0.0, 0.0), (60.0, -120.0), (300.0, 180.0)):
                want = 0.0
                shares = (0.25, 0.25, 0.25, 0.25, 1.0 / 3.0)
                for (range_m, bearing), at, weight in zip(edges, own.tolist(), shares, strict=True):
                    # Reported less bias is the true bearing; the coast as charted lies back by its shift.
                    e, n = _polar(range_m, bearing - bias)
                    towards = np.dot(_polar(1.0, 40.0), (at[0] + e - east, at[1] + n - north))
                    away = min(20.0 * round(abs(float(towards) - 1300.0) / 20.0), 600.0)
                    want += weight * _log_shore(away, scale)
                shift = 11 * round((east + 300.0) / 60.0) + round((north + 300.0) / 60.0)
                assert likely[k, i, shift] == pytest.approx(want, abs=1e-9), (scale, bias, east, north)


def test_the_table_of_a_shores_likelihood() -> None:
    for k, scale in enumerate((15.0, 40.0, 80.0, 160.0)):
        assert bearing_bias._table()[k] == pytest.approx([_log_shore(20.0 * cell, scale) for cell in range(31)])


def test_the_first_edge_on_every_half_degree_is_what_is_seen() -> None:
    rel = np.array([_polar(800.0, 10.0), _polar(700.0, 10.05), _polar(900.0, 10.5), _polar(300.0, -170.0),
                    _polar(800.0, 90.0), _polar(700.0, 90.05), _polar(850.0, 0.0), _polar(750.0, 0.05)])  # fmt: skip
    own = np.arange(16.0).reshape(8, 2)
    seen = Sightings(rel, own, NONE, NONE, np.zeros(0), np.zeros(0))
    first, at = first_edges(seen)
    got = {(round(float(np.hypot(*r))), tuple(o)) for r, o in zip(first, at, strict=True)}
    assert got == {(700, (2.0, 3.0)), (900, (4.0, 5.0)), (300, (6.0, 7.0)), (700, (10.0, 11.0)), (750, (14.0, 15.0))}
    # All round there are 720 half degrees; 160 of them, from first to last, are looked at.
    rel = np.array([_polar(1000.0, -179.5 + 0.5 * k) for k in range(700)])
    first, _ = first_edges(Sightings(rel, rel, NONE, NONE, np.zeros(0), np.zeros(0)))
    bearings = np.degrees(np.arctan2(first[:, 0], first[:, 1]))
    assert len(first) == 160 and bearings[0] == pytest.approx(-179.5) and bearings[-1] == pytest.approx(170.0)
    assert np.max(np.diff(bearings)) <= 2.51


def _ais(sog: float | None, cog_deg: float | None = 90.0, age_s: float = 0.0, **more: Any) -> AisTarget:
    lat, lon = FRAME.to_geographic(*more.pop("at", (3000.0, 0.0)))
    cog = None if cog_deg is None else math.radians(cog_deg)
    return AisTarget(more.pop("mmsi", 1), T0 - round(age_s * S), float(lat), float(lon), cog, sog, **more)


@pytest.mark.parametrize(
    ("sog", "cog_deg", "age_s", "way"),
    [
        (None, 90.0, 1.0, None), (0.29, None, 199.0, (0.0, 0.0)), (0.29, 90.0, 201.0, None), (0.31, 90.0, 1.0, None),
        (0.99, 90.0, 1.0, None), (1.0, 0.0, 30.0, (0.0, 1.0)), (4.0, 30.0, 30.0, (2.0, 4.0 * math.cos(math.pi / 6))),
        (4.0, 30.0, 30.1, None), (4.0, None, 1.0, None), (0.1, 90.0, 31.0, (0.0, 0.0)),
        (2.0, 270.0, 3.0, (-2.0, 0.0)),
    ],
)  # fmt: skip
def test_where_a_report_still_places_a_vessel(
    sog: float | None, cog_deg: float | None, age_s: float, way: tuple[float, float] | None
) -> None:
    # At rest (less than 0.3 m/s) for 200 s, at 1 m/s and more for 30 s; between them never.  Own figures.
    assert _way_of(_ais(sog, cog_deg), age_s) == (None if way is None else pytest.approx(way, abs=1e-9))


def test_what_a_turns_plots_say_of_the_bias() -> None:
    """Half of the time the plot at her range is hers, normal about the bias; else anywhere within 18 degrees."""
    vessel, sigma = _Vessel(), math.radians(0.7)
    flat = 1.0 / math.radians(18.0)
    one = math.radians(2.0)
    vessel.take_in(np.array([one]), sigma, 2500.0, T0)
    fine = np.radians(FINE_DEG)
    want = np.log(0.5 * stats.norm.pdf(fine, one, sigma) / flat + 0.5)
    assert vessel.log == pytest.approx(want, abs=1e-9)
    # Two plots: each could be she, and two lie anywhere.
    two = np.radians([2.0, -4.0])
    vessel.take_in(two, sigma, 2600.0, T0 + S)
    either = stats.norm.pdf(fine[:, None], two, sigma).sum(axis=1)
    # A sixtieth of what was known fades with each turn.
    want = want * (59.0 / 60.0) + np.log((0.5 * either + 0.5 * 2.0 * flat) / (2.0 * flat))
    assert vessel.log == pytest.approx(want, abs=1e-9)
    assert (vessel.range_m, vessel.last_ns) == (2600.0, T0 + S)


@pytest.mark.parametrize(("range_m", "own_deg"), [(4000.0, 0.5766), (500.0, 2.3457), (200.0, 2.3457)])
def test_her_own_errors_stay_in_what_she_says(range_m: float, own_deg: float) -> None:
    """Of turns six count as one; half a degree is hers, and 20 m of her place (at 500 m at the least) beside it.

    A normal likelihood of s a turn is one of root(6) s, and with an independent error the variances add.
    """
    vessel, s = _Vessel(), 0.6
    vessel.log = -0.5 * ((FINE_DEG - 1.0) / s) ** 2 + 7.0
    vessel.range_m = range_m
    likely = vessel.likelihood()
    assert own_deg == pytest.approx(math.hypot(0.5, math.degrees(20.0 / max(range_m, 500.0))), abs=1e-3)
    variance = 6.0 * s**2 + own_deg**2
    at = np.abs(FINE_DEG - 1.0) <= 1.5
    want = -0.5 * (FINE_DEG - 1.0) ** 2 / variance
    assert (likely - likely[40])[at] == pytest.approx((want - want[40])[at], abs=0.02)
    assert np.exp(likely).mean() == pytest.approx(1.0)


def _told_of(
    monkeypatch: pytest.MonkeyPatch, ais: AisTarget, plots: list[tuple[float, float]], sigmas: list[float] | None = None
) -> list[tuple[list[float], float, float]]:
    """Return what one vessel's plots are taken for: (bearings off, degrees), sigma in degrees, range."""
    told: list[tuple[list[float], float, float]] = []

    def take_in(self: _Vessel, away: np.ndarray, sigma: float, range_m: float, time_ns: int) -> None:
        told.append((np.degrees(away).tolist(), math.degrees(sigma), range_m))
        self.last_ns = time_ns

    monkeypatch.setattr(_Vessel, "take_in", take_in)
    rel = np.array([_polar(*plot) for plot in plots]).reshape(-1, 2)
    n = len(plots)
    azimuth = np.radians(np.array(sigmas) if sigmas else np.full(n, 0.4))
    seen = Sightings(NONE, NONE, rel, np.zeros((n, 2)), np.full(n, 5.0), azimuth)
    # The boat stands away from the middle of the plane.
    own = OwnPlane(FRAME, 400.0, -300.0, 0.0, 0.0, 2.0)
    BearingSearch(make_boat(position_sigma_m=15.0)).update(T0, seen, own, None, (ais,))
    return told


@pytest.mark.parametrize("turn", [0.0, 115.0, 290.0])
def test_a_vessels_plots_are_those_at_her_range_and_near_her_bearing(
    turn: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Ten seconds ago she was at 3000 m on 060 from the boat, going 330 at 5 m/s: across the line of sight, 50 m.
    # Turned about the boat it is the same, past south and past north too.
    east, north = _polar(3000.0, 60.0 + turn)
    step = _polar(50.0, 330.0 + turn)
    range_m = math.hypot(east + step[0], north + step[1])
    bearing = math.degrees(math.atan2(east + step[0], north + step[1]))
    her = _ais(5.0, 330.0 + turn, 10.0, at=(400.0 + east, -300.0 + north))
    off = [(0.0, 2.0), (79.0, -8.5), (82.0, 0.0), (-79.0, 0.0), (-82.0, 0.0), (0.0, 10.2), (0.0, -10.2), (0.0, 10.0)]
    plots = [(range_m + far, bearing + aside) for far, aside in off]
    told = _told_of(monkeypatch, her, plots, [0.2, 0.3, 5.0, 0.4, 5.0, 5.0, 5.0, 0.6])
    assert len(told) == 1
    away, sigma, at_range = told[0]
    assert away == pytest.approx([2.0, -8.5, 0.0, 10.0], abs=0.02)
    assert at_range == pytest.approx(range_m, abs=0.5)
    # Half a degree of scatter, 20 m and 0.4 m a second of hers with 15 m of the boat's, and the middle plot's own beam.
    place = math.degrees(math.hypot(20.0 + 4.0, 15.0) / range_m)
    assert sigma == pytest.approx(math.sqrt(0.5**2 + place**2 + 0.35**2), rel=1e-3)


def test_a_long_ship_at_anchor_swings(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter of her length more of range, and of doubt; her report may be three minutes old."""
    her = _ais(0.1, None, 150.0, at=(400.0 + 3000.0, -300.0), length_m=200.0)
    told = _told_of(monkeypatch, her, [(3129.0, 90.0), (3131.0, 90.0)])
    assert len(told) == 1 and len(told[0][0]) == 1
    place = math.degrees(math.hypot(20.0 + 50.0, 15.0) / 3000.0)
    assert told[0][1] == pytest.approx(math.sqrt(0.5**2 + place**2 + 0.4**2), rel=1e-3)


@pytest.mark.parametrize(
    ("ais", "speaks"),
    [
        (_ais(0.0, at=(3400.0, -300.0)), True),
        (_ais(0.0, at=(3400.0, -300.0), is_own=True), False),
        (_ais(0.0, at=(3400.0, -300.0), is_aid=True), False),
        (_ais(0.6, at=(3400.0, -300.0)), False),
        (_ais(0.0, at=(890.0, -300.0)), False),
        (_ais(0.0, at=(910.0, -300.0)), True),
    ],
    ids=["a vessel", "the boat herself", "an aid", "one that creeps", "too near", "near"],
)
def test_who_is_asked(ais: AisTarget, speaks: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    assert bool(_told_of(monkeypatch, ais, [(3000.0, 91.0), (500.0, 91.0)])) is speaks


def test_a_vessel_unheard_for_two_minutes_is_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    search = BearingSearch(make_boat())
    rel = np.array([[3000.0, 0.0]])
    seen = Sightings(NONE, NONE, rel, np.zeros((1, 2)), np.full(1, 5.0), np.full(1, 0.01))
    empty = Sightings(NONE, NONE, NONE, NONE, np.zeros(0), np.zeros(0))
    own = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 2.0)
    search.update(T0, seen, own, None, (_ais(0.0),))
    search.update(T0 + 119 * S, empty, own, None, ())
    assert list(search._vessels) == [1]
    search.update(T0 + 121 * S, empty, own, None, ())
    assert not search._vessels


@pytest.mark.parametrize(("bias_deg", "sigma_deg"), [(2.0, 0.5), (-3.0, 1.0), (0.5, 0.8), (1.2, 0.9)])
def test_own_motion_alone_gives_its_bias_held_against_what_compasses_do(bias_deg: float, sigma_deg: float) -> None:
    """Normal by normal (an installed heading is out by 5 degrees); then no finer than 0.3 degrees, and shrunk."""
    search = BearingSearch(make_boat())
    found = search._posterior(BearingByMotion(math.radians(bias_deg), math.radians(sigma_deg)))
    assert found is not None
    variance = 1.0 / (1.0 / 25.0 + 1.0 / sigma_deg**2)
    mean, sigma = variance * bias_deg / sigma_deg**2, math.hypot(math.sqrt(variance), 0.3)
    shrunk = mean * max(0.0, 1.0 - (sigma / mean) ** 2)
    assert math.degrees(found.bias) == pytest.approx(shrunk, abs=2e-3)
    assert math.degrees(found.sigma) == pytest.approx(sigma, abs=2e-3)
    assert search._posterior(None) is None


def _vessel_at(bias_deg: float, gain: float) -> _Vessel:
    vessel = _Vessel()
    vessel.log = -gain * np.minimum(1.0, ((FINE_DEG - bias_deg) / 1.0) ** 2)
    vessel.range_m = 6000.0
    return vessel


def test_a_vessel_speaks_once_her_word_is_plain() -> None:
    # Six turns count as one, and she must have gained two: twelve in log likelihood between best and worst.
    search = BearingSearch(make_boat())
    search._vessels = {1: _vessel_at(2.0, 11.9)}
    assert search._posterior(None) is None
    # Each a normal likelihood: of her turns 1 / 240 square degrees, of six as one 1 / 40; half a degree and 20 m at
    # 6000 m are her own.  Two make it surer, and one that says another draws it to the middle.
    one = 6.0 / 240.0 + 0.5**2 + math.degrees(20.0 / 6000.0) ** 2
    for says, variance in (((2.0,), one), ((2.0, 2.0), one / 2.0), ((2.0, 4.0), one / 2.0)):
        search._vessels = {n: _vessel_at(bias, 120.0) for n, bias in enumerate(says)}
        found = search._posterior(None)
        spread = 1.0 / (1.0 / 25.0 + 1.0 / variance)
        mean, sigma = spread * np.mean(says) / variance, math.hypot(math.sqrt(spread), 0.3)
        assert found is not None and math.degrees(found.sigma) == pytest.approx(sigma, abs=0.02)
        assert math.degrees(found.bias) == pytest.approx(mean * (1.0 - (sigma / mean) ** 2), abs=0.03)


def _shore_at(search: BearingSearch, votes: float, mean: float, bias_deg: float, sigma_deg: float) -> None:
    """A shore whose likelihood is normal in the bias, ``mean`` a vote at the best, and says nothing of the shift."""
    by_bias = -0.5 * ((BIAS_DEG - bias_deg) / sigma_deg) ** 2
    search._shore = np.broadcast_to((by_bias + mean * votes)[None, :, None], (4, 19, 121)).copy()
    search._votes = votes


def test_the_shore_speaks_where_it_fits_better_than_chance() -> None:
    search = BearingSearch(make_boat())
    _shore_at(search, 9.0, 0.3, 3.0, 1.2)
    found = search._posterior(None)
    variance = 1.0 / (1.0 / 25.0 + 1.0 / 1.2**2)
    mean, sigma = variance * 3.0 / 1.2**2, math.hypot(math.sqrt(variance), 0.3)
    assert found is not None
    assert math.degrees(found.sigma) == pytest.approx(sigma, abs=0.01)
    assert math.degrees(found.bias) == pytest.approx(mean * (1.0 - (sigma / mean) ** 2), abs=0.01)
    # Where the bias goes with how far the coast lies off, 2 degrees with 120 m, that doubt is added: squares add.
    east = np.repeat(SHIFT_M, 11)
    gap = (BIAS_DEG[None, :, None] - 3.0 - 2.0 * east / 120.0) / 1.2
    search._shore = np.repeat(-0.5 * gap**2, 4, axis=0)
    found = search._posterior(None)
    variance = 1.0 / (1.0 / 25.0 + 1.0 / (1.2**2 + 2.0**2))
    assert found is not None and math.degrees(found.sigma) == pytest.approx(
        math.hypot(math.sqrt(variance), 0.3), rel=0.03
    )
    for votes, fits in ((7.9, 0.3), (9.0, -0.21)):
        _shore_at(search, votes, fits, 3.0, 1.2)
        assert search._posterior(None) is None
    _shore_at(search, 8.0, -0.19, 3.0, 1.2)
    assert search._posterior(None) is not None


def _spots(*spots: tuple[float, float, float]) -> BearingSearch:
    """A shore that fits at these alone: bias in degrees, shift east and north."""
    search = BearingSearch(make_boat())
    search._shore, search._votes = np.full((4, 19, 121), -300.0), 10.0
    for bias, east, north in spots:
        column = 11 * round((east + 300.0) / 60.0) + round((north + 300.0) / 60.0)
        # Level with the other spots once how far a coast lies off at all (120 m, one sigma each axis) is weighed.
        search._shore[2, round(bias + 9.0), column] = 20.0 + 0.5 * (east**2 + north**2) / 120.0**2
    return search


def test_a_datum_is_told_where_the_coast_fits_in_one_place() -> None:
    fix = _spots((2.0, 60.0, -120.0)).whole_fix
    assert fix == pytest.approx([math.radians(2.0), 60.0, -120.0], abs=1e-9)
    # Two places 120 m apart are one within 70 m, either axis; 180 m apart they are not.
    assert _spots((2.0, -60.0, 60.0), (2.0, 60.0, 60.0)).whole_fix == pytest.approx([math.radians(2.0), 0.0, 60.0])
    assert _spots((2.0, 60.0, -60.0), (2.0, 60.0, 60.0)).whole_fix == pytest.approx([math.radians(2.0), 60.0, 0.0])
    # Equally likely with how far a coast lies off at all: the middle between them.
    assert _spots((2.0, 0.0, 60.0), (2.0, 120.0, 60.0)).whole_fix == pytest.approx([math.radians(2.0), 60.0, 60.0])
    assert _spots((2.0, -120.0, 0.0), (2.0, 60.0, 0.0)).whole_fix is None
    assert _spots((2.0, 0.0, -120.0), (2.0, 0.0, 60.0)).whole_fix is None
    # Two bearings 2 degrees apart are one within a degree and a half; 4 degrees apart they are not.
    assert _spots((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0)).whole_fix == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert _spots((-2.0, 0.0, 0.0), (2.0, 0.0, 0.0)).whole_fix is None
    # And it must be worth 0.4 a vote, of eight.
    search = _spots((0.0, 0.0, 0.0))
    search._votes = 51.0
    assert search.whole_fix is None
    search._votes = 49.0
    assert search.whole_fix is not None
    search._votes = 7.9
    assert search.whole_fix is None


def test_turns_are_averaged_over_the_last_twelve(monkeypatch: pytest.MonkeyPatch) -> None:
    """A mean while there are fewer; then each turn has a twelfth."""
    place: Any = type("Place", (), {})()
    place.shore = type("Shore", (), {"tree": object(), "points": np.zeros((1, 2))})()
    place.radius_m, place.middle_east_m, place.middle_north_m = 500.0, 0.0, 0.0
    search = BearingSearch(make_boat())
    rel = np.array([[0.0, 1000.0]])
    seen = Sightings(rel, rel, NONE, NONE, np.zeros(0), np.zeros(0))
    given = [float(v) for v in np.random.default_rng(2).uniform(-5.0, 5.0, 20)]
    want = 0.0
    for k, value in enumerate(given):
        likely = np.full((4, 19, 121), value)
        monkeypatch.setattr(bearing_bias, "shore_likelihood", lambda *a, v=likely, n=value: (v, 10.0 + n))
        search._look_at_shore(seen, place)
        want = float(np.mean(given[: k + 1])) if k < 12 else want * 11.0 / 12.0 + value / 12.0
        assert search._shore is not None and search._shore[0, 0, 0] == pytest.approx(want)
        assert search._votes == pytest.approx(10.0 + want)
    no_shore = Sightings(NONE, NONE, NONE, NONE, np.zeros(0), np.zeros(0))
    search._look_at_shore(no_shore, place)
    assert search._turns == 20


@pytest.mark.parametrize("away_m", [0.0, 40.0, 130.0, 5000.0])
def test_distances_to_the_charted_shore_are_in_cells_of_twenty_metres(away_m: float) -> None:
    line = np.column_stack([np.arange(-1900.0, 2900.0, 10.0), np.full(480, 400.0)])
    place: Any = type("Place", (), {"radius_m": 2000.0, "middle_east_m": 500.0, "middle_north_m": -300.0})()
    place.shore = type("Shore", (), {"points": line})()
    coast = bearing_bias.Coast(place)
    for side in (-1.0, 1.0):
        got = coast.cells_to_shore(np.array([[900.0, 401.0 + side * away_m]]))
        # To a cell; past 600 m, and past the edge of what was laid out, thirty cells.
        assert float(got[0]) == pytest.approx(min(away_m / 20.0, 30.0), abs=1.0)
