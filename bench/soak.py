"""A long watch: the demo's story played through the chain again and again, as fast as it goes.

``python -m bench.soak [HOURS] [--wall SECONDS]`` plays so many hours of story, or for so long, and prints one JSON
line: turns, hours of story, resident memory, how fast it climbs, and the slowest turn by processor time.  Memory goes
up and down within a telling with what is in view, so it is compared between tellings at the same moment of the story,
the first telling left out.  Anything that raises ends it with a traceback and exit 1; so does memory that climbs.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import numpy as np

from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.units import NS_PER_S
from moonless.watch.pipeline.chain import Chain

HOURS = 2.0
# More than this, past the first telling, is a leak and not the allocator's slack.
MOST_MB_PER_HOUR = 25.0


def resident_mb() -> float:
    """Return this process's resident memory; Linux only."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024.0
    raise OSError("this system does not tell its memory")


def soak(hours: float, wall_s: float) -> dict[str, float | None]:
    """Play, and return what was found; the climb is None before a moment of the story was told twice past the first."""
    from time import thread_time

    scene = open_demo()
    chart = Chart.open(list(scene.waters.paths))
    player = ScenePlayer(scene)
    begun = steady_s()
    story_s, turns, echoes, tellings, slowest = 0.0, 0, 0, 0, 0.0
    memory: dict[int, list[tuple[float, float]]] = {}  # moment of the story -> (hours played, MB) of each telling
    last_mb = most_mb = resident_mb()
    while story_s < hours * 3600.0 and steady_s() - begun < wall_s:
        chain = Chain(scene.boat, chart, None)
        chain.given.tide_m = scene.tide_m
        tellings += 1
        for turn in player.turns():
            events = [(t, 0, data) for t, data in turn.radar] + [(n.time_ns, 1, n.tagged()) for n in turn.nmea]
            spent = thread_time()
            for time_ns, which, data in sorted(events, key=lambda event: event[0]):
                for told in chain.feed_nmea(data, time_ns) if which else chain.feed_radar(data, time_ns):
                    json.dumps(told.reading.as_dict(), allow_nan=False)
                    turns += 1
                    echoes += len(told.reading.echoes)
            if turns > 50:
                slowest = max(slowest, thread_time() - spent)
            story_s += (turn.end_ns - turn.start_ns) / NS_PER_S
            if turn.number % 20 == 19:
                last_mb = resident_mb()
                most_mb = max(most_mb, last_mb)
                if tellings > 1:
                    memory.setdefault(turn.number, []).append((story_s / 3600.0, last_mb))
            if steady_s() - begun >= wall_s:
                break
        player.restart()
    climbs = [
        (later[1] - first[1]) / (later[0] - first[0])
        for told in memory.values()
        for first, later in [(told[0], told[-1])]
        if len(told) > 1
    ]
    return {
        "turns": turns, "tellings": tellings, "story_h": round(story_s / 3600.0, 2), "echoes": echoes,
        "wall_s": round(steady_s() - begun), "end_mb": round(last_mb, 1), "most_mb": round(most_mb, 1),
        "mb_per_story_h": round(float(np.median(climbs)), 1) if climbs else None,
        "slowest_turn_cpu_ms": round(slowest * 1e3),
    }  # fmt: skip


def main() -> int:
    """Soak; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m bench.soak", description=__doc__)
    parser.add_argument("hours", nargs="?", type=float, default=HOURS, help="of story")
    parser.add_argument("--wall", type=float, default=float("inf"), metavar="SECONDS", help="stop after so long")
    asked = parser.parse_args()
    found = soak(asked.hours, asked.wall)
    print(json.dumps(found))
    climb = found["mb_per_story_h"]
    if climb is not None and climb > MOST_MB_PER_HOUR:
        print(f"memory climbs by more than {MOST_MB_PER_HOUR:g} MB an hour of story", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
