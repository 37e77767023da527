"""``python -m bench real [DIR]``: real marine radar video through the whole chain, scored by the data's own scorer.

DIR (default ``MOONLESS_DATA``/real-radar) holds the scorer, ``score.py``, and run folders with ``radar.cat240``,
``nmea.nmea``, ``chart.gpkg``, ``boat.toml`` and AIS as truth.  AIS is not given to the reader.  The peer is the
scorer's own plain tracker (threshold, connected cells, constant-velocity Kalman filter, no chart), which reads cells
marked beforehand.  The rule of the scorer is in the README beside it.

For each run:

    moving, still      share of the vessel-turns that the video shows, in which an echo is told within the gate
    *.chance           the same with the truth turned about the boat: what the number of echoes alone gives
    switches           changes of identity per 100 turns held
    speed              median error of the speed of moving vessels, knots
    open               echoes a turn in open water where AIS knows nothing: unknown things, not false alarms
    told               echoes a turn, all told
    short              vessels told that live under five turns, a turn
"""

from __future__ import annotations

import importlib.util
import json
import os
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

from bench.result import Result

NAMES = ("real",)
TAKES_REST = True
PEER = "plain tracker"
SHORT_TURNS = 5


def scorer_of(folder: Path) -> ModuleType:
    path = folder / "score.py"
    if not path.is_file():
        raise SystemExit(f"{folder} holds no score.py: it is not the folder of real radar video")
    spec = importlib.util.spec_from_file_location("real_radar_score", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def read_run(folder: Path, out: Path, chart: str = "chart.gpkg") -> list[dict[str, Any]]:
    """Read one run as ``moonless read`` does and return its lines, written to ``out`` too."""
    from moonless.boat.file import read_boat
    from moonless.chart.library import Chart
    from moonless.watch.pipeline.chain import Chain
    from moonless.watch.pipeline.replay import Replay, play

    chain = Chain(read_boat(folder / "boat.toml"), Chart.open([folder / chart]))
    replay = Replay(radar=(folder / "radar.cat240",), nmea=(folder / "nmea.nmea",))
    lines: list[dict[str, Any]] = []
    with out.open("w", encoding="utf-8") as file:
        for turn, _ in play(chain, replay):
            line = dict(turn.reading.as_dict())
            lines.append(line)
            file.write(json.dumps(line) + "\n")
    return lines


def short_lives(lines: Sequence[dict[str, Any]]) -> float:
    """Return vessels told that live under `SHORT_TURNS` turns, a line."""
    lives = Counter(e["id"] for line in lines for e in line["echoes"] if e["is"] == "vessel")
    return sum(turns < SHORT_TURNS for turns in lives.values()) / max(len(lines), 1)


def open_water(score: dict[str, Any]) -> float:
    return float(sum(kind["per_turn"] for kind in score["open_water_no_ais"].values()))


def told_a_turn(score: dict[str, Any]) -> float:
    return float(sum(score["echoes_per_turn"].values()))


def _figures(name: str, scorer: ModuleType, folder: Path) -> Iterator[Result]:
    with tempfile.TemporaryDirectory() as temporary:
        ours_path, plain_path = Path(temporary) / "ours.jsonl", Path(temporary) / "plain.jsonl"
        lines = read_run(folder, ours_path)
        scorer.baseline(folder, plain_path)
        ours, plain = scorer.score(folder, ours_path), scorer.score(folder, plain_path)
        chances = [
            scorer.score(folder, path, 73.0, use_bias=one["bearing_bias_used"])
            for path, one in ((ours_path, ours), (plain_path, plain))
        ]
        plain_lines = [json.loads(line) for line in plain_path.read_text(encoding="utf-8").splitlines()]

    def figure(what: str, unit: str, mine: float | None, its: float | None, more: bool) -> Iterator[Result]:
        if mine is None:
            return
        ratio = None
        if its is not None and mine > 0.0 and its > 0.0:
            ratio = mine / its if more else its / mine
        yield Result(f"real.{name}.{what}", mine, unit, PEER if its is not None else None, its, ratio)

    for group in ("moving", "still"):
        yield from figure(group, "of shown", ours[group]["seen_of_shown"], plain[group]["seen_of_shown"], True)
        chance = [one[group]["seen_of_shown"] for one in chances]
        yield from figure(f"{group}.chance", "of shown", chance[0], chance[1], False)
        shown = ours[group]["shown_in_video"]
        turns = None if shown is None else shown * ours[group]["vessel_turns"]
        yield from figure(f"{group}.shown", "vessel-turns", turns, None, True)
    moving, peer = ours["moving"], plain["moving"]
    yield from figure("switches", "per 100", moving["id_switches_per_100"], peer["id_switches_per_100"], False)
    yield from figure("speed", "kn", moving["speed_abs_median_kn"], peer["speed_abs_median_kn"], False)
    yield from figure("open", "a turn", open_water(ours), open_water(plain), False)
    yield from figure("told", "a turn", told_a_turn(ours), told_a_turn(plain), False)
    yield from figure("short", "a turn", short_lives(lines), short_lives(plain_lines), False)


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Yield the figures of every run in the folder."""
    folder = Path(rest[0]) if rest else Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "real-radar"
    scorer = scorer_of(folder)
    for one in sorted(path for path in folder.iterdir() if (path / "radar.cat240").is_file()):
        yield from _figures(one.name, scorer, one)
