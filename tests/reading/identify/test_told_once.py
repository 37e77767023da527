"""Which tracks are told, each thing once: to both sides of every figure, on every bearing, plain geometry."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S, make_track

from moonless.reading.identify.reported import PoseSigma, one_of_each, worth_telling
from moonless.reading.own import OwnPlane
from moonless.track.types import AisTarget, Track

BEAM, PULSE = 0.07, 20.0
OWN = OwnPlane(FRAME, 300.0, -200.0, 0.0, 0.0, 5.0)
BEARINGS = [0.0, 0.9, 2.4, 3.9, 5.5]


def _track(number: int, bearing: float, along: float, across: float = 0.0, *, way: tuple[float, float] = (0.0, 0.0),
           **change: Any) -> Track:  # fmt: skip
    """A track so far along a bearing from the boat and so far to its right; ``way``: its motion, told likewise."""
    s, c = math.sin(bearing), math.cos(bearing)
    return make_track(
        number, 300.0 + along * s + across * c, -200.0 + along * c - across * s, way[0] * s + way[1] * c,
        way[0] * c - way[1] * s, **change,
    )  # fmt: skip


def _sigma(metres: float, speed: float = 0.2) -> np.ndarray:
    return np.diag([metres**2, metres**2, speed**2, speed**2])


def _ais(**more: Any) -> AisTarget:
    return AisTarget(mmsi=235000001, time_ns=T0, lat_deg=10.0, lon_deg=-150.0, **more)


def _told(*tracks: Track, least_m: float = 30.0, reach_m: float = 3000.0, **more: Any) -> list[int]:
    return [t.id for t in worth_telling(tracks, OWN, least_m, reach_m, BEAM, PULSE, **more)]


@pytest.mark.parametrize("bearing", BEARINGS)
@pytest.mark.parametrize(
    ("along", "across", "is_one"),
    # One pulse along the bearing; across it half a beam, at 2000 m 70 m.
    [(19.0, 0.0, True), (-19.0, 0.0, True), (21.0, 0.0, False), (0.0, 68.0, True),
     (0.0, -68.0, True), (0.0, 72.0, False), (17.0, 60.0, True), (23.0, 60.0, False)],
)  # fmt: skip
def test_two_that_share_one_echo_are_told_once(bearing: float, along: float, across: float, is_one: bool) -> None:
    first = _track(1, bearing, 2000.0, n_hits=20)
    other = _track(2, bearing, 2000.0 + along, across, n_hits=10, misses_in_a_row=1)
    for order in ((first, other), (other, first)):
        assert sorted(t.id for t in one_of_each(order, OWN, BEAM, PULSE)) == ([1] if is_one else [1, 2])


@pytest.mark.parametrize("bearing", BEARINGS)
def test_two_that_are_both_hit_or_go_apart_are_two(bearing: float) -> None:
    first = _track(1, bearing, 2000.0)
    assert len(one_of_each((first, _track(2, bearing, 2005.0)), OWN, BEAM, PULSE)) == 2
    for way, n in (((1.4, 0.0), 1), ((1.6, 0.0), 2), ((0.0, -1.4), 1), ((0.0, -1.6), 2), ((1.2, 1.2), 2)):
        other = _track(2, bearing, 2005.0, way=way, misses_in_a_row=1)
        assert len(one_of_each((first, other), OWN, BEAM, PULSE)) == n
    # With no beam to share an echo by, all are told.
    assert len(one_of_each((first, _track(2, bearing, 2005.0, misses_in_a_row=1)), OWN, 0.0, PULSE)) == 2


def test_which_of_two_is_the_better() -> None:
    def left(first: dict[str, Any], second: dict[str, Any]) -> list[int]:
        pair = (_track(1, 1.0, 2000.0, **{"n_hits": 10, "misses_in_a_row": 1, **first}),
                _track(2, 1.0, 2005.0, **{"n_hits": 10, "misses_in_a_row": 1, **second}))  # fmt: skip
        return [t.id for t in one_of_each(pair, OWN, BEAM, PULSE)]

    assert left({}, {}) == [1]  # of equal worth the older
    assert left({}, {"n_hits": 11}) == [2]
    # Missed no longer than two turns goes before hit more often; named by AIS goes before that.
    assert left({"misses_in_a_row": 2}, {"n_hits": 30, "misses_in_a_row": 3}) == [1]
    assert left({"n_hits": 30}, {"ais": _ais()}) == [2]
    # What AIS names is never left out for another, but an aid's name is no vessel's.
    assert left({"ais": _ais(), "misses_in_a_row": 5}, {"n_hits": 30}) == [1, 2]
    assert left({"n_hits": 30}, {"ais": _ais(is_aid=True)}) == [1, 2]


@pytest.mark.parametrize("bearing", BEARINGS)
@pytest.mark.parametrize(
    ("along", "across", "is_piece"),
    # A still hull of 100 m lying along the bearing, 20 m broad: half of her and twelve metres, 62 m, along; across half
    # her beam, twelve, and a quarter of the radar's beam, which at 1500 m is 26 m: 48 m.
    [(60.0, 0.0, True), (-60.0, 0.0, True), (64.0, 0.0, False), (0.0, 47.0, True),
     (0.0, -47.0, True), (0.0, 50.0, False), (45.0, 40.0, False)],
)  # fmt: skip
def test_a_piece_of_a_long_hull_is_told_with_her(bearing: float, along: float, across: float, is_piece: bool) -> None:
    ship = _track(1, bearing, 1500.0, length_m=100.0, beam_m=20.0, orientation_rad=bearing % math.pi, n_hits=30)
    piece = _track(2, bearing, 1500.0 + along, across, n_hits=10)
    assert len(one_of_each((ship, piece), OWN, BEAM, PULSE)) == (1 if is_piece else 2)
    # A boat of 29 m is one echo.
    short = replace(ship, length_m=29.0, beam_m=8.0)
    if abs(along) > 21.0:
        assert len(one_of_each((short, piece), OWN, BEAM, PULSE)) == 2
    # Nor is one that is not there yet a hull.
    assert len(one_of_each((replace(ship, state="tentative"), piece), OWN, BEAM, PULSE)) == 2


@pytest.mark.parametrize("bearing", BEARINGS)
def test_pieces_of_a_ship_under_way_lie_one_behind_the_other(bearing: float) -> None:
    def told(behind: float, aside: float, way: tuple[float, float] = (6.0, 0.0)) -> int:
        ship = _track(1, bearing, 1500.0, way=(6.0, 0.0), length_m=100.0, beam_m=20.0,
                      orientation_rad=bearing % math.pi, n_hits=30)  # fmt: skip
        piece = _track(2, bearing, 1500.0 - behind, aside, way=way, length_m=60.0, beam_m=10.0,
                       orientation_rad=bearing % math.pi, n_hits=10)  # fmt: skip
        return len(one_of_each((ship, piece), OWN, BEAM, PULSE))

    # Three quarters of both lengths and fifty metres: 170; aside a ship's beam more than 48.
    assert told(165.0, 0.0) == 1 and told(175.0, 0.0) == 2
    assert told(120.0, 70.0) == 1 and told(120.0, 76.0) == 2 and told(120.0, -70.0) == 1
    # Going another way, past a metre and a half and both doubts of two tenths, she is another.
    assert told(60.0, 0.0, (7.8, 0.0)) == 1 and told(60.0, 0.0, (8.0, 0.0)) == 2 and told(60.0, 0.0, (6.0, 2.0)) == 2


@pytest.mark.parametrize(("shown_m", "is_one"), [(40.0, True), (90.0, True), (229.0, True), (231.0, False)])
def test_whose_length_is_believed(shown_m: float, is_one: bool) -> None:
    """AIS tells 100 m: what shows less is hers, and what shows more than twice as much and thirty is two things."""
    ship = _track(
        1,
        0.9,
        1500.0,
        length_m=shown_m,
        beam_m=15.0,
        orientation_rad=0.9,
        n_hits=30,
        ais=_ais(length_m=100.0, heading_rad=0.9),
    )
    reach = 0.75 * max(shown_m, 100.0) if is_one else 0.75 * 100.0
    for along, n in ((reach + 10.0, 1), (reach + 14.0, 2)):
        assert len(one_of_each((ship, _track(2, 0.9, 1500.0 + along, n_hits=10)), OWN, BEAM, PULSE)) == n


@pytest.mark.parametrize("bearing", BEARINGS)
def test_what_is_too_near_too_far_or_too_vague_is_not_told(bearing: float) -> None:
    for away, is_told in ((29.0, False), (31.0, True), (2999.0, True), (3001.0, False)):
        assert bool(_told(_track(1, bearing, away))) is is_told
    assert _told(_track(1, bearing, 500.0, state="tentative")) == []
    # Forty metres; where half a beam is more, that; of a long hull a third of her.
    for away, sigma, length, is_told in (
        (800.0, 39.0, None, True), (800.0, 41.0, None, False), (2000.0, 69.0, None, True), (2000.0, 71.0, None, False),
        (800.0, 65.0, 200.0, True), (800.0, 68.0, 200.0, False),
    ):  # fmt: skip
        track = _track(1, bearing, away, covariance=_sigma(sigma), length_m=length)
        assert bool(_told(track)) is is_told
    # What all echoes are off by together makes none of them vague: it is added in squares, 40 and 30 are 50.
    for away, sigma, shared, is_told in (
        (800.0, 49.0, PoseSigma(30.0, 0.0), True), (800.0, 51.0, PoseSigma(30.0, 0.0), False),
        (2000.0, 81.0, PoseSigma(0.0, 0.03), True), (2000.0, 83.0, PoseSigma(0.0, 0.03), False),
    ):  # fmt: skip
        assert bool(_told(_track(1, bearing, away, covariance=_sigma(sigma)), shared=shared)) is is_told


@pytest.mark.parametrize(
    ("change", "is_told"),
    [
        # Thirty seconds, half as many turns as it was seen, eighty metres of doubt, and not close aboard.
        ({"last_plot_ns": T0 - 29 * S}, True), ({"last_plot_ns": T0 - 31 * S}, False),
        ({"misses_in_a_row": 10}, True), ({"misses_in_a_row": 11}, False),
        ({"range": 119.0}, False), ({"range": 121.0}, True),
    ],
)  # fmt: skip
def test_a_memory_is_told_for_a_while(change: dict[str, Any], is_told: bool) -> None:
    given = {"state": "coasting", "n_hits": 20, "misses_in_a_row": 5, "last_plot_ns": T0 - 10 * S, **change}
    away = given.pop("range", 900.0)
    assert bool(_told(_track(1, 2.0, away, **given))) is is_told


@pytest.mark.parametrize("bearing", BEARINGS)
@pytest.mark.parametrize(
    ("off", "way", "n"), [(24.0, 0.0, 1), (26.0, 0.0, 2), (20.0, 1.4, 1), (20.0, 1.6, 2), (20.0, -1.6, 2)]
)
def test_a_memory_on_the_place_of_a_track_is_that_tracks_past(bearing: float, off: float, way: float, n: int) -> None:
    """So far apart that the beam parts them: the memory lies behind, by a pulse and more."""
    here = _track(1, bearing, 400.0)
    for motion, along, aside in (((way, 0.0), off, 0.0), ((0.0, way), 0.0, off)):
        gone = _track(2, bearing, 400.0 + along, aside, way=motion, state="coasting", misses_in_a_row=5, n_hits=20,
                      last_plot_ns=T0 - 10 * S, covariance=_sigma(10.0))  # fmt: skip
        assert len(_told(here, gone)) == n
    # A vaguer memory is hers a little farther off: one and a half of thirty.
    vague = {"state": "coasting", "misses_in_a_row": 5, "n_hits": 20, "covariance": _sigma(30.0)}
    assert len(_told(here, _track(2, bearing, 444.0, **vague))) == 1
    assert len(_told(here, _track(2, bearing, 446.0, **vague))) == 2


@pytest.mark.parametrize(
    ("change", "is_told"),
    [
        # Hit in fewer than a quarter of twelve turns and more, and placed no better than 25 m: chance.
        ({"n_scans": 12, "n_hits": 2}, False), ({"n_scans": 11, "n_hits": 2}, True),
        ({"n_scans": 12, "n_hits": 3}, True),
        ({"n_scans": 12, "n_hits": 2, "covariance": _sigma(24.0)}, True),
        ({"n_scans": 12, "n_hits": 2, "ais": _ais()}, True),
        # And whatever its doubt where it seems sixty metres long in thirty turns.
        ({"n_scans": 30, "n_hits": 7, "covariance": _sigma(5.0), "length_m": 61.0}, False),
        ({"n_scans": 30, "n_hits": 7, "covariance": _sigma(5.0), "length_m": 59.0}, True),
        ({"n_scans": 29, "n_hits": 7, "covariance": _sigma(5.0), "length_m": 61.0}, True),
    ],
)  # fmt: skip
def test_single_hits_far_between_are_chance(change: dict[str, Any], is_told: bool) -> None:
    assert bool(_told(_track(1, 1.0, 900.0, **{"covariance": _sigma(26.0), **change}))) is is_told


@pytest.mark.parametrize(
    ("change", "is_told"),
    [
        # In a picture the set has cut: three quarters of the turns; half of them where it moves or was hit often.
        ({"seen_share": 0.74}, False), ({"seen_share": 0.76}, True), ({"seen_share": 0.51, "p_moving": 0.9}, True),
        ({"seen_share": 0.49, "p_moving": 0.9}, False), ({"seen_share": 0.51, "n_hits": 10}, True),
        ({"seen_share": 0.51, "n_hits": 9}, False), ({"seen_share": 0.1, "ais": _ais()}, True),
        ({"seen_share": 0.1, "away": 299.0}, True), ({"seen_share": 0.1, "away": 301.0}, False),
    ],
)  # fmt: skip
def test_in_a_picture_cut_by_the_set_it_must_show_oftener(change: dict[str, Any], is_told: bool) -> None:
    given = {"n_hits": 8, "n_scans": 10, **change}
    away = given.pop("away", 900.0)
    track = _track(1, 1.0, away, **given)
    assert bool(_told(track, is_cut=True)) is is_told and bool(_told(track)) is True
