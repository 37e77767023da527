"""AIS and another radar's targets join the radar's own tracks."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, noisy, plots_at

from moonless.track.tracker import Tracker
from moonless.track.types import AisTarget, RadarTarget, Track

TURN = 2.5


def _ais(
    mmsi: int, time_s: float, place: np.ndarray, velocity: tuple[float, float] | None = None, **more: object
) -> AisTarget:
    lat, lon = FRAME.to_geographic(place[0], place[1])
    cog = None if velocity is None else math.atan2(*velocity) % (2 * math.pi)
    sog = None if velocity is None else math.hypot(*velocity)
    made = AisTarget(mmsi=mmsi, time_ns=round(time_s * NS), lat_deg=lat, lon_deg=lon, cog_rad=cog, sog=sog)
    return replace(made, **more) if more else made


def _sail(say: object, turns: int = 20, seed: int = 1) -> tuple[Track, ...]:
    """Two boats, one at 5 m/s; ``say(k, t, places)`` gives the outside reports of each turn."""
    rng = np.random.default_rng(seed)
    tracker = Tracker(FRAME)
    for k in range(turns):
        t = k * TURN
        places = np.array([[500.0 + 4.0 * t, 300.0 + 3.0 * t], [-200.0, 900.0]])
        tracks = tracker.update(round(t * NS), plots_at(t, noisy(rng, places)), ERRORS, **say(k, t, places))  # type: ignore[operator]
    return tuple(x for x in tracks if x.state != "tentative")


def test_one_vessel_one_track_both_sources() -> None:
    held = _sail(lambda k, t, p: {"ais": [_ais(111, t - t % 10, p[0] - np.array([4.0, 3.0]) * (t % 10), (4.0, 3.0))]})
    assert len(held) == 2
    moving = max(held, key=lambda t: t.speed)
    still = min(held, key=lambda t: t.speed)
    assert moving.ais is not None
    assert moving.ais.mmsi == 111
    assert moving.n_hits > 15  # and the radar's own plots still count
    assert still.ais is None


def test_ais_sharpens_the_place() -> None:
    alone = max(_sail(lambda k, t, p: {}), key=lambda t: t.speed)
    told = max(_sail(lambda k, t, p: {"ais": [_ais(111, t, p[0], (4.0, 3.0))]}), key=lambda t: t.speed)
    assert np.trace(told.covariance[:2, :2]) < np.trace(alone.covariance[:2, :2])


def test_a_vessel_elsewhere_is_left_alone() -> None:
    held = _sail(lambda k, t, p: {"ais": [_ais(222, t, p[0] + np.array([150.0, 0.0]), (4.0, 3.0))]})
    assert all(t.ais is None for t in held)


def test_wrong_way_is_not_the_same_vessel() -> None:
    held = _sail(lambda k, t, p: {"ais": [_ais(333, t, p[0], (-4.0, -3.0))]})
    assert all(t.ais is None for t in held)


def test_own_and_virtual_are_not_joined() -> None:
    held = _sail(
        lambda k, t, p: {"ais": [_ais(1, t, p[1], None, is_own=True), _ais(2, t, p[1], None, is_virtual_aid=True)]}
    )
    assert all(t.ais is None for t in held)


def test_two_reports_two_tracks() -> None:
    held = _sail(lambda k, t, p: {"ais": [_ais(5, t, p[0], (4.0, 3.0)), _ais(6, t, p[1], (0.0, 0.0))]})
    assert {t.ais.mmsi for t in held if t.ais} == {5, 6}


@pytest.mark.parametrize("turn_deg", [0.0, 130.0, 250.0])
@pytest.mark.parametrize("is_swapped", [False, True])
def test_of_two_abreast_each_has_her_own_name(turn_deg: float, is_swapped: bool) -> None:
    """Twenty metres apart on one course, each report could be of either; the nearer one is hers."""
    a = math.radians(turn_deg)
    way, side = np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])
    rng, tracker = np.random.default_rng(4), Tracker(FRAME)
    names = (222, 111) if is_swapped else (111, 222)
    for k in range(24):
        t = k * TURN
        places = np.array([600.0 * way + 5.0 * t * way, 600.0 * way + 5.0 * t * way + 20.0 * side])
        said = [_ais(names[i], t, places[i], tuple(5.0 * way)) for i in (0, 1)]  # type: ignore[arg-type]
        tracks = tracker.update(round(t * NS), plots_at(t, noisy(rng, places)), ERRORS, ais=said)
    named = {t.ais.mmsi: np.array([t.east_m, t.north_m]) for t in tracks if t.ais is not None}
    assert set(named) == {111, 222}
    for mmsi, place in zip(names, places, strict=True):
        assert float(np.hypot(*(named[mmsi] - place))) < 8.0


def test_parting_when_they_disagree() -> None:
    def say(k: int, t: float, p: np.ndarray) -> dict[str, object]:
        off = np.array([0.0, 0.0]) if k < 12 else np.array([400.0, 0.0])
        return {"ais": [_ais(7, t, p[1] + off, (0.0, 0.0))]}

    held = _sail(say, turns=30)
    assert all(t.ais is None for t in held)


def test_unknown_position_is_ignored() -> None:
    held = _sail(lambda k, t, p: {"ais": [replace(_ais(8, t, p[1]), lat_deg=math.nan)]})
    assert len(held) == 2


def test_another_radars_target_is_joined_too() -> None:
    def say(k: int, t: float, p: np.ndarray) -> dict[str, object]:
        lat, lon = FRAME.to_geographic(p[0][0] + 15.0, p[0][1] - 10.0)
        other = RadarTarget("other radar", 3, round(t * NS), lat, lon, math.atan2(4.0, 3.0), 5.1, "T3")
        return {"others": [other], "ais": [_ais(9, t, p[0], (4.0, 3.0))]}

    moving = max(_sail(say), key=lambda t: t.speed)
    assert moving.other_radar is not None
    assert moving.other_radar.name == "T3"
    assert moving.ais is not None
