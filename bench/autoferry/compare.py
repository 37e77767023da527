"""``python -m bench.autoferry DIR``: real radar detections, our tracker beside Stone Soup's JPDA and GNN.

DIR holds scenario folders with ``*_detections.json`` and ``*_groundTruth.json``; joyride's ``scans.json`` is looked for
in it and beside it.  One JSON object a line: for each scenario, tracker and scoring the mean GOSPA (c = 20 m, joyride
40 m, p = 2, alpha = 2), its localisation, missed and false parts (mean per turn, square metres), the share of turns
held, track breaks, identity switches, seconds to the first track of each boat.  Then the means: of the four scenarios,
and of all with joyride, there at half so that its cut is the others'.  ``--ours``: ours alone.

One setting for all: `moonless.track.settings` as it stands, and for each peer what `design/track_leave_out.py` chose
in the same way.  That script says what settings chosen without a scenario give on it: the figures to believe.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from bench.autoferry import ours as _autoferry_ours
from bench.autoferry.data import Scenario, read_all
from bench.metrics import Score
from bench.peers import stonesoup as _stonesoup
from moonless.track.settings import TrackerSettings

STILL_BELOW = 0.5  # m/s over the ground: shore and moored things are real echoes without truth

Run = Callable[[Scenario], Iterable[_stonesoup.Out]]

# Chosen by `design/track_leave_out.py` over all five scenarios.
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


def ours(settings: TrackerSettings | None = None) -> Run:
    """Return our tracker as a run over a scenario."""
    return lambda one: _autoferry_ours.run(one.turns, one.radar, settings)


def peer(settings: _stonesoup.PeerSettings) -> Run:
    """Return a peer as a run over a scenario; its noise goes with the scenario's radar, as ours does."""

    def run(one: Scenario) -> Iterable[_stonesoup.Out]:
        scaled = replace(settings, noise_m=settings.noise_m * one.radar.of_autoferry)
        return _stonesoup.run([t.time_s for t in one.turns], [t.points_m for t in one.turns], scaled)

    return run


def scores(one: Scenario, run: Run) -> tuple[Score, Score]:
    """Return the scores of one tracker over one scenario: all tracks, and those that move over the ground."""
    both = (Score(c=one.cut_m), Score(c=one.cut_m))
    for turn, (ids, places, velocities) in zip(one.turns, run(one), strict=True):
        moving = np.hypot(velocities[:, 0], velocities[:, 1]) >= STILL_BELOW
        judged = np.ones(len(ids), np.bool_)
        if len(ids) and math.isfinite(one.judged_within_m):
            away = np.hypot(*(places[:, None] - turn.truths_m[None]).transpose(2, 0, 1))
            judged = away.min(axis=1, initial=np.inf) <= one.judged_within_m
        for kept, s in ((judged, both[0]), (judged & moving, both[1])):
            s.add(turn.time_s, ids[kept], places[kept], turn.truth_ids, turn.truths_m)
    return both


def figure(one: Scenario, s: Score) -> float:
    """Return the mean GOSPA, brought to a cut of 20 m."""
    return s.mean * 20.0 / one.cut_m


def _line(scenario: str, tracker: str, tracks: str, s: Score) -> dict[str, object]:
    n = max(len(s.distances), 1)
    return {
        "scenario": scenario, "tracker": tracker, "tracks": tracks, "gospa": round(s.mean, 3),
        "localisation": round(s.localisation / n, 2), "missed": round(s.missed / n, 2), "false": round(s.false / n, 2),
        "held": round(s.n_joined / max(s.n_joined + s.n_missed, 1), 3), "rms_m": round(s.rms_m, 2),
        "breaks": s.breaks, "switches": s.switches,
        "first_s": {str(k): round(v, 1) for k, v in s.first_s.items()},
    }  # fmt: skip


def main(argv: list[str]) -> int:
    """Print the table; exit code 2 when DIR holds no scenario."""
    folders = [Path(a) for a in argv if not a.startswith("--")]
    found = [one for f in folders[:1] for one in read_all(f)]
    if not found:
        print("usage: python -m bench.autoferry DIR, DIR with folders of *_detections.json", file=sys.stderr)
        return 2
    runs: dict[str, Run] = {"moonless": ours()}
    if "--ours" not in argv:
        runs |= {name: peer(s) for name, s in PEERS.items()}
    means: dict[tuple[str, str], list[float]] = {}
    for one in found:
        for name, run in runs.items():
            for tracks, s in zip(("all", "moving"), scores(one, run), strict=True):
                means.setdefault((name, tracks), []).append(figure(one, s))
                print(json.dumps(_line(one.name, name, tracks, s)), flush=True)
    harbour = [k for k, one in enumerate(found) if one.name != "joyride"]
    for of, kept in (("mean of the harbour", harbour), ("mean", range(len(found)))):
        for (name, tracks), values in means.items():
            mean = float(np.mean([values[k] for k in kept])) if len(kept) else None
            print(json.dumps({"scenario": of, "tracker": name, "tracks": tracks, "gospa": mean and round(mean, 3)}))
    return 0
