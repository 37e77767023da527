"""A boat that goes about stays one track; two boats stay two."""

from __future__ import annotations

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, noisy, plots_at

from moonless.track.handover import hand_over
from moonless.track.tracker import Tracker

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


def test_what_stands_still_or_was_lost_long_ago_is_not_carried_on() -> None:
    rng = np.random.default_rng(4)
    tracker = Tracker(FRAME)
    buoy = np.array([0.0, 400.0])
    for turn in range(20):
        tracker.update(round(turn * PERIOD_S * NS), plots_at(turn * PERIOD_S, noisy(rng, buoy)), ERRORS)
    (before,) = tracker._bank.id[tracker._bank.confirmed]
    # A launch leaves from beside a buoy that shows no more.
    for turn in range(20, 40):
        place = buoy + np.array([20.0 + 6.0 * PERIOD_S * (turn - 20), 0.0])
        tracker.update(round(turn * PERIOD_S * NS), plots_at(turn * PERIOD_S, noisy(rng, place)), ERRORS)
    bank = tracker._bank
    moving = bank.id[bank.confirmed & (bank.misses == 0)]
    assert moving.size == 1 and int(moving[0]) != int(before)
    ids = bank.id.copy()
    hand_over(bank, np.zeros(len(bank), dtype=np.bool_), round(100 * NS))
    assert np.array_equal(bank.id, ids)
