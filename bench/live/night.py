"""A night's watch in as long as it takes: the demo's story told again and again to the live watch's own queues and
chain, recorded, its state kept, on the story's clock.

    python -m bench.live.night [HOURS] [--wall SECONDS] [--spokes N] [--cells N] [--every TURNS] [--log FILE]

The picture is small (a quarter of the demo's spokes and cells), so that twelve hours take one or two.  A process of its
own tells the story, so that what is measured holds the watch and nothing else.  Memory goes up and down within a
telling with what is in view, so it is compared between tellings at the same moment of the story: the slope an hour of
story by least squares over all such moments, with the slope's own standard deviation, the first telling left out.  With
the resident memory goes what it is made of: what the C library's heap has in use and keeps free, blocks and objects of
Python.  One JSON line is printed, and with ``--log`` one for each look.  Exit code 1 where memory climbs by more than
`MOST_MB` an hour and three times its noise.
"""

from __future__ import annotations

import argparse
import ctypes
import gc
import json
import multiprocessing
import pickle
import sys
import tempfile
import threading
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from bench.faults.play import StoryClock
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.helm.process.worker import without_scan
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.units import NS_PER_S
from moonless.watch.live.watch import LiveEvent, LiveWatch
from moonless.watch.types import ChainKept, Turn
from moonless.wire.links import parse_link

# More than this, and more than three times its own standard deviation, is a leak.
MOST_MB = 1.0
RADAR, NMEA = 0, 1

Came = list[tuple[int, int, bytes]]
"""(time of receipt, link, bytes) of one turn, in order of time."""


class Mallinfo2(ctypes.Structure):
    """``struct mallinfo2`` of the GNU C library (mallinfo(3))."""

    _fields_ = [(name, ctypes.c_size_t) for name in (
        "arena", "ordblks", "smblks", "hblks", "hblkhd", "usmblks", "fsmblks", "uordblks", "fordblks", "keepcost",
    )]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Held:
    """What a process holds."""

    anon_mb: float  # resident, of no file
    heap_mb: float  # in use in the heap of the C library, its large pieces among it; NaN: another library
    heap_free_mb: float  # kept by it for later
    blocks: int  # of Python's own allocator
    objects: int  # that the collector looks at, those set aside among them
    threads: int

    @staticmethod
    def now() -> Held:
        """Return what this process holds; Linux only."""
        status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines() if ":" in line)
        in_use = free = float("nan")
        try:
            ask = ctypes.CDLL(None).mallinfo2
        except AttributeError:
            pass
        else:
            ask.restype = Mallinfo2
            told = ask()
            in_use, free = (told.uordblks + told.hblkhd) / 2**20, told.fordblks / 2**20
        return Held(
            int(status["RssAnon"].split()[0]) / 1024.0, in_use, free, sys.getallocatedblocks(),
            len(gc.get_objects()) + gc.get_freeze_count(), int(status["Threads"]),
        )  # fmt: skip


def tell_story(out: Connection, n_spoke: int, n_cell: int) -> None:
    """Send (turn of the story, what comes in during it), telling after telling, until nobody listens."""
    scene = open_demo()
    scene = replace(scene, radar=replace(scene.radar, n_spoke=n_spoke, n_cell=n_cell))
    try:
        while True:
            player = ScenePlayer(scene)
            for turn in player.turns():
                came: Came = [(time_ns, RADAR, data) for time_ns, data in turn.radar]
                came += [(line.time_ns, NMEA, line.sentence.encode("ascii") + b"\r\n") for line in turn.nmea]
                out.send((turn.number, sorted(came)))
            scene = replace(scene, start_ns=turn.end_ns)
    except (BrokenPipeError, ConnectionResetError):
        return


class Night:
    """The watch on the story's clock, and what is seen of its memory."""

    def __init__(self, folder: Path) -> None:
        self.turns = self.echoes = self.kept_bytes = 0
        self.looks: list[tuple[int, int, float, Held]] = []  # telling, turn of the story, hours of story, what is held
        scene = open_demo()
        self.clock = StoryClock(0)
        self.watch = LiveWatch(
            scene.boat, Chart.open(list(scene.waters.paths)), None, radar=parse_link("udp://127.0.0.1:9000"),
            nmea=[parse_link("udp://127.0.0.1:9001")], on_event=self._on_event, clock=self.clock,
            record=folder / "night.mcap", is_kept=True,
        )  # fmt: skip

    def _on_event(self, event: LiveEvent) -> None:
        if isinstance(event, Turn):
            self.turns += 1
            self.echoes += len(event.reading.echoes)
        if isinstance(event, ChainKept):
            self.kept_bytes = len(event.state)
        # As it crosses the pipe to the helm.
        pickle.dumps(without_scan(event) if isinstance(event, Turn) else event)

    def take(self, came: Came) -> None:
        """Let one turn come in, a tenth of a second after the other."""
        at = 0
        while at < len(came):
            until_ns = came[at][0] + NS_PER_S // 10
            while at < len(came) and came[at][0] <= until_ns:
                time_ns, link, data = came[at]
                self.clock.at_ns = time_ns
                self.watch.receive(link, data, time_ns, is_datagram=True)
                at += 1
            self.watch.work_once(wait_s=0.0)


