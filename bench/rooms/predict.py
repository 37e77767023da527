"""How long the model takes over the real harbour: ``predict.expected`` and ``predict.drawn``, milliseconds a turn.

A turn of 2048 spokes by 1024 cells on the 3 NM scale, one core, with the clutter of sea state 4, rain everywhere and a
shower.  The least of several turns is given: a shared machine only ever adds.  ``predict.first`` is the first expected
scan of a process, imports and the world's making included, with the kernels in their cache; seconds.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from bench.result import Result

NAMES = ("predict.expected", "predict.drawn", "predict.first")

_N_TURN = 40
_AT = (42.3527, -71.0350)
# Asked of a new process, so that nothing is warm but the kernels' cache and the chart's.
_FIRST = """
import sys
from bench.rooms.predict import first_call
print(first_call())
"""


def _data() -> Path:
    root = Path(os.environ.get("MOONLESS_DATA", Path(__file__).parents[3] / "shared" / "data"))
    if not (root / "enc").is_dir():
        raise SystemExit(f"predict: no real charts at {root}; set MOONLESS_DATA")
    return root / "enc"


def _chart():  # type: ignore[no-untyped-def]
    from moonless.chart.library import Chart

    cache = Path(os.environ.get("TMPDIR", "/tmp")) / "moonless-bench-chart"
    return Chart.open([_data()], cache_dir=cache).around(*_AT, 14_000.0)


def _question():  # type: ignore[no-untyped-def]
    import math

    from moonless.boat import GENERIC_SETS
    from moonless.radar.types import RadarPose, RainCell, ScanGrid, Weather

    cell_m = 3.0 * 1852.0 / 1024
    weather = Weather(1.9, 0.7, 8.5, 2.0, (RainCell(1500.0, 800.0, 900.0, 16.0),))
    return GENERIC_SETS["small radome"], math.radians(110.0), ScanGrid(2048, 1024, cell_m, cell_m), weather, RadarPose


def first_call() -> float:
    """Return the seconds of the first expected scan of this process, the chart being open."""
    from moonless.clock import steady_s

    chart = _chart()
    _ = chart.land, chart.marks, chart.bridges, chart.structures
    start = steady_s()
    from moonless.radar.expected import expected_scan
    from moonless.radar.world import World

    world = World.from_chart(chart)
    radar, heading, grid, weather, pose_of = _question()
    east, north = (float(v) for v in chart.frame.to_plane(*_AT))
    expected_scan(world, radar, pose_of(east, north, heading), grid, 3.0, weather)
    return steady_s() - start


def run(names: Sequence[str]) -> Iterator[Result]:
    """Measure what is asked."""
    import numpy as np

    from moonless.clock import steady_s
    from moonless.radar.drawn import SeaMemory, drawn_scan
    from moonless.radar.expected import expected_scan
    from moonless.radar.world import World

    chart = _chart()
    world = World.from_chart(chart)
    radar, heading, grid, weather, pose_of = _question()
    east, north = (float(v) for v in chart.frame.to_plane(*_AT))
    # A turn lasts this long on the set's own rotation: the real time there is.
    turn_ms = 1000.0 / radar.rotation_hz
    memory, rng = SeaMemory(), np.random.default_rng(1)

    def expected(k: int) -> None:
        expected_scan(world, radar, pose_of(east + 5.0 * k, north, heading), grid, 3.0, weather)

    def drawn(k: int) -> None:
        pose = pose_of(east + 5.0 * k, north, heading)
        drawn_scan(world, radar, pose, grid, 3.0, weather, rng=rng, memory=memory)

    for name, turn in (("predict.expected", expected), ("predict.drawn", drawn)):
        if name not in names:
            continue
        turn(0)
        times = []
        for k in range(_N_TURN):
            start = steady_s()
            turn(k)
            times.append(1e3 * (steady_s() - start))
        yield Result(name, min(times), "ms", "real time", turn_ms, turn_ms / min(times))
    if "predict.first" in names:
        expected(0)  # fills the kernels' cache
        found = []
        for _ in range(3):
            done = subprocess.run([sys.executable, "-c", _FIRST], capture_output=True, text=True, check=True)
            found.append(float(done.stdout.split()[-1]))
        yield Result("predict.first", min(found), "s")
