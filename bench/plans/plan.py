"""How long a long plan takes: 60 NM and 40 legs over the real open-bay cell, and a departure window of 12 hours."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from bench.result import Result
from moonless.boat.file import default_boat
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.passage.departures import search
from moonless.passage.night import Night
from moonless.passage.plan import make_plan, survey
from moonless.passage.scope import pictures
from moonless.passage.way.route import Route, Waypoint
from moonless.sea.stations import read_stations

NAMES = ("plan.without_pictures", "plan.with_pictures", "plan.departures")
RUNS = 3


def _route() -> Route:
    """Return 40 legs of 1.5 NM, down the bay and back up."""
    points = []
    for k in range(41):
        down = min(k, 40 - k)
        points.append(Waypoint(f"W{k}", 38.97 - 0.0243 * down, -76.40 + 0.012 * math.sin(1.7 * k)))
    return Route("sixty miles", tuple(points))


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the median of a few warm runs of each name."""
    data = Path(os.environ.get("MOONLESS_DATA", "../shared/data"))
    chart = Chart.open([data / "enc" / "US4MD81M"])
    stations = read_stations([data / "tides" / "chesapeake.json"])
    boat, night, route = default_boat(), Night(wanted_kn=12.0), _route()
    depart = datetime(2026, 11, 26, 1, tzinfo=UTC).timestamp()

    def plain() -> None:
        make_plan(chart, route, boat, depart, night, stations)

    def with_pictures() -> None:
        ground = survey(chart, route, boat, night)
        make_plan(chart, route, boat, depart, night, stations, ground=ground)
        pictures(ground, boat, night)

    def window() -> None:
        search(chart, route, boat, depart, 12.0, night, stations)

    for name, work in zip(NAMES, (plain, with_pictures, window), strict=True):
        if name not in names:
            continue
        work()
        spent = []
        for _ in range(RUNS):
            start = steady_s()
            work()
            spent.append(steady_s() - start)
        yield Result(name, sorted(spent)[RUNS // 2], "s")