def listen(
    night: Night, story: Connection, hours: float, wall_s: float, every: int, log: Callable[[str], None]
) -> None:
    """Keep the watch for so long."""
    began, began_ns, telling, last = steady_s(), 0, 0, -1
    while steady_s() - began < wall_s:
        number, came = story.recv()
        telling += number < last
        last = number
        began_ns = began_ns or came[0][0]
        night.take(came)
        at_h = (came[-1][0] - began_ns) / NS_PER_S / 3600.0
        if number % every == every - 1:
            night.looks.append((telling, number, at_h, Held.now()))
            log(json.dumps({"telling": telling, "turn": number, "at_h": round(at_h, 4), "kept": night.kept_bytes}
                           | {one.name: getattr(night.looks[-1][3], one.name) for one in fields(Held)}))  # fmt: skip
        if at_h >= hours:
            return


def slopes(looks: list[tuple[int, int, float, Held]]) -> dict[str, list[float]]:
    """Return (slope an hour of story, its standard deviation) of each thing held.

    Least squares with a level of its own for each moment of the story.  Neighbouring looks of one telling are not
    independent, so the standard deviation is that of the tellings' means about the line.
    """
    out = {}
    for one in fields(Held):
        levels: dict[int, list[tuple[float, float]]] = defaultdict(list)
        for telling, number, at_h, held in looks:
            if telling > 0:
                levels[number].append((at_h, float(getattr(held, one.name))))
        kept = [np.array(seen) for seen in levels.values() if len(seen) > 1]
        if not kept:
            continue
        apart = np.concatenate([seen - seen.mean(axis=0) for seen in kept])
        slope = float(np.sum(apart[:, 0] * apart[:, 1]) / np.sum(apart[:, 0] ** 2))
        # One residual a telling.
        left: dict[float, list[float]] = defaultdict(list)
        for hours, value in apart:
            left[round(hours, 1)].append(value - slope * hours)
        x = np.array(sorted(left))
        y = np.array([np.mean(left[at]) for at in x])
        sigma = float(np.sqrt(np.sum(y**2) / max(len(x) - 2, 1) / np.sum(x**2))) if len(x) > 2 else float("nan")
        out[one.name] = [round(slope, 3), round(sigma, 3)]
    return out


def main() -> int:
    """Keep a night's watch; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m bench.live.night", description=__doc__)
    parser.add_argument("hours", nargs="?", type=float, default=12.0, help="of story")
    parser.add_argument("--wall", type=float, default=float("inf"), metavar="SECONDS", help="stop after so long")
    parser.add_argument("--spokes", type=int, default=256)
    parser.add_argument("--cells", type=int, default=192)
    parser.add_argument("--every", type=int, default=20, metavar="TURNS", help="between two looks")
    parser.add_argument("--log", type=Path, metavar="FILE")
    asked = parser.parse_args()
    context = multiprocessing.get_context("spawn")
    ours, its = context.Pipe(duplex=False)
    teller = context.Process(target=tell_story, args=(its, asked.spokes, asked.cells), daemon=True)
    teller.start()
    its.close()
    began = steady_s()

    def log(line: str) -> None:
        if asked.log is not None:
            with asked.log.open("a") as out:
                out.write(line + "\n")

    with tempfile.TemporaryDirectory(prefix="moonless-night-") as folder:
        night = Night(Path(folder))
        # In a thread, as live: the C library keeps a heap of its own for each.
        thread = threading.Thread(target=listen, args=(night, ours, asked.hours, asked.wall, asked.every, log))
        thread.start()
        thread.join()
        night.watch._close()
        size = sum(p.stat().st_size for p in Path(folder).glob("*.mcap"))
    ours.close()
    teller.terminate()
    if not night.looks:
        print("too short: nothing was seen", file=sys.stderr)
        return 1
    last = night.looks[-1]
    found = slopes(night.looks)
    print(json.dumps({
        "story_h": round(last[2], 2), "tellings": last[0] + 1, "turns": night.turns, "echoes": night.echoes,
        "failures": night.watch.counts.failures, "wall_s": round(steady_s() - began),
        "recording_mb": round(size / 1e6, 1), "an_hour": found,
        "last": {one.name: getattr(last[3], one.name) for one in fields(Held)},
    }))  # fmt: skip
    climb, sigma = found.get("anon_mb", [0.0, float("nan")])
    is_climbing = climb > MOST_MB and not climb < 3.0 * sigma
    if is_climbing:
        print("the watch's memory climbs", file=sys.stderr)
    return 1 if is_climbing or night.watch.counts.failures else 0


if __name__ == "__main__":
    sys.exit(main())
