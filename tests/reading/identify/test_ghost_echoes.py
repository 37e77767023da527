"""Ghosts by their ways: off a long hull, off the own mast; pieces of one hull; each against plain geometry."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, make_boat, make_track

from moonless.reading.identify.contacts import why
from moonless.reading.identify.evidence import gather
from moonless.reading.identify.explain import VESSEL_PER_M2, explain
from moonless.reading.identify.ghosts import mirrored, multiples, off_own_mast, side_lobes
from moonless.reading.identify.reported import PoseSigma, one_of_each
from moonless.reading.own import OwnPlane
from moonless.reading.registration.bearing_bias import less_its_doubt

BEAM = math.radians(2.0)
UNDER_WAY = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 6.0)


def _density(which: Any, own: OwnPlane, tracks: tuple[Any, ...], level: list[float], *more: Any) -> np.ndarray:
    rel = np.array([(t.east_m - own.east_m, t.north_m - own.north_m) for t in tracks])
    cov = np.repeat(25.0 * np.eye(2)[None], len(tracks), axis=0)
    return np.asarray(which(tracks, rel, cov, own, np.array(level), BEAM, *more))


def test_the_ghost_off_a_hull_lies_on_her_bearing_farther_by_the_way_between() -> None:
    # A ship 1000 m east, a boat 600 m north of her: out by the ship and back is 1600 m, on the ship's bearing.
    hull = make_track(1, 1000.0, 0.0, length_m=100.0, orientation_rad=0.0)
    boat = make_track(2, 1000.0, 600.0, 0.0, 4.0, length_m=25.0)
    # The way grows by 4 m/s; both are seen from a boat that goes north at 6 m/s: the ship's bearing turns.
    step = 1.0
    east, north = 1000.0, -6.0 * step
    reach = math.hypot(east, north)
    way = reach + math.hypot(0.0, 600.0 + 4.0 * step)
    moved = (way * east / reach - 1600.0, way * north / reach + 6.0 * step)
    ghost = make_track(3, 1600.0, 0.0, *moved)
    out = _density(mirrored, UNDER_WAY, (hull, boat, ghost), [50.0, 40.0, 20.0])
    assert out[2] > 3.0 * VESSEL_PER_M2
    assert out[0] == out[1] == 0.0
    # 200 m off that place, or as strong as what throws it, it is no such ghost.
    aside = make_track(3, 1600.0, 300.0, *moved)
    assert _density(mirrored, UNDER_WAY, (hull, boat, aside), [50.0, 40.0, 20.0])[2] < 0.01 * out[2]
    assert _density(mirrored, UNDER_WAY, (hull, boat, ghost), [50.0, 40.0, 45.0])[2] == 0.0
    # A small boat throws none, and is thrown by none.
    tender = make_track(2, 1000.0, 600.0, 0.0, 4.0)
    assert _density(mirrored, UNDER_WAY, (hull, tender, ghost), [50.0, 40.0, 20.0])[2] == 0.0
    small = make_track(1, 1000.0, 0.0, length_m=10.0)
    assert _density(mirrored, UNDER_WAY, (small, boat, ghost), [50.0, 40.0, 20.0])[2] == 0.0


@pytest.mark.parametrize("turn", [0.0, 1.0, 2.5, 4.0])
def test_a_ghost_off_the_own_mast_runs_along_at_the_range_of_something(turn: float) -> None:
    def at(bearing: float, range_m: float) -> tuple[float, float]:
        return range_m * math.sin(bearing + turn), range_m * math.cos(bearing + turn)

    own = OwnPlane(FRAME, 0.0, 0.0, turn, turn, 8.0)
    own_way = at(0.0, 8.0)
    # A mark that lies still on the bow closes at 8 m/s; off a mast abaft the beam its ghost closes so on 2.6 rad.
    mark = make_track(1, *at(0.0, 900.0))
    back = at(2.6, 1.0)
    ghost = make_track(2, *at(2.6, 900.0), own_way[0] - 8.0 * back[0], own_way[1] - 8.0 * back[1])
    out = _density(off_own_mast, own, (mark, ghost), [50.0, 30.0])
    assert out[0] == 0.0
    assert out[1] > VESSEL_PER_M2
    # A vessel there that goes her own way, or a boat that lies still herself: nothing is said.
    other = make_track(2, *at(2.6, 900.0), -own_way[0], -own_way[1])
    assert _density(off_own_mast, own, (mark, other), [50.0, 30.0])[1] < 0.1 * out[1]
    still = OwnPlane(FRAME, 0.0, 0.0, turn, turn, 0.0)
    assert _density(off_own_mast, still, (mark, ghost), [50.0, 30.0])[1] == 0.0
    # Another ghost on the same bearing from the bow speaks for the mast.
    far = make_track(3, *at(0.0, 2000.0))
    second = make_track(4, *at(2.6, 2000.0), own_way[0] - 8.0 * back[0], own_way[1] - 8.0 * back[1])
    both = _density(off_own_mast, own, (mark, ghost, far, second), [50.0, 30.0, 50.0, 30.0])
    assert both[1] > 5.0 * out[1]


def _twice(tracks: tuple[Any, ...], level: list[float], rcs_db: list[float], own: OwnPlane = UNDER_WAY) -> np.ndarray:
    rel = np.array([(t.east_m - own.east_m, t.north_m - own.north_m) for t in tracks])
    cov = np.repeat(25.0 * np.eye(2)[None], len(tracks), axis=0)
    return np.asarray(multiples(tracks, rel, cov, own, np.array(level), np.array(rcs_db)))


@pytest.mark.parametrize("turn", [0.0, 1.2, 3.0, 5.0])
@pytest.mark.parametrize("at", [(0.0, 0.0), (350.0, -120.0)])
def test_what_went_to_and_fro_twice_lies_at_twice_the_range_and_moves_twice_as_fast(
    turn: float, at: tuple[float, float]
) -> None:
    # Twice the way from the boat, wherever she is; over the ground twice the parent's velocity less the boat's own.
    c, s = math.cos(turn), math.sin(turn)
    own = OwnPlane(FRAME, *at, turn, turn, 6.0)

    def placed(number: int, along: float, across: float, ve: float = 0.0, vn: float = 0.0, **more: Any) -> Any:
        return make_track(number, at[0] + along * c + across * s, at[1] - along * s + across * c, ve, vn, **more)

    ship = placed(1, 600.0, 0.0, 3.0, -1.0, length_m=60.0)
    moved = (6.0 - own.velocity[0], -2.0 - own.velocity[1])
    ghost = placed(2, 1200.0, 0.0, *moved)
    level, rcs = [50.0, 30.0], [30.0, 10.0]
    out = _twice((ship, ghost), level, rcs, own)
    assert out[0] == 0.0 and out[1] > 3.0 * VESSEL_PER_M2
    # Beside that place, short of it, or moving as the ship does: less by far.
    for along, across in ((1200.0, 250.0), (1200.0, -250.0), (900.0, 0.0), (1500.0, 0.0), (-1200.0, 0.0)):
        assert _twice((ship, placed(2, along, across, *moved)), level, rcs, own)[1] < 0.01 * out[1]
    assert _twice((ship, placed(2, 1200.0, 0.0, -moved[0], -moved[1])), level, rcs, own)[1] < 0.3 * out[1]
    # Nothing small, weak or unconfirmed comes back twice; and a second trip is weaker by the fourth power of its range.
    assert _twice((ship, ghost), level, [10.0, 10.0], own)[1] == 0.0
    assert _twice((ship, ghost), [30.0, 15.0], rcs, own)[1] == 0.0
    assert _twice((ship, ghost), [50.0, 45.0], rcs, own)[1] == 0.0
    tentative = placed(1, 600.0, 0.0, 3.0, -1.0, length_m=60.0, state="tentative")
    assert _twice((tentative, ghost), level, rcs, own)[1] == 0.0
    # Without a scale a long hull is large and a short one is not.
    unknown = [math.nan, math.nan]
    assert _twice((ship, ghost), level, unknown, own)[1] > 3.0 * VESSEL_PER_M2
    short = placed(1, 600.0, 0.0, 3.0, -1.0, length_m=12.0)
    assert _twice((short, ghost), level, unknown, own)[1] == 0.0


def test_a_side_lobe_is_weaker_by_the_lobe_out_and_back() -> None:
    # Lobes of -22 dB near the beam and -30 dB far from it: 44 and 60 dB under the strongest thing at that range.
    radar = make_boat().radar
    level = np.array([26.0, 10.0, 70.0, 43.0, -25.0])
    out = side_lobes(level, np.full(5, 70.0), radar)
    assert out[0] == pytest.approx(out[1]) and out[0] > 0.0
    assert np.all(out[2:] < 0.05 * out[0])
    assert np.all(side_lobes(level, None, radar) == 0.0) and side_lobes(None, None, radar).shape == (0,)


def test_pieces_of_a_ship_under_way_are_told_once_and_two_ships_twice() -> None:
    bow = make_track(1, 0.0, 1000.0, 0.0, 7.0, length_m=160.0, orientation_rad=0.0, n_hits=20)
    stern = make_track(2, 5.0, 865.0, 0.0, 7.3, length_m=31.0, orientation_rad=0.0, n_hits=12)
    own = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)
    assert [t.id for t in one_of_each((bow, stern), own, BEAM, 24.0)] == [1]
    # Abeam of her, going another way, or far astern: another vessel.
    for east, north, speed in ((150.0, 1000.0, 7.0), (5.0, 865.0, 2.0), (0.0, 500.0, 7.0)):
        other = make_track(2, east, north, 0.0, speed, n_hits=12)
        assert len(one_of_each((bow, other), own, BEAM, 24.0)) == 2
    # Small boats in line are boats.
    first, second = make_track(1, 0.0, 1000.0, 0.0, 7.0), make_track(2, 0.0, 900.0, 0.0, 7.0)
    assert len(one_of_each((first, second), own, BEAM, 24.0)) == 2


def test_a_bias_within_its_doubt_is_not_taken_out() -> None:
    assert less_its_doubt(0.0, 1.0) == 0.0
    assert less_its_doubt(0.9, 1.0) == 0.0
    assert less_its_doubt(-3.0, 1.0) == pytest.approx(-3.0 * (1.0 - 1.0 / 9.0))
    assert less_its_doubt(3.0, 0.1) == pytest.approx(3.0, rel=2e-3)


def test_where_no_chart_is_an_extended_echo_is_shore_and_a_steady_runner_is_not() -> None:
    boat = make_boat()
    still, runner, hopper, alone = (
        make_track(1, 400.0, 0.0),
        make_track(2, 0.0, 800.0, 0.0, -6.0, n_scans=30, n_hits=30),
        make_track(3, -700.0, 0.0, 2.0, 0.0, n_scans=30, n_hits=16),
        make_track(4, 0.0, -900.0),
    )
    tracks = (still, runner, hopper, alone)
    pieces = np.array([True, True, True, False])
    evidence = gather(tracks, UNDER_WAY, None, boat, PoseSigma(2.0, 0.004), of_shore=pieces)
    kinds = [one.kind for one in explain(evidence, None, None)]
    assert kinds == ["shore", "vessel", "shore", "uncharted"]
    said = why(0, evidence, explain(evidence, None, None)[0], None)
    assert said.startswith("It is a piece of an echo longer than any hull; no chart covers this water.")


def test_what_moves_and_is_seldom_hit_is_not_told_as_a_vessel() -> None:
    steady = make_track(1, 400.0, 800.0, 3.0, 3.0, n_scans=25, n_hits=22)
    seldom = make_track(2, -400.0, 800.0, 3.0, 3.0, n_scans=25, n_hits=8)
    evidence = gather((steady, seldom), UNDER_WAY, None, make_boat(), PoseSigma(2.0, 0.004))
    assert [one.kind for one in explain(evidence, None, None)] == ["vessel", "clutter"]
