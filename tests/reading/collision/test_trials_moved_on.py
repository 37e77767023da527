"""The skipper's trial against boats moved on by the clock: no formula of ours is in what is expected."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, FakeChart, make_boat, make_situation, make_track

from moonless.boat.types import Skipper
from moonless.chart.types import Feature
from moonless.reading.judge import Judge
from moonless.reading.trial_types import Trial

KEEP_OFF_M = 300.0
STEP_S = 0.25
KNOT = 1852.0 / 3600.0

# Own course and speed, the course tried, after how long, and where the boat is.
LEAST, MOST = (0.0, 3.0, 0.0, 0.0, -800.0, -800.0), (math.tau, 9.0, math.tau, 90.0, 800.0, 800.0)
CASES = [(seed, *np.random.default_rng(seed).uniform(LEAST, MOST)) for seed in range(8)]


def _vector(course_rad: float, speed: float) -> np.ndarray:
    return speed * np.array([math.sin(course_rad), math.cos(course_rad)])


def _judge(chart: Any = None) -> Judge:
    return Judge(make_boat(skipper=Skipper(keep_off_m=KEEP_OFF_M)), chart or FakeChart())


def _tried(judge: Judge, *asked: Any) -> Trial:
    trial = judge.try_manoeuvre(*asked)
    assert isinstance(trial, Trial)
    return trial


def _plane(lonlat: tuple[float, float]) -> np.ndarray:
    return np.array(FRAME.to_plane(lonlat[1], lonlat[0]))


def _own_path(start: np.ndarray, old: np.ndarray, new: np.ndarray, delay_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the times and places (n, 2) of a boat that changes once, by small steps."""
    times = np.arange(0.0, delay_s + 720.0, STEP_S)
    steps = np.where((times < delay_s)[:, None], old, new) * STEP_S
    return times, start + np.vstack([np.zeros(2), np.cumsum(steps, axis=0)[:-1]])


@pytest.mark.parametrize(("seed", "course", "speed", "new_course", "delay_s", "east", "north"), CASES)
def test_every_closest_approach_is_where_and_when_two_boats_come_to_it(
    seed: int, course: float, speed: float, new_course: float, delay_s: float, east: float, north: float
) -> None:
    rng = np.random.default_rng(seed + 100)
    delay_s, new_speed = round(delay_s / STEP_S) * STEP_S, float(rng.uniform(2.0, 9.0))
    start, old, new = np.array([east, north]), _vector(course, speed), _vector(new_course, new_speed)
    others = [(start + rng.uniform(-1800.0, 1800.0, 2), rng.uniform(-6.0, 6.0, 2)) for _ in range(3)]
    judge = _judge()
    tracks = [make_track(k + 1, *place, *motion) for k, (place, motion) in enumerate(others)]
    judge.read(make_situation(tracks, east, north, course, speed, sight="in sight"))
    trial = _tried(judge, new_course, new_speed, delay_s)
    assert trial.course_deg == pytest.approx(math.degrees(new_course) % 360.0)
    assert trial.speed_kn == pytest.approx(new_speed / KNOT)
    assert trial.turn_deg == pytest.approx(math.remainder(math.degrees(new_course - course), 360.0), abs=1e-6)
    times, mine = _own_path(start, old, new, delay_s)
    for at_s, told in zip((0.0, delay_s, delay_s + 720.0), trial.path, strict=True):
        want = start + old * min(at_s, delay_s) + new * max(at_s - delay_s, 0.0)
        assert np.hypot(*(_plane(told) - want)) < 0.1
    echoes = {echo.id: echo for echo in trial.echoes}
    assert [e.cpa_m for e in trial.echoes] == sorted(e.cpa_m for e in trial.echoes)
    assert (trial.closest_id, trial.closest_m) == (trial.echoes[0].id, trial.echoes[0].cpa_m)
    for k, (place, motion) in enumerate(others):
        hers = place + times[:, None] * motion
        apart = np.hypot(*(hers - mine).T)
        n, echo = int(np.argmin(apart)), echoes[k + 1]
        assert echo.cpa_m == pytest.approx(float(apart[n]), abs=2.0)
        assert np.hypot(*(_plane(echo.own) - _plane(echo.her))) == pytest.approx(echo.cpa_m, abs=0.1)
        assert np.hypot(*(_plane(echo.her) - (place + echo.tcpa_s * motion))) < 0.1
        m = min(round(echo.tcpa_s / STEP_S), len(times) - 1)
        assert np.hypot(*(_plane(echo.own) - mine[m])) < 2.0
        assert apart[m] == pytest.approx(float(apart[n]), abs=2.0)
        # What is nearer already must only not come nearer: by two parts in a hundred at the most.
        assert echo.inside == bool(apart[n] < min(KEEP_OFF_M, 0.98 * apart[0]))
    assert trial.clears == (not any(e.inside for e in trial.echoes))
    assert ("inside its keep-off" in trial.say) == trial.clears


