"""The bearing bias by a coast that lies off, and by vessels that say where they are; and that it is not made up."""

from __future__ import annotations

import math

import numpy as np
import pytest
from reading_coasts import LAND, NONE, shore
from reading_fakes import FRAME, T0, FakeChart, S, make_boat

from moonless.reading.chart_around import Place, lay_out
from moonless.reading.own import OwnPlane
from moonless.reading.registration.bearing_bias import Bearing, BearingSearch
from moonless.reading.registration.matching import turned_back
from moonless.reading.registration.observations import Sightings
from moonless.track.types import AisTarget

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 2.0)


@pytest.fixture(scope="module")
def place() -> Place:
    laid = lay_out(FakeChart(land=LAND), FRAME, 0.0, 0.0, 5000.0)
    assert laid is not None
    return laid


Said = list[tuple[AisTarget, ...]]


def _settled(seen: list[Sightings], place: Place | None, ais: Said | None = None) -> Bearing | None:
    search = BearingSearch(make_boat())
    told = None
    for k, one in enumerate(seen):
        told = search.update(T0 + round(2.5 * k * S), one, OWN, place, ais[k] if ais else ())
    return told


@pytest.mark.parametrize("bias_deg", [-5.0, -2.0, 0.0, 3.0, 5.0])
def test_a_coast_up_to_200_m_off_tells_the_bearing_bias_and_how_sure_it_is(bias_deg: float, place: Place) -> None:
    off = []
    for seed in range(8):
        rng = np.random.default_rng([seed, round(bias_deg * 10) + 100])
        way = rng.uniform(0.0, math.tau)
        shift = (200.0 * math.sin(way), 200.0 * math.cos(way)) if seed % 2 else (100.0 * math.cos(way), 0.0)
        told = _settled([shore(math.radians(bias_deg), shift, rng)] * 3, place)
        if told is not None:
            assert math.degrees(told.sigma) < 2.0
            off.append((told.bias - math.radians(bias_deg)) / told.sigma)
    assert len(off) >= 6
    # An honest sigma: of eight, none is three of it off, and their mean square is about one or less (chi-square: 95 %
    # of eight lie below 1.94).
    assert np.max(np.abs(off)) < 3.0
    assert np.mean(np.square(off)) < 1.94


def test_a_coast_that_is_another_is_not_made_to_fit(place: Place) -> None:
    """The same echoes turned about the boat: whatever is told then would be made up."""
    rng = np.random.default_rng(4)
    seen = shore(0.0, (80.0, -60.0), rng)
    told = []
    for turned_deg in range(40, 340, 30):
        rel = turned_back(seen.shore_rel, math.radians(turned_deg))
        told.append(_settled([Sightings(rel, seen.shore_own, NONE, NONE, np.zeros(0), np.zeros(0))] * 6, place))
    assert sum(one is not None for one in told) == 0


def test_it_moves_slowly_and_keeps_what_it_knew(place: Place) -> None:
    rng = np.random.default_rng(8)
    search = BearingSearch(make_boat())
    biases = []
    for k in range(40):
        told = search.update(T0 + round(2.5 * k * S), shore(math.radians(-3.0), (90.0, 90.0), rng), OWN, place, ())
        if told is not None:
            biases.append(math.degrees(told.bias))
    assert len(biases) > 30
    assert np.max(np.abs(np.diff(biases))) < 0.15
    correction = search.correction
    assert correction is not None and correction.state[1:] == pytest.approx(0.0)
    # The shore is gone: nothing new, and the old one goes on being taken out, less sure.
    empty = Sightings(NONE, NONE, NONE, NONE, np.zeros(0), np.zeros(0))
    search.update(T0 + 1000 * S, empty, OWN, place, ())
    assert search.correction is not None and search.correction.state[0] == pytest.approx(correction.state[0], abs=0.003)


def _vessels(k: int) -> np.ndarray:
    t = 2.5 * k
    return np.array([[-1500.0 + 5.0 * t, 1800.0], [2000.0, -500.0 - 4.0 * t], [900.0 - 3.0 * t, -2500.0 + 2.0 * t]])


def _met(bias: float, rng: np.random.Generator, *, is_shown: bool = True) -> tuple[list[Sightings], Said]:
    seen: list[Sightings] = []
    said: Said = []
    velocity = _vessels(1) - _vessels(0)
    for k in range(60):
        at = _vessels(k)
        clutter = rng.uniform(-4000.0, 4000.0, (40, 2))
        shown = at[rng.random(3) < 0.6] if is_shown else NONE
        rel = turned_back(np.vstack([shown + rng.normal(0, 10.0, shown.shape), clutter]), -bias)
        n = len(rel)
        seen.append(Sightings(NONE, NONE, rel, np.zeros((n, 2)), np.full(n, 5.0), np.full(n, 0.005)))
        lat, lon = FRAME.to_geographic(at[:, 0], at[:, 1])
        course = np.arctan2(velocity[:, 0], velocity[:, 1])
        now = T0 + round(2.5 * k * S)
        said.append(
            tuple(
                AisTarget(i, now, float(lat[i]), float(lon[i]), float(course[i]), float(np.hypot(*velocity[i])) / 2.5)
                for i in range(3)
            )
        )
    return seen, said


@pytest.mark.parametrize("bias_deg", [-4.0, 0.0, 2.0, 5.0])
def test_vessels_that_say_where_they_are_tell_the_bearing_bias_without_a_chart(bias_deg: float) -> None:
    seen, said = _met(math.radians(bias_deg), np.random.default_rng(11))
    told = _settled(seen, None, said)
    assert told is not None
    assert abs(told.bias - math.radians(bias_deg)) < 2.0 * told.sigma < math.radians(1.6)


def test_vessels_that_the_radar_does_not_show_tell_nothing() -> None:
    for seed in range(6):
        seen, said = _met(0.0, np.random.default_rng(seed), is_shown=False)
        assert _settled(seen, None, said) is None


@pytest.mark.parametrize(("sog", "told"), [(0.0, True), (0.1, True), (0.7, False)])
def test_a_vessel_at_rest_tells_it_too_by_a_report_minutes_old(sog: float, told: bool) -> None:
    # At anchor she reports every three minutes (ITU-R M.1371); what creeps at 0.7 m/s may be anywhere by then.
    rng, bias = np.random.default_rng(3), math.radians(4.0)
    at = np.array([[1400.0, 900.0], [-700.0, 1600.0]])
    lat, lon = FRAME.to_geographic(at[:, 0], at[:, 1])
    seen: list[Sightings] = []
    said: Said = []
    for k in range(60):
        rel = np.vstack([at + rng.normal(0, 8.0, at.shape), rng.uniform(-4000.0, 4000.0, (30, 2))])
        n = len(rel)
        rel = turned_back(rel, -bias)
        seen.append(Sightings(NONE, NONE, rel, np.zeros((n, 2)), np.full(n, 5.0), np.full(n, 0.005)))
        reported = max(0, T0 + round((2.5 * k - 170.0) * S))
        said.append(tuple(AisTarget(i, reported, float(lat[i]), float(lon[i]), 1.0, sog) for i in range(2)))
    found = _settled(seen, None, said)
    assert (found is not None) is told
    if found is not None:
        assert found.bias == pytest.approx(bias, abs=math.radians(1.2))
