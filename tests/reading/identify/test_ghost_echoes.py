"""Ghosts by their ways: off a long hull, off the own mast; pieces of one hull; each against plain geometry."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S, make_boat, make_track

from moonless.reading.identify.contacts import why
from moonless.reading.identify.evidence import gather
from moonless.reading.identify.explain import KINDS, UNCHARTED_PER_M2, VESSEL_PER_M2, explain
from moonless.reading.identify.ghosts.hulls import mirrored
from moonless.reading.identify.ghosts.own_mast import off_own_mast
from moonless.reading.identify.ghosts.repeats import multiples
from moonless.reading.identify.ghosts.second_traces import late_by, second_traces
from moonless.reading.identify.ghosts.side_lobes import side_lobes
from moonless.reading.identify.motion import Motion
from moonless.reading.identify.reported import PoseSigma, one_of_each, worth_telling
from moonless.reading.own import OwnPlane
from moonless.reading.registration.bearing_bias import less_its_doubt
from moonless.track.types import AisTarget

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
    # One such coincidence alone takes no vessel away.
    assert 0.3 * VESSEL_PER_M2 < out[1] < VESSEL_PER_M2
    # A vessel there that goes her own way, or a boat that lies still herself: nothing is said.
    other = make_track(2, *at(2.6, 900.0), -own_way[0], -own_way[1])
    assert _density(off_own_mast, own, (mark, other), [50.0, 30.0])[1] < 0.1 * out[1]
    still = OwnPlane(FRAME, 0.0, 0.0, turn, turn, 0.0)
    assert _density(off_own_mast, still, (mark, ghost), [50.0, 30.0])[1] == 0.0
    # Another ghost on the same bearing from the bow speaks for the mast.
    far = make_track(3, *at(0.0, 2000.0))
    second = make_track(4, *at(2.6, 2000.0), own_way[0] - 8.0 * back[0], own_way[1] - 8.0 * back[1])
    both = _density(off_own_mast, own, (mark, ghost, far, second), [50.0, 30.0, 50.0, 30.0])
    assert both[1] > max(5.0 * out[1], 2.0 * VESSEL_PER_M2)
    # Close aboard something lies at every range, and nothing is said of what runs along there.
    near, wash = make_track(1, *at(0.0, 60.0)), make_track(2, *at(2.6, 60.0), ghost.velocity_east, ghost.velocity_north)
    assert _density(off_own_mast, own, (near, wash), [50.0, 30.0])[1] == 0.0
    # A ghost is no longer than its parent: a ship is none of a mark's.
    long_one = make_track(2, *at(2.6, 900.0), ghost.velocity_east, ghost.velocity_north, length_m=50.0)
    assert _density(off_own_mast, own, (mark, long_one), [50.0, 50.0])[1] == 0.0
    # Where it is plainly the weaker it may be as much wider as the mast is to the antenna: 2 degrees, 31 m at 900.
    assert _density(off_own_mast, own, (mark, long_one), [50.0, 30.0])[1] == out[1]
    longer = make_track(2, *at(2.6, 900.0), ghost.velocity_east, ghost.velocity_north, length_m=55.0)
    assert _density(off_own_mast, own, (mark, longer), [50.0, 30.0])[1] == 0.0


def _twice(
    tracks: tuple[Any, ...],
    level: list[float],
    rcs_db: list[float],
    own: OwnPlane = UNDER_WAY,
    clipped: np.ndarray | None = None,
) -> np.ndarray:
    rel = np.array([(t.east_m - own.east_m, t.north_m - own.north_m) for t in tracks])
    cov = np.repeat(25.0 * np.eye(2)[None], len(tracks), axis=0)
    return np.asarray(multiples(tracks, rel, cov, own, np.array(level), np.array(rcs_db), clipped))


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
    # A long hull is large however faint a poor radar hears her.
    short = placed(1, 600.0, 0.0, 3.0, -1.0, length_m=12.0)
    assert _twice((short, ghost), level, [10.0, 10.0], own)[1] == 0.0
    assert _twice((short, ghost), [30.0, 15.0], rcs, own)[1] == 0.0
    assert _twice((ship, ghost), [24.0, 8.0], [5.0, -11.0], own)[1] > 3.0 * VESSEL_PER_M2
    assert _twice((ship, ghost), [50.0, 45.0], rcs, own)[1] == 0.0
    tentative = placed(1, 600.0, 0.0, 3.0, -1.0, length_m=60.0, state="tentative")
    assert _twice((tentative, ghost), level, rcs, own)[1] == 0.0
    # Without a scale a long hull is large and a short one is not.
    unknown = [math.nan, math.nan]
    assert _twice((ship, ghost), level, unknown, own)[1] > 3.0 * VESSEL_PER_M2
    assert _twice((short, ghost), level, unknown, own)[1] == 0.0
    # What stands at the top of the scale, or was not seen this turn, may be any stronger; of others the counts tell.
    assert _twice((ship, ghost), [90.0, 95.0], unknown, own)[1] == 0.0
    clipped = np.array([True, True])
    assert _twice((ship, ghost), [255.0, 255.0], unknown, own, clipped)[1] > 3.0 * VESSEL_PER_M2
    assert _twice((ship, ghost), [math.nan, 95.0], unknown, own)[1] > 3.0 * VESSEL_PER_M2


# A pulse interval of 1000 a second in range: c / 2 over it.
INTERVAL_M = 149_896.0


def _late_odds(turns: bool, *, vessel: bool, heading: float = 0.0) -> float:
    """Return the log odds of a thing heard one pulse late, on a run of the boat of 60 s; half of it on a new course."""
    motion, ids, sigma = Motion(), np.array([1]), np.array([8.0])
    rng = np.random.default_rng(5)
    own, course, out = np.zeros(2), heading, 0.0
    beside = np.array([math.sin(heading), math.cos(heading)])
    abeam = np.array([beside[1], -beside[0]])
    # Far beyond the interval, abeam to starboard; or a vessel that keeps company there on a course of her own.
    truly = (INTERVAL_M + 900.0) * abeam
    company = 900.0 * abeam
    for k in range(40):
        way = 6.0 * np.array([math.sin(course), math.cos(course)])
        rel = truly - own
        far = float(np.hypot(*rel))
        seen = own + (far - INTERVAL_M) * rel / far if not vessel else company
        seen = seen + rng.normal(0.0, 3.0, 2)
        at = seen.reshape(1, 2)
        motion.p_moving(T0 + int(1.5 * k * S), ids, at, sigma, np.array([0.9]), np.array([True]), tuple(own), at)
        out = float(motion.late_log_odds(ids, INTERVAL_M, sigma)[0])
        own = own + 1.5 * way
        company = company + 1.5 * 6.0 * beside
        course = heading + (0.9 if turns and k >= 20 else 0.0)
    return out


@pytest.mark.parametrize("heading", [0.0, 2.1, 4.4])
def test_what_is_heard_one_pulse_late_turns_when_the_boat_turns(heading: float) -> None:
    # Source: geometry.  While the boat runs straight a vessel in company looks the same, and stays a vessel.
    straight = second_traces(np.array([_late_odds(False, vessel=False, heading=heading)]), 1)[0]
    assert straight < 0.2 * VESSEL_PER_M2
    turned = second_traces(np.array([_late_odds(True, vessel=False, heading=heading)]), 1)[0]
    assert turned > 2.0 * VESSEL_PER_M2
    # A vessel that holds her course while the boat turns is none.
    assert second_traces(np.array([_late_odds(True, vessel=True, heading=heading)]), 1)[0] < 1e-3 * VESSEL_PER_M2
    # Where one is proven, another that runs beside the boat is likelier.
    both = second_traces(np.array([6.0, 3.0]), 2)
    assert both[1] > VESSEL_PER_M2 > 5.0 * straight
    assert second_traces(None, 3).tolist() == [0.0, 0.0, 0.0]


def test_a_pulse_interval_that_is_not_told_is_the_usual_one_and_counts_for_less() -> None:
    # Half the way light goes in an interval: 299 792 458 m/s (SI), 1 000 and 2 000 pulses a second.
    assert late_by(1e-3) == (pytest.approx(149_896.229), 0.0)
    usual_m, less = late_by(None)
    assert usual_m == pytest.approx(74_948.1145)
    assert less > 0.0


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


def test_an_echo_far_longer_than_ais_has_it_is_more_than_one_thing() -> None:
    # Two boats at anchor in one beam: the echo is 108 m long, the one with AIS is 6 m.  A third, 50 m off, is her own.
    known = AisTarget(799000123, T0, 0.0, 0.0, length_m=6.0)
    pair = make_track(1, 0.0, 1000.0, length_m=108.0, orientation_rad=0.0, beam_m=10.0, ais=known)
    third = make_track(2, 0.0, 1050.0, n_hits=9)
    assert [t.id for t in one_of_each((pair, third), UNDER_WAY, BEAM, 15.0)] == [1, 2]
    ship = make_track(1, 0.0, 1000.0, length_m=108.0, orientation_rad=0.0, beam_m=10.0)
    assert [t.id for t in one_of_each((ship, third), UNDER_WAY, BEAM, 15.0)] == [1]
    # Of a ship whose echo shows half of her, AIS tells the whole; both ends of it may be her middle for a while.
    half = replace(ship, length_m=60.0, ais=replace(known, length_m=120.0))
    assert [t.id for t in one_of_each((half, make_track(2, 0.0, 1090.0, n_hits=9)), UNDER_WAY, BEAM, 15.0)] == [1]
    # The piece that AIS names is told, though another of hers has been hit more often; not one that has been lost.
    often = make_track(2, 0.0, 1060.0, n_hits=40, n_scans=42)
    assert [t.id for t in one_of_each((half, often), UNDER_WAY, BEAM, 15.0)] == [1]
    assert [t.id for t in one_of_each((replace(half, misses_in_a_row=4), often), UNDER_WAY, BEAM, 15.0)] == [1, 2]


def test_what_shows_in_every_second_turn_of_a_cut_picture_is_told() -> None:
    # IMO MSC.192(79) 5.25.4.3: a target seen on 5 of 10 turns is to be kept.  What has shown only now and then is not.
    often = make_track(1, 0.0, 1000.0, n_hits=14, n_scans=24, seen_share=0.58)
    young = make_track(2, 500.0, 1000.0, n_hits=4, n_scans=7, seen_share=0.58)
    seldom = make_track(3, -500.0, 1000.0, n_hits=14, n_scans=40, seen_share=0.35)
    told = worth_telling((often, young, seldom), UNDER_WAY, 20.0, 3000.0, BEAM, 15.0, is_cut=True)
    assert [t.id for t in told] == [1]


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
    came = np.array([5.0, 300.0, 5.0, 5.0])
    evidence = gather(tracks, UNDER_WAY, None, boat, PoseSigma(2.0, 0.004), of_shore=pieces, roamed_m=came)
    kinds = [one.kind for one in explain(evidence, None, None)]
    assert kinds == ["shore", "vessel", "shore", "uncharted"]
    said = why(0, evidence, explain(evidence, None, None)[0], None)
    assert said.startswith("It is a piece of an echo longer than any hull; no chart covers this water.")


def test_what_moves_and_is_seldom_hit_is_not_told_as_a_vessel() -> None:
    steady = make_track(1, 400.0, 800.0, 3.0, 3.0, n_scans=25, n_hits=22)
    seldom = make_track(2, -400.0, 800.0, 3.0, 3.0, n_scans=25, n_hits=8)
    evidence = gather((steady, seldom), UNDER_WAY, None, make_boat(), PoseSigma(2.0, 0.004))
    assert [one.kind for one in explain(evidence, None, None)] == ["vessel", "clutter"]


def test_a_ship_that_was_lost_for_a_while_is_no_sea_once_she_shows_in_every_turn_again() -> None:
    """101 m at 8 knots, lost behind a jetty for half a minute (real video): told as clutter for two minutes after."""
    back = make_track(1, 400.0, 800.0, 3.0, 3.0, n_scans=60, n_hits=26, seen_share=0.97)
    hopper = make_track(2, -400.0, 800.0, 3.0, 3.0, n_scans=60, n_hits=26, seen_share=0.62)
    young = make_track(3, 0.0, -900.0, 3.0, 3.0, n_scans=24, n_hits=10, seen_share=0.97)
    poor = make_track(4, -900.0, 0.0, 3.0, 3.0, n_scans=60, n_hits=18, seen_share=0.97)
    evidence = gather((back, hopper, young, poor), UNDER_WAY, None, make_boat(), PoseSigma(2.0, 0.004))
    assert [one.kind for one in explain(evidence, None, None)] == ["vessel", "clutter", "clutter", "clutter"]


def test_a_crowd_of_hulls_makes_no_ghost_of_what_lies_among_them() -> None:
    # Forty hulls and quays moored at random: between them every place is some ghost's, and no echo is one for that.
    rng = np.random.default_rng(3)
    at = rng.uniform(-2500.0, 2500.0, (40, 2))
    crowd = [make_track(10 + k, *place, length_m=60.0, orientation_rad=0.3) for k, place in enumerate(at.tolist())]
    level, clipped = [255.0] * 41, np.ones(41, dtype=np.bool_)
    most = 0.0
    for east, north in rng.uniform(-2500.0, 2500.0, (12, 2)).tolist():
        lone = make_track(1, east, north, length_m=25.0)
        out = _density(mirrored, UNDER_WAY, (lone, *crowd), level, False, clipped)
        most = max(most, float(out[0]))
    assert most < 0.2 * UNCHARTED_PER_M2


def test_what_lies_still_is_no_better_told_by_a_ghost_that_lies_still() -> None:
    # A boat at rest: hull, thing and ghost all lie still.  That it does speaks for a ghost no more than for a mooring.
    own = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 0.0)
    hull = make_track(1, 1000.0, 0.0, length_m=100.0, orientation_rad=0.0)
    boat = make_track(2, 1000.0, 600.0, length_m=25.0)
    # Where levels are decibels, that it is so much weaker does.
    still, level = make_track(3, 1600.0, 0.0), [50.0, 40.0, 20.0]
    one = _density(mirrored, own, (hull, boat, still), level, False, None, np.zeros(3))[2]
    weaker = _density(mirrored, own, (hull, boat, still), level, True, None, np.zeros(3))[2]
    assert 0.0 < one < 0.1 * weaker
    # From a boat under way the same ghost wanders; what stays where it is, is none.
    passing = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 12.0)
    assert _density(mirrored, passing, (hull, boat, still), level, False, None, np.zeros(3))[2] < 0.05 * one


def test_a_ship_is_no_ghost_of_something_shorter() -> None:
    # Where every echo stands at the top of the scale, lengths say which may be a picture of which.
    hull = make_track(1, 1000.0, 0.0, length_m=100.0, orientation_rad=0.0)
    boat = make_track(2, 1000.0, 600.0, length_m=54.0)
    level, clipped = [255.0, 255.0, 255.0], np.ones(3, dtype=np.bool_)
    for length_m, is_one in ((40.0, True), (170.0, False)):
        ghost = make_track(3, 1600.0, 0.0, length_m=length_m)
        out = _density(mirrored, UNDER_WAY, (hull, boat, ghost), level, False, clipped)[2]
        assert (out > 0.0) == is_one
    unknown = [math.nan, math.nan]
    ship, twice = make_track(1, 600.0, 0.0, length_m=60.0), make_track(2, 1200.0, 0.0, length_m=170.0)
    assert _twice((ship, twice), [255.0, 255.0], unknown, clipped=np.array([True, True]))[1] == 0.0


@pytest.mark.parametrize(
    "doubt",
    [
        {"n_hits": 4, "n_scans": 4},
        {"velocity_north": 0.4},
        {"covariance": np.diag([25.0, 25.0, 9.0, 9.0])},
        {"came": 4.0},
    ],
    ids=["young", "hardly goes", "velocity not known", "came nowhere"],
)
def test_a_doubtful_motion_speaks_less_for_a_hull_under_way(doubt: dict[str, Any]) -> None:
    """Elementary: of two echoes alike but for one doubt, the doubtful one is the less likely a vessel."""
    changes = {name: value for name, value in doubt.items() if name != "came"}
    sure = make_track(1, 400.0, 800.0, 0.0, 3.0, p_moving=0.95, n_hits=12, n_scans=12, strength_db=40.0)
    p_vessel = []
    for track, came in ((sure, 90.0), (replace(sure, **changes), doubt.get("came", 90.0))):
        evidence = gather(
            (track,), UNDER_WAY, None, make_boat(), PoseSigma(2.0, 0.004), roamed_m=np.array([came]),
            p_moving=np.array([0.95]),
        )  # fmt: skip
        probability = explain(evidence, None, None)[0].probability[KINDS.index("vessel")]
        p_vessel.append(probability / (1.0 - probability))
    # A quarter is left of the odds, but for what a young track's record says beside it.
    assert p_vessel[1] < 0.26 * p_vessel[0]
