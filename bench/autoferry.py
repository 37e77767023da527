"""``python -m bench.autoferry DIR``: real radar detections, our tracker beside Stone Soup's JPDA and GNN.

DIR holds scenario folders with ``*_detections.json`` and ``*_groundTruth.json``.  One JSON object a line: for each
scenario, tracker and scoring the mean GOSPA (c = 20 m, p = 2, alpha = 2), its localisation, missed and false parts
(mean per turn, square metres), track breaks, identity switches, seconds to the first track of each boat.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from bench import _autoferry_ours, _stonesoup
from bench._autoferry_data import Turn, read_scenario
from moonless.track.metrics import Score

STILL_BELOW = 0.5  # m/s over the ground: shore and moored things are real echoes without truth

Run = Callable[[list[Turn]], Iterable[_stonesoup.Out]]

# Found by `design/track_peers.py` and a search from there on these very scenarios: the peers have the benefit of them,
# as ours has.  Held to what is asked of ours: a track after four plots at the most, and kept through three turns
# without one.  (Without that the search ends at seven plots to start, or at dropping a track at its first missing one.)
PEERS = {
    "Stone Soup JPDA": _stonesoup.PeerSettings(
        "jpda",
        acceleration_q=0.01,
        noise_m=1.5,
        speed_sigma=8.0,
        p_detect=0.7,
        clutter_per_m2=5e-6,
        gate=2.0,
        min_points=4,
        delete_after=6,
    ),
    "Stone Soup GNN": _stonesoup.PeerSettings(
        "gnn", acceleration_q=0.002, noise_m=1.5, speed_sigma=8.0, gate=2.0, min_points=4, delete_after=4
    ),
}


def _peer(settings: _stonesoup.PeerSettings) -> Run:
    return lambda turns: _stonesoup.run([t.time_s for t in turns], [t.points_m for t in turns], settings)


def score(turns: list[Turn], run: Run, *, leave_out_still: bool) -> Score:
    """Return the score of one tracker over one scenario."""
    return _scores(turns, run)[1 if leave_out_still else 0]


def _scores(turns: list[Turn], run: Run) -> tuple[Score, Score]:
    both = (Score(), Score())
    for turn, (ids, places, velocities) in zip(turns, run(turns), strict=True):
        moving = np.hypot(velocities[:, 0], velocities[:, 1]) >= STILL_BELOW
        for kept, s in ((np.ones(len(ids), np.bool_), both[0]), (moving, both[1])):
            s.add(turn.time_s, ids[kept], places[kept], turn.truth_ids, turn.truths_m)
    return both


def _line(scenario: str, tracker: str, tracks: str, s: Score) -> dict[str, object]:
    n = max(len(s.distances), 1)
    return {
        "scenario": scenario, "tracker": tracker, "tracks": tracks, "gospa": round(s.mean, 3),
        "localisation": round(s.localisation / n, 2), "missed": round(s.missed / n, 2), "false": round(s.false / n, 2),
        "rms_m": round(s.rms_m, 2), "breaks": s.breaks, "switches": s.switches,
        "first_s": {str(k): round(v, 1) for k, v in s.first_s.items()},
    }  # fmt: skip


def main(argv: list[str]) -> int:
    """Print the table; exit code 2 when DIR holds no scenario."""
    folders = sorted(
        (f for a in argv[:1] for f in Path(a).glob("*") if any(f.glob("*_detections.json"))), key=lambda f: f.name
    )
    if not folders:
        print("usage: python -m bench.autoferry DIR, DIR with folders of *_detections.json", file=sys.stderr)
        return 2
    runs: dict[str, Run] = {"moonless": _autoferry_ours.run}
    if "--ours" not in argv:
        runs |= {name: _peer(s) for name, s in PEERS.items()}
    means: dict[tuple[str, str], list[float]] = {}
    for folder in folders:
        turns = read_scenario(folder)
        for name, run in runs.items():
            for tracks, s in zip(("all", "moving"), _scores(turns, run), strict=True):
                means.setdefault((name, tracks), []).append(s.mean)
                print(json.dumps(_line(folder.name, name, tracks, s)), flush=True)
    for (name, tracks), values in means.items():
        print(
            json.dumps(
                {"scenario": "mean", "tracker": name, "tracks": tracks, "gospa": round(float(np.mean(values)), 3)}
            )
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
