"""A boat that goes about or is hidden stays one track, two boats two; a watch begun anew keeps the numbers it finds."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, noisy, plots_at

from moonless.track.management import existence
from moonless.track.management.handover import hand_over
from moonless.track.settings import TrackerSettings
from moonless.track.track_store import TrackStore
from moonless.track.tracker import Tracker
from moonless.track.types import Former, Track

PERIOD_S = 2.5


def _confirmed(told):  # type: ignore[no-untyped-def]
    return {track.id: track for track in told if track.state == "confirmed"}


@pytest.mark.parametrize("seed", range(5))
def test_a_boat_that_goes_about_behind_something_is_one_track(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tracker = Tracker(FRAME)
    place, way = np.array([200.0, 300.0]), np.array([0.0, 3.0])
    first: set[int] = set()
    told = {}
    for turn in range(40):
        if turn == 20:
            way = np.array([-7.0, -1.0])
        place = place + way * PERIOD_S
        seen = np.empty((0, 2)) if turn in (20, 21) else noisy(rng, place)
        told = _confirmed(tracker.update(round(turn * PERIOD_S * NS), plots_at(turn * PERIOD_S, seen), ERRORS))
        if turn == 19:
            first = set(told)
    assert len(first) == 1
    assert set(told) == first
    (track,) = told.values()
    assert np.hypot(track.east_m - place[0], track.north_m - place[1]) < 25.0


def test_a_boat_that_comes_up_beside_one_still_seen_is_another() -> None:
    rng = np.random.default_rng(3)
    tracker = Tracker(FRAME)
    told = {}
    for turn in range(30):
        one = np.array([0.0, 300.0 + 3.0 * PERIOD_S * turn])
        places = [one]
        if turn >= 10:
            places.append(one + np.array([60.0 + 2.0 * PERIOD_S * (turn - 10), 0.0]))
        seen = noisy(rng, np.array(places))
        told = _confirmed(tracker.update(round(turn * PERIOD_S * NS), plots_at(turn * PERIOD_S, seen), ERRORS))
    assert len(told) == 2


def _pair(gap_s: float = 5.0, **changes: float) -> tuple[TrackStore, np.ndarray, int]:
    """Return a store of a boat lost and one begun ``gap_s`` after her last plot where she would be; which is new."""
    rng = np.random.default_rng(5)
    banks = []
    for _ in range(2):
        tracker = Tracker(FRAME)
        for turn in range(12):
            place = np.array([0.0, 300.0 + 4.0 * PERIOD_S * turn])
            tracker.update(round(turn * PERIOD_S * NS), plots_at(turn * PERIOD_S, noisy(rng, place)), ERRORS)
        store = tracker._store
        store.keep(store.confirmed)
        assert len(store) == 1
        banks.append(store)
    old, new = banks
    now = int(old.last_plot_ns[0]) + round(20.0 * NS)
    old.misses[:], new.id[:] = 4, 77
    new.started_ns[:] = old.last_plot_ns + round(gap_s * NS)
    # Both stand where they were last; as of now they have run on.
    old.x[:, :, 1] += 4.0 * 20.0
    new.x[:, :, 1] += 4.0 * 20.0
    for name, value in changes.items():
        getattr(old, name)[:] = value
    old.append(new)
    return old, np.array([False, True]), now


def test_the_one_begun_where_she_was_lost_takes_her_number() -> None:
    store, new, now = _pair()
    number, hits = int(store.id[0]), int(store.n_hits.sum())
    hand_over(store, new, now)
    assert store.id.tolist() == [number] and store.n_hits.tolist() == [hits]


@pytest.mark.parametrize(
    ("gap_s", "changes"),
    [
        (20.0, {}),  # lost too long ago
        (-5.0, {}),  # still seen when the other was begun
        (5.0, {"strength_db": 60.0}),
        (5.0, {"false_odds": 1.0}),  # a ghost
        (5.0, {"misses": 0}),
        (5.0, {"mu": np.array([1.0, 0.0, 0.0, 0.0])}),  # it stood still
    ],
)
def test_another_is_not_carried_on(gap_s: float, changes: dict[str, float]) -> None:
    store, new, now = _pair(gap_s, **changes)
    ids = store.id.tolist()
    hand_over(store, new, now)
    assert store.id.tolist() == ids


def test_where_two_fit_none_is_taken() -> None:
    store, new, now = _pair()
    twin, _, _ = _pair()
    twin.keep(np.array([True, False]))
    twin.id[:] = 55
    store.append(twin)
    hand_over(store, np.append(new, False), now)
    assert len(store) == 3


# --- a watch begun anew after one that died

PLACES = np.array([[200.0, 300.0], [-400.0, 100.0], [0.0, -500.0]])
WAYS = np.array([[0.0, 4.0], [0.0, 0.0], [-3.0, 3.0]])


def _former(number: int, place: np.ndarray, way: np.ndarray, time_s: float = 0.0) -> Former:
    lat, lon = FRAME.to_geographic(*place)
    return Former(number, round(time_s * NS), float(lat), float(lon), *way)


def _ids(former: tuple[Former, ...], gap_s: float, turns: int = 8) -> dict[int, np.ndarray]:
    """Return the numbers and places of the confirmed tracks of a watch begun ``gap_s`` after the last word."""
    rng = np.random.default_rng(7)
    tracker = Tracker(FRAME, former=former)
    told: tuple[Track, ...] = ()
    for turn in range(turns):
        t = gap_s + turn * PERIOD_S
        told = tracker.update(round(t * NS), plots_at(t, noisy(rng, PLACES + WAYS * t)), ERRORS)
    return {track.id: np.array([track.east_m, track.north_m]) for track in told if track.state == "confirmed"}


@pytest.mark.parametrize("gap_s", [2.5, 10.0])
def test_what_is_found_where_it_would_be_keeps_its_number(gap_s: float) -> None:
    found = _ids(tuple(_former(n, p, w) for n, p, w in zip((7, 3, 21), PLACES, WAYS, strict=True)), gap_s)
    assert set(found) == {7, 3, 21}
    now = gap_s + 7 * PERIOD_S
    for number, place, way in zip((7, 3, 21), PLACES, WAYS, strict=True):
        assert np.hypot(*(found[number] - place - way * now)) < 20.0


def test_what_is_new_gets_a_number_that_none_had() -> None:
    found = _ids((_former(40, PLACES[0], WAYS[0]),), 5.0)
    assert 40 in found and len(found) == 3
    assert min(found) == 40


def test_two_that_could_both_be_it_are_neither() -> None:
    beside = PLACES[1] + [8.0, 0.0]
    found = _ids((_former(5, PLACES[1], WAYS[1]), _former(6, beside, WAYS[1])), 5.0)
    assert not {5, 6} & set(found)


def test_what_moved_minutes_ago_may_be_anywhere() -> None:
    former = (_former(5, PLACES[0], WAYS[0]), _former(6, PLACES[1], WAYS[1]))
    assert set(_ids(former, 90.0)) & {5, 6} == {6}


def _seen_again(free_least: float, seed: int, monkeypatch: pytest.MonkeyPatch) -> int:
    """Return in how many of her last ten turns a ship is the track she was before she was hidden for ten.

    From then on the tracker reckons that three hulls hide her, which they do no longer; her echo, 150 m wide, wanders
    by 25 m, and strays lie about her.
    """
    rng = np.random.default_rng(seed)
    tracker, was, held, hides = Tracker(FRAME, settings=replace(TrackerSettings(), free_least=free_least)), 0, 0, False
    reckoned = existence.hindered

    def hindered(*args: object) -> tuple[np.ndarray, np.ndarray]:
        free, blend = reckoned(*args)  # type: ignore[arg-type]
        return (np.full_like(free, 0.3**3) if hides else free), blend

    monkeypatch.setattr(existence, "hindered", hindered)
    for k in range(50):
        hides = k >= 18
        ship = np.array([[1.5 * k, 1400.0 + 10.0 * k]])
        hers = noisy(rng, ship) + rng.normal(0.0, 25.0, 2)
        hers = hers[:0] if 18 <= k < 28 else hers
        strays = ship + rng.uniform(-400.0, 400.0, (8, 2))
        plots = plots_at(k * PERIOD_S, np.vstack([hers, strays]))
        wide = np.arange(len(plots)) < len(hers)
        across = np.where(wide, np.mod(plots.azimuth_rel_rad + 0.5 * math.pi, math.pi), np.nan)
        plots = replace(plots, cross_extent_m=np.where(wide, 150.0, 0.0), orientation_rel_rad=across)
        tracks = tracker.update(round(k * PERIOD_S * NS), plots, ERRORS)
        own = [t.id for t in tracks if len(hers) and t.last_plot == 0 and t.state != "tentative"]
        was = own[0] if own and k < 18 else was
        held += k >= 40 and own == [was]
    monkeypatch.undo()
    return held


def test_a_ship_reckoned_hidden_is_the_same_ship_when_she_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    held = [_seen_again(TrackerSettings().free_least, seed, monkeypatch) for seed in range(3)]
    assert min(held) >= 4 and np.mean(held) >= 6
    # By that reckoning alone she was nobody's.
    assert _seen_again(0.0, 0, monkeypatch) == 0
