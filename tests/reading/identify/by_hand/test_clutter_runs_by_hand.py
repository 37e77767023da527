"""How many tracks of sea and runs of strays are like a track: by its record, its place, its strength, by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from reading_fakes import make_track

from moonless.reading.identify.past.clutter_runs import clutter_runs, hit_share, hopping


# hits, turns, misses at the end, share of the last dozen: the share of turns with an echo.
@pytest.mark.parametrize(
    ("hits", "turns", "misses", "lately", "share"),
    [
        (20, 24, 0, 0.9, 20.5 / 25.0), (20, 24, 4, 0.9, 20.5 / 21.0), (12, 29, 0, 0.95, 0.7),
        (11, 29, 0, 0.95, 11.5 / 30.0), (12, 36, 0, 0.95, 12.5 / 37.0), (14, 39, 0, 0.95, 0.7),
    ],
)  # fmt: skip
def test_how_often_it_was_hit(hits: int, turns: int, misses: int, lately: float, share: float) -> None:
    track = make_track(1, 0.0, 500.0, n_hits=hits, n_scans=turns, misses_in_a_row=misses, seen_share=lately)
    assert hit_share(track) == pytest.approx(share)
    assert float(hopping(np.array(share))) == pytest.approx(1.0 / (1.0 + math.exp((share - 0.53) / 0.04)))


def _rough(level_db: float) -> float:
    return 0.02 + 0.98 / (1.0 + math.exp(-(level_db - 6.0) / 1.5))


@pytest.mark.parametrize("range_m", [200.0, 900.0])
@pytest.mark.parametrize("level_db", [0.0, 6.0, 12.0, math.nan])
@pytest.mark.parametrize(("hits", "turns"), [(20, 22), (8, 20), (3, 4), (40, 80)])
def test_how_many_tracks_of_sea_are_like_it(range_m: float, level_db: float, hits: int, turns: int) -> None:
    """By the sea's level (half at 6 dB) and the record; ten times in the ring of sea; less for what stands high."""
    track = make_track(1, 0.0, range_m, n_hits=hits, n_scans=turns, strength_db=22.0)
    share = (hits + 0.5) / (turns + 1.0)
    rough = 0.5 if math.isnan(level_db) else _rough(level_db)
    record = math.exp(-0.35 * hits * share**2)
    if range_m < 250.0 or rough > 0.6:
        record = max(record, 0.1 * rough / (1.0 + math.exp((share - 0.53) / 0.04)))
    want = 2e-5 * rough * record * math.exp(-1.0) * (10.0 if range_m < 250.0 else 1.0)
    out = clutter_runs((track,), np.array([range_m]), np.array([level_db]), np.zeros(1))
    assert out[0] == pytest.approx(want)
    if math.isnan(level_db):
        assert clutter_runs((track,), np.array([range_m]), None, np.zeros(1))[0] == pytest.approx(want)


@pytest.mark.parametrize(
    ("strays", "stray", "strength_db", "hits", "density"),
    [
        # Half of what lies thicker than in a clean place, e for each 4 dB that it stands over 18.
        (1.2e-5, 0.0, 22.0, 14, 0.5 * 1e-5 * math.exp(-1.0)),
        (1.2e-5, 0.0, 10.0, 14, 0.5 * 1e-5),
        (1e-6, 0.0, 10.0, 14, 0.0),
        # Or all of them, as well as its strength goes with theirs.
        (1.2e-5, 2.0, 30.0, 14, 0.5 * 1.2e-5 * 2.0),
        # Hit in more turns than a run of strays is: by the binomial likelihood of 20 hits at the most, half of them.
        (1.2e-5, 2.0, 30.0, 19, 1.2e-5), (1.2e-5, 2.0, 30.0, 40, 1.2e-5),
    ],
)  # fmt: skip
def test_how_many_tracks_are_runs_of_strays(
    strays: float, stray: float, strength_db: float, hits: int, density: float
) -> None:
    turns = {14: 20, 19: 20, 40: 42}[hits]
    track = make_track(1, 0.0, 900.0, n_hits=hits, n_scans=turns, strength_db=strength_db, clutter_per_m2=strays)
    share = (hits + 0.5) / (turns + 1.0)
    # A gate of 20 m at the least, 1257 m2, in which so many strays lie.
    most = min(0.7 + strays * math.pi * 400.0, 0.85)
    if share > most:
        gap = share * math.log(share / most) + (1.0 - share) * math.log((1.0 - share) / (1.0 - most))
        density *= math.exp(-0.5 * min(hits, 20) * gap)
    out = clutter_runs((track,), np.array([900.0]), np.array([0.0]), np.array([stray]))
    plain = clutter_runs((replace(track, clutter_per_m2=0.0),), np.array([900.0]), np.array([0.0]), np.zeros(1))
    assert out[0] == pytest.approx(max(density, float(plain[0])))


def test_a_vague_track_gathers_more_strays() -> None:
    """Two and a half sigma about, the mean square of both axes: of 20 and 30 m a gate of 63.7 m, not of 50."""
    strays = 1e-5
    track = make_track(1, 0.0, 900.0, n_hits=19, n_scans=20, strength_db=30.0, clutter_per_m2=strays)
    track = replace(track, covariance=np.diag([400.0, 900.0, 0.04, 0.04]))
    share, most = 19.5 / 21.0, 0.7 + strays * math.pi * 6.25 * 650.0
    gap = share * math.log(share / most) + (1.0 - share) * math.log((1.0 - share) / (1.0 - most))
    out = clutter_runs((track,), np.array([900.0]), np.array([0.0]), np.array([2.0]))
    assert out[0] == pytest.approx(strays * math.exp(-0.5 * 19 * gap))