@pytest.mark.parametrize("delay_s", [0.0, 60.0])
@pytest.mark.parametrize("course", [0.0, 2.5])
def test_the_doubt_of_a_tried_approach_is_the_scatter_of_drawn_ones(course: float, delay_s: float) -> None:
    """Places and motions drawn from the track's covariance, and own speed good to a tenth, moved on one by one."""
    rng = np.random.default_rng(5)
    covariance = np.diag([400.0, 100.0, 0.09, 0.04])
    place, motion = 1500.0 * _vector(course - 0.2, 1.0), _vector(course + 3.5, 4.0)
    judge = _judge()
    track = make_track(1, *place, *motion, covariance=covariance)
    judge.read(make_situation([track], 0.0, 0.0, course, 5.0, sight="in sight"))
    (echo,) = _tried(judge, course + 0.6, 4.0, delay_s).echoes
    old, new = _vector(course, 5.0), _vector(course + 0.6, 4.0)
    times, mine = _own_path(np.zeros(2), old, new, delay_s)
    near = np.abs(times - echo.tcpa_s) < 120.0
    states = rng.multivariate_normal([*place, *motion], covariance, 1500)
    slip = rng.normal(0.0, 0.1, (1500, 2))
    hers = states[:, None, :2] + times[near][None, :, None] * (states[:, None, 2:] + slip[:, None, :])
    closest = np.hypot(*np.moveaxis(hers - mine[near], 2, 0)).min(axis=1)
    assert echo.cpa_m > 3.0 * float(closest.std())  # so far off that the scatter is a straight one
    assert echo.cpa_sigma_m == pytest.approx(float(closest.std()), rel=0.12)


@pytest.mark.parametrize("turned", [0.0, 1.9])
def test_water_hidden_by_an_island_is_met_where_the_island_stands_before_it(turned: float) -> None:
    c, s = math.cos(turned), math.sin(turned)

    def place(ahead_m: float, right_m: float) -> tuple[float, float]:
        return 300.0 + ahead_m * s + right_m * c, -500.0 + ahead_m * c - right_m * s

    corners = [place(600.0, -100.0), place(600.0, 100.0), place(800.0, 100.0), place(800.0, -100.0)]
    island = shapely.Polygon(corners)
    land = shapely.MultiPolygon([island])
    chart = FakeChart(land=land, depths=(Feature("LNDARE", "TEST", "cay", land, {}, 10_000),))
    judge, start = _judge(chart), np.array(place(0.0, 0.0))
    judge.read(make_situation([], *start, turned + math.radians(30.0), 5.0))
    # Past the island's right hand for four minutes, and then square to the left, behind it.
    trial = _tried(judge, turned - math.radians(90.0), 4.0, 240.0)
    assert trial.hidden is not None and trial.hidden.by == "land"
    right, left = _vector(turned + math.radians(30.0), 5.0), _vector(turned - math.pi / 2.0, 4.0)
    _, mine = _own_path(start, right, left, 240.0)
    m = round(trial.hidden.in_s / STEP_S)
    assert np.hypot(*(_plane((trial.hidden.lon, trial.hidden.lat)) - mine[m])) < 3.0
    assert trial.hidden.distance_m == pytest.approx(float(np.hypot(*np.diff(mine[: m + 1], axis=0).T).sum()), abs=3.0)
    sight = [shapely.LineString([start, p]).intersects(island) for p in mine[:: int(1 / STEP_S)]]
    first = sight.index(True)
    # Cells of the picture of hidden water are some metres wide, and the land is taken a little wider than it is drawn.
    assert abs(trial.hidden.in_s - first) * 4.0 < 60.0
    # The island in the way of the present course, before the turn: the chart says so, with when and where.
    straight = _tried(judge, turned, None, 0.0)
    assert straight.chart is not None and straight.chart.what == "land"
    assert straight.chart.in_s == pytest.approx(straight.chart.distance_m / 5.0)
    at = _plane((straight.chart.lon, straight.chart.lat))
    assert np.hypot(*(at - start)) == pytest.approx(straight.chart.distance_m, abs=0.2)
    assert 540.0 < straight.chart.distance_m <= 601.0 and island.distance(shapely.Point(at)) < 60.0
    judge.read(make_situation([], *start, turned, 5.0))
    before = _tried(judge, turned + 1.5, 3.0, 200.0)
    assert before.chart is not None and before.chart.in_s == pytest.approx(before.chart.distance_m / 5.0)
    assert before.chart.distance_m == pytest.approx(straight.chart.distance_m, abs=1.0) and not before.clears
    # The turn comes in time, and what lies on the new course is met after both parts of the way.
    second = _judge(chart)
    second.read(make_situation([], *place(0.0, -400.0), turned, 5.0))
    after = _tried(second, turned + math.radians(45.0), 3.0, 60.0)
    assert after.chart is not None and after.chart.what == "land"
    assert after.chart.in_s == pytest.approx(60.0 + (after.chart.distance_m - 300.0) / 3.0)
    line = shapely.LineString([place(300.0, -400.0), place(1300.0, 600.0)])
    run = 300.0 + shapely.Point(place(300.0, -400.0)).distance(line.intersection(island))
    assert after.chart.distance_m == pytest.approx(run, abs=45.0)
