"""Pictures full of plots: blobs of real radar video, and more plots than tracks may be.

Of real video it holds what a plain tracker holds, and tells less.  The made sea answers in every direction close
aboard, as the picture of a set does whose sea control is off: the likeliest plots are tracked, nothing waits for ever.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, noisy, plots_at

from moonless.track.settings import TrackerSettings
from moonless.track.tracker import Tracker

ROOT = Path(__file__).parents[2]
DATA = Path(os.environ.get("MOONLESS_DATA", ROOT.parent / "shared" / "data")) / "real-radar"
TURN = 2.5
CROWD = 700


def _sea(rng: np.random.Generator) -> np.ndarray:
    reach, bearing = 60.0 + 60.0 * np.sqrt(rng.random(CROWD)), rng.uniform(0.0, 2.0 * np.pi, CROWD)
    return np.column_stack([reach * np.sin(bearing), reach * np.cos(bearing)])


def test_boats_far_off_are_tracked_though_the_sea_close_aboard_would_fill_all_the_room() -> None:
    settings = TrackerSettings(max_tracks=300)
    rng, tracker = np.random.default_rng(5), Tracker(FRAME, settings=settings)
    boats = np.array([(900.0, 400.0), (-700.0, 800.0), (300.0, -1200.0)])
    for k in range(1, 13):
        now = boats + np.array([3.0, -2.0]) * k * TURN
        # The sea's plots stand first, as those of spokes swept before the boats' do.
        places = np.concatenate([_sea(rng), noisy(rng, now)])
        tracks = tracker.update(round(k * TURN * NS), plots_at(k * TURN, places), ERRORS)
    told = np.array([(t.east_m, t.north_m) for t in tracks if t.state == "confirmed"])
    for boat in now:
        assert np.hypot(*(told - boat).T).min() < 40.0
    assert len(tracks) <= settings.max_tracks


def _hidden(east_m: np.ndarray, north_m: np.ndarray) -> np.ndarray:
    return np.zeros(len(east_m))


@pytest.mark.parametrize(("room", "left_at_last"), [(1, 0), (1000, 1)])
def test_a_tentative_track_is_not_waited_for_behind_what_may_hide_it_where_room_runs_short(
    room: int, left_at_last: int
) -> None:
    rng, tracker = np.random.default_rng(7), Tracker(FRAME, settings=TrackerSettings(max_tracks=room))
    boat = np.array([[500.0, 300.0]])
    # Seen twice, then never again though nothing says that it could have been.
    for k in (1, 2):
        tracker.update(round(k * TURN * NS), plots_at(k * TURN, noisy(rng, boat)), ERRORS)
    nothing = plots_at(0.0, np.zeros((0, 2)))
    left = []
    for k in range(3, 20):
        left.append(len(tracker.update(round(k * TURN * NS), nothing, ERRORS, p_visible=_hidden)))
    waits = tracker.settings.tentative_waits
    assert left[waits - 2] == 1 and left[waits + 1] == left_at_last


@pytest.mark.data
@pytest.mark.skipif(not DATA.is_dir(), reason=f"no real radar at {DATA}")
def test_real_vessels_are_held() -> None:
    sys.path.insert(0, str(ROOT))
    try:
        from bench.at_sea import blob_sets as _blobs
        from bench.at_sea import blobs
    finally:
        sys.path.remove(str(ROOT))
    # The strait alone: in the inlet no moving vessel with AIS gives an echo of her own, and all is chance.
    folder = DATA / "01_001"
    run, scorer = _blobs.read_run(folder), blobs.scorer_of(DATA)
    ours = blobs.figures(scorer, folder, [_blobs.reading(t, x, run) for t, x in _blobs.tracked(run)], ())
    plain = blobs.figures(scorer, folder, blobs.plain(scorer, run), ())
    assert ours["moving_of_shown"] >= plain["moving_of_shown"] > 0.9
    assert ours["tracks_a_turn"] < 0.9 * plain["tracks_a_turn"]
    assert ours["switches_per_100"] <= 2.0
    assert ours["speed_error_kn"] <= 1.5
