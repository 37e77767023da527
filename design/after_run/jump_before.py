"""How much is to be read before a place of a recording that is jumped to: what is told there, by what was read before.

    python design/after_run/jump_before.py RUN.mcap --chart PATH --boat boat.toml

At places all over the run, for each length read before: of the echoes that the whole run told there and had told for
three turns (the recording's own readings), how many are told, how many as the same, and how long the reading took.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from moonless.boat.file import read_boat
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.reading.line import EchoLine, ReadingLine
from moonless.units import NS_PER_S
from moonless.watch.afterwards.told import BesideRecording, PastRun
from moonless.watch.pipeline.chain import Chain
from moonless.watch.pipeline.replay import Replay
from moonless.wire.recording import RecordingReader

BEFORE_S = (5.0, 10.0, 15.0, 20.0, 25.0, 40.0)
N_PLACES, SAME_M, STEADY = 12, 30.0, 3


def told_after(path: Path, boat: Boat, chart: Chart, at_ns: int, before_s: float) -> tuple[ReadingLine | None, float]:
    """Return the last reading before a time, begun so much before it, and the processor's seconds it took."""
    began = time.process_time()
    chain = Chain(boat, chart, None, radar_named=True)
    last = None
    for fed in Replay(recording=path, from_ns=at_ns - round(before_s * NS_PER_S)).feeds():
        if fed.time_ns > at_ns:
            break
        if fed.kind == "radar":
            turns = chain.feed_radar(fed.data, fed.time_ns, is_datagram=fed.is_datagram)
        else:
            turns = chain.feed_nmea(fed.data, fed.time_ns, link=fed.link)
        last = turns[-1].reading.as_dict() if turns else last
    return last, time.process_time() - began


def shares(told: Sequence[EchoLine], there: Sequence[EchoLine]) -> tuple[float, float]:
    """Return the shares of what was there that are told, and told as the same."""
    if not told or not there:
        return 0.0, 0.0
    frame = LocalFrame(there[0]["lat"], there[0]["lon"])
    at = np.column_stack(frame.to_plane(np.array([e["lat"] for e in told]), np.array([e["lon"] for e in told])))
    found, same = 0, 0
    for one in there:
        off = np.hypot(*(at - frame.to_plane(one["lat"], one["lon"])).T)
        k = int(np.argmin(off))
        found += off[k] <= SAME_M
        same += off[k] <= SAME_M and told[k]["is"] == one["is"]
    return found / len(there), same / len(there)


def main(path: Path, boat: Boat, chart: Chart) -> None:
    """Jump, compare and print."""
    kept = list(PastRun(path, BesideRecording(boat)).turns())
    span = RecordingReader(path).span()
    assert span is not None
    places = np.linspace(60.0, (span[1] - span[0]) / NS_PER_S - 30.0, N_PLACES)
    for before_s in BEFORE_S:
        found, same, seconds = [], [], []
        for place_s in places.tolist():
            at_ns = span[0] + round(place_s * NS_PER_S)
            row = max(k for k, turn in enumerate(kept) if turn.time_ns <= at_ns)
            before = [{e["id"] for e in turn.line["echoes"]} for turn in kept[row - STEADY + 1 : row]]
            there = [e for e in kept[row].line["echoes"] if all(e["id"] in ids for ids in before)]
            told, took = told_after(path, boat, chart, at_ns, before_s)
            a, b = shares([] if told is None else told["echoes"], there)
            found, same, seconds = [*found, a], [*same, b], [*seconds, took]
        print(
            f"{before_s:4.0f} s before: told {np.mean(found):.2f} (least {min(found):.2f}), as the same "
            f"{np.mean(same):.2f} (least {min(same):.2f}), {np.mean(seconds):.1f} s of the processor",
            flush=True,
        )


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("recording", type=Path)
    asked.add_argument("--chart", type=Path, nargs="+", required=True)
    asked.add_argument("--boat", type=Path, required=True)
    given = asked.parse_args()
    main(given.recording, read_boat(given.boat), Chart.open(given.chart))
