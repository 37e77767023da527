"""How many ghosts are to be expected at a place, way by way: normal densities of gaps and of motions, worked by hand.

Each is laid out at several bearings from a boat under way that is not at the plane's middle; densities are scipy's.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, make_track
from scipy import stats

from moonless.reading.identify.ghosts.hulls import mirrored
from moonless.reading.identify.ghosts.own_mast import off_own_mast
from moonless.reading.identify.ghosts.repeats import multiples
from moonless.reading.identify.ghosts.second_traces import second_traces
from moonless.reading.identify.ghosts.side_lobes import goes_as_marked, side_lobes
from moonless.reading.identify.ghosts.walls import in_walls
from moonless.reading.identify.ghosts.ways import Ways
from moonless.reading.own import OwnPlane

AT = np.array([350.0, -120.0])
TURNS = [0.0, 1.3, 2.9, 4.4]
NOISE = 0.04  # of each velocity, each axis: as `make_track` has it
COV = np.array([[36.0, 10.0], [10.0, 64.0]])


def _own(turn: float, speed: float = 5.0) -> OwnPlane:
    return OwnPlane(FRAME, float(AT[0]), float(AT[1]), turn, turn, speed)


def _put(number: int, rel: np.ndarray, velocity: Any = (0.0, 0.0), **more: Any) -> Any:
    return make_track(number, *(AT + rel).tolist(), *np.asarray(velocity, dtype=float).tolist(), **more)


def _args(tracks: list[Any]) -> tuple[tuple[Any, ...], np.ndarray, np.ndarray]:
    rel = np.array([(t.east_m, t.north_m) for t in tracks]) - AT
    return tuple(tracks), rel, np.repeat(COV[None], len(tracks), axis=0)


def _by(turn: float, *along_across: tuple[float, float]) -> list[np.ndarray]:
    c, s = math.cos(turn), math.sin(turn)
    return [np.array([a * s + b * c, a * c - b * s]) for a, b in along_across]


def _normal(gap: np.ndarray, spread: np.ndarray) -> float:
    return float(stats.multivariate_normal([0.0, 0.0], spread).pdf(gap))


def _fit(velocity: Any, foretold: Any, noise: float, p: float, is_scaled: bool = True) -> float:
    """How much better a foretold motion (0.8 m/s) explains one than its own would (4 m/s); or a still one."""
    velocity, foretold = np.asarray(velocity, dtype=float), np.asarray(foretold, dtype=float)
    ghost, free = (math.sqrt(s**2 + noise + NOISE) for s in (0.8, 4.0))
    ratio = float(np.prod(stats.norm.pdf(velocity, foretold, ghost)) / np.prod(stats.norm.pdf(velocity, 0.0, free)))
    stays = math.exp(-0.5 * float(foretold @ foretold) / (0.64 + noise)) * (20.0 if is_scaled else 1.0)
    return p * min(max(ratio, 0.02), 20.0) + (1.0 - p) * max(stays, 0.02)


@pytest.mark.parametrize("p", [0.0, 0.4, 1.0])
@pytest.mark.parametrize(
    ("velocity", "foretold", "noise"),
    [((3.0, -2.0), (3.0, -2.0), 0.1), ((3.0, -2.0), (2.0, -1.0), 0.5), ((0.0, 0.0), (0.3, 0.9), 0.2),
     ((6.0, 6.0), (-6.0, 1.0), 0.0),
     ((1.0, 0.5), (0.0, 0.0), 1.0)],
)  # fmt: skip
def test_how_well_a_foretold_motion_fits(velocity: Any, foretold: Any, noise: float, p: float) -> None:
    ways = Ways.of((_put(1, np.zeros(2)), _put(2, np.zeros(2), velocity)), np.array([0.9, p]))
    for is_scaled in (True, False):
        got = ways.fit(np.array([1]), np.array([foretold]), np.array([noise]), is_scaled)[0]
        assert got == pytest.approx(_fit(velocity, foretold, noise, p, is_scaled), rel=1e-6)


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize(("trips", "shows"), [(2.0, 0.1), (3.0, 0.05)])
def test_to_and_fro_so_often(turn: float, trips: float, shows: float) -> None:
    """At so many times the range, with so many times its error; any piece of her 60 m may be the one tracked."""
    ship, gap = _by(turn, (700.0, 40.0), (25.0, -30.0))
    own = _own(turn + 0.4)
    velocity = np.array([2.0, -1.0])
    moved = trips * velocity - (trips - 1.0) * np.array(own.velocity)
    near = moved + np.array([0.5, -0.3])
    tracks = [_put(1, ship, velocity, length_m=60.0), _put(2, trips * ship + gap, near)]
    got = multiples(*_args(tracks), own, np.array([50.0, 30.0]), np.array([30.0, 8.0]), None, np.array([1.0, 0.7]))
    spread = COV + trips**2 * COV + (64.0 + (0.25 * 60.0 + 40.0) ** 2) * np.eye(2)
    want = shows * _normal(gap, spread) * _fit(near, moved, trips**2 * NOISE, 0.7)
    assert got[0] == 0.0 and got[1] == pytest.approx(want, rel=1e-6)


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_picture_in_a_wall(turn: float, side: float) -> None:
    """The face runs across the way 500 m ahead, from 300 m to one hand to 400 m to the other."""
    start, end, thing = _by(turn, (500.0, -300.0 * side), (500.0, 400.0 * side), (300.0, 120.0 * side))
    (image,) = _by(turn, (700.0, 120.0 * side))
    gap = np.array([12.0, -9.0])
    own, velocity = _own(turn - 0.7), np.array([1.5, 2.0])
    (normal,) = _by(turn, (1.0, 0.0))
    moved = velocity - 2.0 * float(velocity @ normal) * normal
    near = moved + np.array([-0.4, 0.2])
    tracks = [_put(1, thing, velocity, length_m=30.0), _put(2, image + gap, near)]
    faces = np.array([[*(AT + start), *(AT + end)]])
    got = in_walls(*_args(tracks), own, np.array([50.0, 30.0]), faces, True, None, np.array([1.0, 0.7]))
    # Twice 8 m of the face's place, and a degree of its line from where it starts to where the thing stands by it.
    off = math.hypot(420.0, 200.0)
    spread = 2.0 * COV + (16.0**2 + (math.radians(1.0) * off) ** 2) * np.eye(2)
    want = 0.1 * _normal(gap, spread) * _fit(near, moved, NOISE, 0.7)
    assert got[0] == 0.0 and got[1] == pytest.approx(want, rel=1e-6)
    # None of something no stronger by 5 dB, nor where the way passes beside the face by more than 15 m, nor of what was
    # told as false.
    assert in_walls(*_args(tracks), own, np.array([34.0, 30.0]), faces, True, None, np.array([1.0, 0.7]))[1] == 0.0
    assert in_walls(*_args(tracks), own, np.array([35.0, 30.0]), faces, True, None, np.array([1.0, 0.7]))[1] > 0.0
    short = np.array([[*(AT + start), *(AT + _by(turn, (500.0, 60.0 * side))[0])]])
    long = np.array([[*(AT + start), *(AT + _by(turn, (500.0, 80.0 * side))[0])]])
    assert in_walls(*_args(tracks), own, np.array([50.0, 30.0]), short, True, None, np.array([1.0, 0.7]))[1] == 0.0
    assert in_walls(*_args(tracks), own, np.array([50.0, 30.0]), long, True, None, np.array([1.0, 0.7]))[1] > 0.0
    false = np.array([True, False])
    assert in_walls(*_args(tracks), own, np.array([50.0, 30.0]), faces, True, None, None, false)[1] == 0.0


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("is_scaled", [True, False])
def test_off_the_side_of_a_long_hull(turn: float, is_scaled: bool) -> None:
    """On her bearing, at her range and the way from her to the thing together; it moves as both do against the boat."""
    hull, thing = _by(turn, (900.0, 100.0), (1000.0, 700.0))
    own = _own(turn + 0.5)
    of_hull, of_thing = np.array([1.0, 2.0]), np.array([-2.5, 1.5])
    v_own = np.array(own.velocity)

    def ghost(t: float) -> np.ndarray:
        h, x = hull + t * (of_hull - v_own), thing + t * (of_thing - v_own)
        return np.asarray(h / np.hypot(*h) * (np.hypot(*h) + np.hypot(*(x - h))))

    moved = ghost(1.0) - ghost(0.0) + v_own
    unit = hull / np.hypot(*hull)
    aside = np.array([unit[1], -unit[0]])
    near = moved + np.array([0.3, 0.4])
    tracks = [
        _put(1, hull, of_hull, length_m=80.0), _put(2, thing, of_thing, length_m=25.0),
        _put(3, ghost(0.0) + 14.0 * unit - 20.0 * aside, near),
    ]  # fmt: skip
    level = np.array([60.0, 55.0, 30.0])
    got = mirrored(*_args(tracks), own, level, 0.05, is_scaled, None, np.array([1.0, 1.0, 0.8]))
    path = float(np.hypot(*ghost(0.0)))
    s = float(np.trace(COV)) / 2.0
    along = math.sqrt(2.0 * s + 2.0 * 64.0 + (0.25 * 80.0) ** 2)
    across = math.sqrt(s + ((0.3 * 0.05 + 0.3 * 80.0 / float(np.hypot(*hull))) * path) ** 2)
    place = float(stats.norm.pdf(14.0, 0.0, along) * stats.norm.pdf(20.0, 0.0, across))
    want = 0.05 * place * _fit(near, moved, 3.0 * NOISE, 0.8, is_scaled)
    assert got[2] == pytest.approx(want, rel=1e-6) and got[0] == 0.0


@pytest.mark.parametrize("turn", TURNS)
def test_off_the_own_mast(turn: float) -> None:
    """At the range of a thing no weaker, on any bearing; it keeps that bearing from the bow while the range changes."""
    parent, ghost = _by(turn, (600.0, 400.0), (-500.0, 530.0))
    own = _own(turn - 0.2)
    velocity = np.array([-1.0, 3.0])
    r_parent, r_ghost = float(np.hypot(*parent)), float(np.hypot(*ghost))
    u_parent, u_ghost = parent / r_parent, ghost / r_ghost
    closing = float((velocity - np.array(own.velocity)) @ u_parent)
    moved = np.array(own.velocity) + closing * u_ghost
    near = moved + np.array([0.2, -0.6])
    tracks = [_put(1, parent, velocity, length_m=20.0), _put(2, ghost, near, n_hits=9)]
    got = off_own_mast(*_args(tracks), own, np.array([40.0, 30.0]), 0.05, None, np.array([1.0, 0.9]))
    variance = float(u_parent @ COV @ u_parent) + float(u_ghost @ COV @ u_ghost) + 25.0**2
    place = float(stats.norm.pdf(r_ghost - r_parent, 0.0, math.sqrt(variance))) / (2.0 * math.pi * r_ghost)
    want = 0.05 * place * _fit(near, moved, NOISE, 0.9)
    assert got[1] == pytest.approx(want, rel=1e-6)
    # Another such on the same bearing from the bow, of another parent, makes both thirty times likelier.
    (other,) = _by(turn, (1500.0, -200.0))
    far = u_ghost * float(np.hypot(*other))
    v_other = np.array([0.0, -4.0])
    v_far = (
        np.array(own.velocity) + float((v_other - np.array(own.velocity)) @ other) / float(np.hypot(*other)) * u_ghost
    )
    both = [*tracks, _put(3, other, v_other, length_m=20.0), _put(4, far, v_far, n_hits=9)]
    level = np.array([40.0, 30.0, 40.0, 30.0])
    p = np.array([1.0, 0.9, 1.0, 0.9])
    assert off_own_mast(*_args(both), own, level, 0.05, None, p)[1] == pytest.approx(30.0 * want, rel=1e-6)
    # A stronger one is none, nor one within three beams of the parent's bearing.
    assert off_own_mast(*_args(tracks), own, np.array([29.0, 30.0]), 0.05, None, np.array([1.0, 0.9]))[1] == 0.0
    wide = math.acos(float(u_parent @ u_ghost)) / 3.0
    assert off_own_mast(*_args(tracks), own, np.array([40.0, 30.0]), wide * 1.01, None, None)[1] == 0.0
    assert off_own_mast(*_args(tracks), own, np.array([40.0, 30.0]), wide * 0.99, None, None)[1] > 0.0


@pytest.mark.parametrize("off_db", [0.0, 4.0, -9.0])
def test_a_side_lobe_there_and_back(off_db: float) -> None:
    """2e-6 a square metre at twice the lobe's level under the strongest, 6 dB one sigma; the likelier of two lobes."""
    radar: Any = type("Radar", (), {"side_lobe_near_db": -22.0, "side_lobe_far_db": -30.0})()
    for lobe in (-44.0, -60.0):
        level = 80.0 + lobe + off_db
        want = 2e-6 * max(math.exp(-0.5 * ((level - 80.0 - x) / 6.0) ** 2) for x in (-44.0, -60.0))
        assert side_lobes(np.array([level]), np.array([80.0]), radar)[0] == pytest.approx(want)


