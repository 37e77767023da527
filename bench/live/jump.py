"""A place of a recording gone to by the time bar: how long until the first reading there.

``jump.unplayed``: a place that was not played, begun anew 40 s before it; ``jump.played``: one that was, gone on from a
state that was kept; ``jump.told`` of each: the share of the echoes told there that the whole run told, and had told for
three turns.  Seconds of the processor, of the process that plays: the clock on a wall depends on what else runs.  The
demo's story at its own resolution is played into a recording first.
"""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from multiprocessing import Pipe
from pathlib import Path

import numpy as np

from bench.many_runs.record import record
from bench.result import Result
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.helm.process.play_jobs import ReplayJob
from moonless.helm.process.requests import Asked, JumpTo
from moonless.reading.types import Reading
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.units import NS_PER_S
from moonless.watch.afterwards.told import BesideRecording, PastRun, ToldTurn
from moonless.watch.types import Turn
from moonless.wire.recording import RecordingReader

NAMES = ("jump.unplayed", "jump.unplayed_told", "jump.played", "jump.played_told")
LENGTH_S, PLAYED_S = 300.0, 150.0
# What was not played lies further on than a state reaches.
PLACES_S = {"unplayed": (280.0, 240.0), "played": (100.0, 60.0, 130.0)}
SAME_M, STEADY = 30.0, 3


class _Helm:
    """A job that plays in a thread, and this end of its pipe."""

    def __init__(self, path: Path) -> None:
        scene = open_demo()
        self._pipe, other = Pipe()
        self._job = ReplayJob(scene.boat, tuple(scene.waters.paths), path, speed=16.0)
        threading.Thread(target=self._job.run, args=(other,), daemon=True).start()

    def until(self, is_there: Callable[[int], bool]) -> Reading:
        """Return the first reading with echoes whose time is such."""
        while True:
            event = self._pipe.recv()
            if isinstance(event, Turn) and event.reading.echoes and is_there(event.reading.time_ns):
                return event.reading

    def go_to(self, at_ns: int) -> tuple[Reading, float]:
        """Return the first reading at a place, and the seconds of the processor until it came."""
        began = time.process_time()
        self._pipe.send(Asked(1, JumpTo(at_ns)))
        reading = self.until(lambda time_ns: abs(time_ns - at_ns) < 4 * NS_PER_S)
        return reading, time.process_time() - began


def run(names: Sequence[str]) -> Iterator[Result]:
    """Play, go there and back, and yield what was asked for."""
    scene = replace(open_demo(), duration_s=LENGTH_S)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.mcap"
        record(ScenePlayer(scene), Chart.open(list(scene.waters.paths)), path, with_video=True)
        figures = _gone(path)
    for name in names:
        yield Result(name, figures[name], "of the echoes" if name.endswith("told") else "s of the processor, the mean")


def _gone(path: Path) -> dict[str, float]:
    kept = list(PastRun(path, BesideRecording(open_demo().boat)).turns())
    span = RecordingReader(path).span()
    assert span is not None
    helm = _Helm(path)
    helm.until(lambda time_ns: time_ns > span[0] + round(PLAYED_S) * NS_PER_S)
    out: dict[str, float] = {}
    for what, places in PLACES_S.items():
        seconds, shares = [], []
        for place_s in places:
            reading, took = helm.go_to(span[0] + round(place_s * NS_PER_S))
            seconds.append(took)
            shares.append(_told(reading, kept))
        out[f"jump.{what}"], out[f"jump.{what}_told"] = float(np.mean(seconds)), float(np.mean(shares))
    return out


def _told(reading: Reading, kept: Sequence[ToldTurn]) -> float:
    """Return the share of what the recording told at that turn, and had told for some turns, that is told."""
    row = int(np.argmin([abs(turn.time_ns - reading.time_ns) for turn in kept]))
    before = [{e["id"] for e in turn.line["echoes"]} for turn in kept[row - STEADY + 1 : row]]
    there = [e for e in kept[row].line["echoes"] if all(e["id"] in ids for ids in before)]
    frame = LocalFrame(there[0]["lat"], there[0]["lon"])
    told = np.array([(e.lat, e.lon) for e in reading.echoes])
    at = np.column_stack(frame.to_plane(told[:, 0], told[:, 1]))
    off = [float(np.min(np.hypot(*(at - frame.to_plane(e["lat"], e["lon"])).T))) for e in there]
    return float(np.mean(np.array(off) <= SAME_M))
