"""``python -m bench blobs DIR``: the blobs of real radar video straight to the tracker, beside a plain tracker.

DIR is the folder of the real runs: ``score.py`` and a folder for each run with ``blobs.npz`` and ``truth.json``.  The
detector has no part in this: both trackers are fed the same connected cells, and the scorer's own plain tracker
(constant velocity, nearest neighbour, three of five to begin, four misses to end) is the peer.  Truth and AIS only
score.  ``chance`` is what stands on the way of a vessel that is not there: the same tracks held against the truth
turned about the boat by 10 to 60 degrees.

A run where the chance is near the share held tells nothing: no moving vessel with AIS gives an echo of her own there.
"""

from __future__ import annotations

import importlib.util
import io
import json
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from bench.at_sea import blob_sets as _blobs
from bench.result import Result

NAMES = ("blobs",)
TAKES_REST = True
PEER = "plain Kalman"
TURNED_DEG = (-60.0, -40.0, -25.0, -10.0, 10.0, 25.0, 40.0, 60.0)
UNITS = {"speed_error_kn": "kn", "course_error_deg": "deg", "tracks_a_turn": "a turn"}
LEAST_TURNS = 20  # of the truth turned: fewer say nothing of chance


def scorer_of(folder: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("real_radar_score", folder / "score.py")
    if spec is None or spec.loader is None:
        raise SystemExit(f"no score.py in {folder}")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def plain(scorer: ModuleType, run: _blobs.Run) -> list[dict[str, Any]]:
    """Return the plain tracker's readings, made in memory as the scorer's ``baseline`` makes them in a file."""
    out = io.StringIO()
    offset = np.array([0.0, 0.0, run.bow_offset_deg, 0.0, 0.0, 0.0])
    plane = scorer.Plane(run.frame.lat_deg, run.frame.lon_deg)
    scorer.track(
        [(t, _blobs.kept(b) + offset) for t, b in run.turns],
        lambda t: (np.interp(t, run.own["t"], run.own["x"]), np.interp(t, run.own["t"], run.own["y"])), plane, out,
    )  # fmt: skip
    return [json.loads(line) for line in out.getvalue().splitlines()]


def figures(
    scorer: ModuleType, folder: Path, lines: list[dict[str, Any]], turned_deg: Sequence[float] = TURNED_DEG
) -> dict[str, float]:
    """Return the figures of one set of readings of one run, those that it has; chance by the truth turned so."""
    told = scorer.score(folder, lines)
    moving, still = told["moving"], told["still"]
    chance = []
    for turned in turned_deg:
        by = scorer.score(folder, lines, turned, use_bias=told["bearing_bias_used"])["moving"]
        if by["vessel_turns"] >= LEAST_TURNS and by["seen_of_shown"] is not None:
            chance.append(by["seen_of_shown"])
    out = {
        "moving_of_shown": moving["seen_of_shown"],
        "chance_of_shown": float(np.mean(chance)) if chance else None,
        "still_of_shown": still["seen_of_shown"],
        "switches_per_100": moving["id_switches_per_100"],
        "speed_error_kn": moving["speed_abs_median_kn"],
        "course_error_deg": moving["course_abs_median_deg"],
        "tracks_a_turn": float(np.mean([len(line["echoes"]) for line in lines])),
    }
    return {k: float(v) for k, v in out.items() if v is not None}


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Yield each figure of each run, the plain tracker's beside it; ratio above 1 where ours is better."""
    if not rest:
        print("usage: python -m bench blobs DIR, DIR with score.py and folders of blobs.npz", file=sys.stderr)
        return
    folder = Path(rest[0])
    scorer = scorer_of(folder)
    for file in sorted(folder.glob("*/blobs.npz")):
        name, one = file.parent.name, _blobs.read_run(file.parent)
        begin = time.process_time()
        tracks = list(_blobs.tracked(one))
        took_ms = (time.process_time() - begin) / len(tracks) * 1e3
        ours = figures(scorer, file.parent, [_blobs.reading(t, x, one) for t, x in tracks])
        theirs = figures(scorer, file.parent, plain(scorer, one))
        for key in (k for k in ours if k in theirs):
            mine, peer = ours[key], theirs[key]
            more_is_better = key in ("moving_of_shown", "still_of_shown")
            over, under = (mine, peer) if more_is_better else (peer, mine)
            yield Result(f"blobs.{name}.{key}", mine, UNITS.get(key, "1"), PEER, peer, over / under if under else None)
        yield Result(f"blobs.{name}.turn", took_ms, "ms")
