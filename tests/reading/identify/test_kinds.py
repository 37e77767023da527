"""What tells the rare kinds apart: ghosts by what throws them, memories, groups of piles, boats not ashore."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, RADAR, T0, FakeChart, S, make_boat, make_mark, make_track

from moonless.reading.chart_around import lay_out
from moonless.reading.identify.evidence import gather, sea_beside
from moonless.reading.identify.explain import KINDS, Explained, explain
from moonless.reading.identify.ghosts.repeats import multiples
from moonless.reading.identify.ghosts.side_lobes import LOBES_PER_M2, side_lobes
from moonless.reading.identify.history import History
from moonless.reading.identify.motion import Motion
from moonless.reading.identify.past.clutter_runs import clutter_runs
from moonless.reading.identify.reported import PoseSigma, one_of_each, worth_telling
from moonless.reading.own import OwnPlane

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)
POSE = PoseSigma(2.0, 0.004)


def _multiples(ghost: Any, parent: Any, level: tuple[float, float] = (20.0, 50.0), rcs: float = 30.0) -> float:
    rel = np.array([(ghost.east_m, ghost.north_m), (parent.east_m, parent.north_m)])
    cov = np.repeat(100.0 * np.eye(2)[None], 2, axis=0)
    return float(multiples((ghost, parent), rel, cov, OWN, np.array(level), np.array([0.0, rcs]))[0])


def test_a_second_trip_lies_at_twice_the_range_and_moves_twice_as_fast() -> None:
    # The boat goes north at 5 m/s, a ship ahead comes south at 2: against the boat she makes 7, her ghost 14.
    parent = make_track(1, 0.0, 500.0, 0.0, -2.0)
    ghost = make_track(2, 0.0, 1000.0, 0.0, -9.0)
    right = _multiples(ghost, parent)
    assert right > 1e-5
    assert _multiples(make_track(2, 0.0, 1000.0), parent) < 0.1 * right
    assert _multiples(make_track(2, 200.0, 1000.0, 0.0, -9.0), parent) < 1e-3 * right
    # Neither a buoy nor something as strong as its parent.
    assert _multiples(ghost, parent, rcs=7.0) == 0.0
    assert _multiples(ghost, parent, level=(49.0, 50.0)) == 0.0


def test_a_side_lobe_is_as_weak_as_the_lobes_are_there_and_back() -> None:
    # Lobes of -22 dB near and -30 dB far: 44 and 60 dB down, from the radar of the tests.
    levels = np.array([66.0 - 44.0, 66.0 - 60.0, 50.0])
    density = side_lobes(levels, np.full(3, 66.0), RADAR)
    assert density[:2] == pytest.approx([LOBES_PER_M2, LOBES_PER_M2])
    assert density[2] < 1e-3 * LOBES_PER_M2
    assert side_lobes(levels, None, RADAR).tolist() == [0.0, 0.0, 0.0]


def test_of_two_tracks_in_one_beam_the_better_is_told() -> None:
    good = make_track(1, 0.0, 1000.0)
    poor = make_track(2, 20.0, 1005.0, n_hits=4, misses_in_a_row=3)
    assert [t.id for t in one_of_each((good, poor), OWN, 0.07, 15.0)] == [1]
    # Both hit in this turn: two echoes.  Another way, or further off: another thing.
    assert len(one_of_each((good, replace(poor, misses_in_a_row=0)), OWN, 0.07, 15.0)) == 2
    assert len(one_of_each((good, make_track(2, 20.0, 1005.0, 3.0, 0.0, misses_in_a_row=3)), OWN, 0.07, 15.0)) == 2
    assert len(one_of_each((good, make_track(2, 60.0, 1005.0, misses_in_a_row=3)), OWN, 0.07, 15.0)) == 2


def test_nothing_is_told_past_the_edge_or_too_vaguely() -> None:
    vague = make_track(2, 300.0, 300.0, covariance=np.diag([2500.0, 2500.0, 1.0, 1.0]))
    told = worth_telling((make_track(1, 0.0, 500.0), vague, make_track(3, 0.0, 1500.0)), OWN, 20.0, 1400.0, 0.07)
    assert [t.id for t in told] == [1]


def test_what_moves_well_inside_land_is_no_vessel() -> None:
    chart = FakeChart(land=shapely.MultiPolygon([shapely.box(200.0, -500.0, 2000.0, 500.0)]))
    place = lay_out(chart, FRAME, 0.0, 0.0, 3000.0)
    tracks = (make_track(1, 300.0, 0.0, 0.0, 2.0), make_track(2, 100.0, 0.0, 0.0, 2.0))
    evidence = gather(tracks, OWN, place, make_boat(), POSE)
    assert evidence.afloat[0] < 1e-6 and evidence.afloat[1] == 1.0
    assert [e.kind for e in explain(evidence, place, None)] == ["shore", "vessel"]


def test_the_one_echo_of_a_group_may_wander_among_its_members() -> None:
    # Three piles 30 m apart at a kilometre, where the beam is 70 m wide; an echo that seems to move along them.
    marks = tuple(make_mark(30.0 * k, 1000.0, str(k), "PILPNT") for k in range(3))
    place = lay_out(FakeChart(marks=marks), FRAME, 0.0, 0.0, 3000.0)
    wanderer = make_track(1, 30.0, 1000.0, 1.5, 0.0, p_moving=0.99)
    near = gather((wanderer,), OWN, place, make_boat(), POSE, roamed_m=np.array([25.0]))
    far = gather((wanderer,), OWN, place, make_boat(), POSE, roamed_m=np.array([400.0]))
    wandering, passing = explain(near, place, None)[0].probability, explain(far, place, None)[0].probability
    # Odds of charted (1) against vessel (3): what keeps within the group against what has come far past its ends.
    assert wandering[1] / wandering[3] > 5.0 * passing[1] / passing[3]
    assert wandering[1] > 0.85


def test_a_memory_is_still_what_it_was() -> None:
    def told(p_vessel: float) -> Explained:
        probability = np.full(7, 1e-6)
        probability[3], probability[5] = p_vessel, 1.0 - p_vessel
        return Explained("vessel" if p_vessel > 0.5 else "clutter", p_vessel, probability, None, None)

    history, ids = History(), np.array([7])
    history.pool(ids, [told(0.95)])
    for _ in range(20):
        (remembered,) = history.pool(ids, [told(0.02)], np.array([False]))
    assert remembered.kind == "vessel" and remembered.confidence == pytest.approx(0.95, abs=1e-3)
    for _ in range(20):
        (seen,) = history.pool(ids, [told(0.02)], np.array([True]))
    assert seen.kind == "clutter"


def test_the_mark_of_a_memory_is_kept_as_long_as_its_track() -> None:
    def told(p_charted: float, mark: int | None) -> Explained:
        probability = np.full(7, 1e-6)
        probability[KINDS.index("charted")], probability[KINDS.index("clutter")] = p_charted, 1.0 - p_charted
        return Explained(
            "charted" if p_charted > 0.5 else "clutter", p_charted, probability, mark, None if mark is None else 5.0
        )

    history, ids = History(), np.array([7])
    history.pool(ids, [told(0.99, 3)])
    # One turn in which nothing could be named: by its past it is still that mark.
    (kept,) = history.pool(ids, [told(0.2, None)])
    assert (kept.kind, kept.mark, kept.offset_m) == ("charted", 3, 5.0)
    # The chart was laid out anew: numbers mean nothing any more.
    history.forget()
    (unnamed,) = history.pool(ids, [told(0.6, None)])
    assert unnamed.kind != "charted" and unnamed.mark is None
    # A track that was gone for a turn brings no mark back.
    history.pool(ids, [told(0.99, 3)])
    history.pool(np.array([8]), [told(0.99, 4)])
    (new,) = history.pool(ids, [told(0.99, None)])
    assert new.mark is None and new.kind != "charted"


def _like_clutter(strength_db: float, level_db: float | None) -> float:
    tracks = (make_track(1, 0.0, 2500.0, strength_db=strength_db, n_hits=10, n_scans=20),)
    level = None if level_db is None else np.array([level_db])
    return float(clutter_runs(tracks, np.array([2500.0]), level, np.zeros(1))[0])


def test_a_strong_echo_is_no_crest_and_a_calm_place_makes_none() -> None:
    # Where nothing is known of the sea it may be half as rough as rough water; calm water makes next to none.
    rough, calm, unknown = _like_clutter(15.0, 20.0), _like_clutter(15.0, -20.0), _like_clutter(15.0, None)
    assert calm < 0.05 * rough and calm < unknown < 0.7 * rough
    assert _like_clutter(15.0, math.nan) == unknown
    # A crest stands no higher over its sea than 18 dB; a weaker echo is no less like one, a stronger one by far.
    for level_db in (20.0, None):
        at = [_like_clutter(s, level_db) for s in (8.0, 14.0, 17.9, 22.0, 30.0, 40.0)]
        assert at[0] == at[1] == at[2] > 2.0 * at[3] > 4.0 * at[4] > 8.0 * at[5]


def test_how_far_a_track_has_roamed() -> None:
    motion, ids = Motion(), np.array([1])
    for k in range(12):
        at = np.array([[10.0 * k, 0.0]])
        motion.p_moving(T0 + 2 * k * S, ids, at, np.array([5.0]), np.array([0.5]), np.array([True]), (0.0, 0.0))
    # From the middle of the first four to the middle of the last four.
    assert motion.roamed_m(ids)[0] == pytest.approx(80.0)
    assert motion.roamed_m(np.array([2]))[0] == 0.0


def test_the_seas_level_is_asked_beside_an_echo() -> None:
    errors = SimpleNamespace(beam_rad=0.07)
    scan: Any = SimpleNamespace(echo=np.zeros((720, 400)), first_cell_m=2.5, cell_m=5.0, errors=errors)
    clutter = np.full((720, 400), 3.0, np.float32)
    # A strong echo north lifts its own neighbourhood; land fills the eastern side of another place.
    clutter[-8:, 100:130] = clutter[:9, 100:130] = 25.0
    clutter[181:260, :] = 40.0
    picture: Any = SimpleNamespace(clutter_db=clutter)
    places = np.array([[0.0, 575.0], [800.0, 0.0]])
    assert sea_beside(places, OWN, scan, picture) == pytest.approx([3.0, 3.0])
    # A shower as wide as all that is asked is no strong echo.
    clutter[-40:] = clutter[:41] = 20.0
    assert sea_beside(places[:1], OWN, scan, picture) == pytest.approx([20.0])
    assert math.isnan(float(sea_beside(np.array([[0.0, 9000.0]]), OWN, scan, picture)[0]))