@pytest.mark.parametrize("turn", TURNS)
def test_a_side_lobe_goes_as_its_parent_turned_by_a_steady_angle(turn: float) -> None:
    parent, lobe = _by(turn, (800.0, 0.0), (800.0 * math.cos(0.6), 800.0 * math.sin(0.6)))
    own = _own(turn + 0.3)
    v_own = np.array(own.velocity)
    velocity = np.array([3.0, 1.0])
    # Her motion against the boat, turned clockwise as the bearing is.
    c, s = math.cos(0.6), math.sin(0.6)
    against = velocity - v_own
    foretold = v_own + np.array([c * against[0] + s * against[1], c * against[1] - s * against[0]])
    for off in ((0.0, 0.0), (1.5, -1.0), (4.0, 4.0)):
        goes = foretold + np.array(off)
        tracks = (_put(5, parent, velocity), _put(9, lobe, goes, false_parent=5, false_cause="side lobe"))
        rel = np.array([parent, lobe])
        got = goes_as_marked(tracks, rel, own, np.array([1.0, 0.8]))
        want = min(_fit(goes, foretold, NOISE, 0.8), 1.0) ** 2
        assert got == pytest.approx([1.0, want], rel=1e-6)
    # Of another cause, or of a parent that is not known, nothing speaks against it.
    other = (tracks[0], _put(9, lobe, (9.0, 9.0), false_parent=5, false_cause="multipath"))
    lost = (tracks[0], _put(9, lobe, (9.0, 9.0), false_parent=77, false_cause="side lobe"))
    assert goes_as_marked(other, rel, own).tolist() == goes_as_marked(lost, rel, own).tolist() == [1.0, 1.0]


def test_second_traces_by_their_odds_and_company() -> None:
    """1e-8 a square metre, by the odds; twenty times where another is proven (log odds of five)."""
    got = second_traces(np.array([2.0, -0.1, 5.1, 0.0]), 4)
    assert got == pytest.approx([20.0 * 1e-8 * math.exp(2.0), 0.0, 1e-8 * math.exp(5.1), 0.0])
    assert second_traces(np.array([5.0, 5.0]), 2) == pytest.approx([20.0 * 1e-8 * math.exp(5.0)] * 2)
    assert second_traces(np.array([4.9, 1.0]), 2) == pytest.approx([1e-8 * math.exp(4.9), 1e-8 * math.exp(1.0)])
