"""Ways proposed between harbours, anchorages and named waters of the real cells, each asked of the plan.

    python -m bench plan_ways

Places are charted harbour facilities, small-craft facilities, anchorages, berths and named waters; pairs are drawn from
them at random, of those near which the chart has water for the boat.  Told: how many pairs got a way, how many of
the ways the plan refuses (none may be), how many pairs got none although a reading of the cell by shapely alone
(`_joined`) finds them joined by deep water, and legs shorter than eight seconds at the plan's own speed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely

from bench.result import Result
from moonless.boat.file import default_boat
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.errors import MoonlessError
from moonless.frames import LocalFrame, geodesic
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.propose import SNAP_M, NoWaterNear, propose

NAMES = ("plan_ways",)
PAIRS = 22  # in each cell
CELLS = ("US5MA11M", "US5MA12M", "US4MD81M")
PLACES = ("HRBFAC", "SMCFAC", "ACHARE", "BERTHS", "SEAARE")
SEPARATE_M = (900.0, 9.0 * 1852.0)
SHORT_S = 8.0
DEPART_S = 1_930_000_000.0
# Half the width of water that a way needs to be seen by the rough reading: her half beam, both position errors.
HALF_WIDTH_M = 30.0
# The default boat's draught, a third of it for squat, half a metre to spare: 1.7 m; the chart's contour is 1.8.
NEED_M = 1.75
NEAR_M = 200.0

Pair = tuple[tuple[float, float], tuple[float, float]]


@dataclass
class Tally:
    """What came out of some pairs."""

    pairs: int = 0
    ways: int = 0
    refused: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    short: list[str] = field(default_factory=list)
    none: list[str] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)


def pairs_of(chart: Chart, number: int, seed: int) -> list[Pair]:
    """Return pairs of charted places (lat, lon) of one cell."""
    west, south, east, north = chart.cells[0].coverage_lonlat.bounds
    lat, lon = (south + north) / 2, (west + east) / 2
    frame = LocalFrame(lat, lon)
    local = chart.around(lat, lon, float(geodesic(south, west, north, east)[0]) / 2, frame=frame)
    places = []
    deep = shapely.union_all(
        [f.shape for f in local.features("DEPARE", "DRGARE") if (f.number("DRVAL1") or -9.0) >= NEED_M]
    )
    for feature in local.features(*PLACES):
        point = shapely.point_on_surface(feature.shape)
        if shapely.distance(deep, point) > NEAR_M:
            continue
        a, b = frame.to_geographic(point.x, point.y)
        places.append((float(a), float(b)))
    places = sorted(set(places))
    rng = np.random.default_rng(seed)
    found: list[Pair] = []
    while len(found) < number:
        i, j = rng.choice(len(places), 2, replace=False)
        if SEPARATE_M[0] < float(geodesic(*places[i], *places[j])[0]) < SEPARATE_M[1]:
            found.append((places[i], places[j]))
    return found


def _joined(chart: Chart, pair: Pair) -> bool:
    """Return whether deep water, shrunk by half a way's width, joins the two places; by shapely over the raw areas."""
    frame = LocalFrame(*pair[0])
    away = float(geodesic(*pair[0], *pair[1])[0])
    middle = frame.to_geographic(*(0.5 * np.array(frame.to_plane(*pair[1]))))
    local = chart.around(float(middle[0]), float(middle[1]), away + 2000.0, frame=frame)
    deep = [f.shape for f in local.features("DEPARE", "DRGARE") if (f.number("DRVAL1") or -9.0) >= NEED_M]
    barred = [f.shape for f in local.features("LNDARE", "BRIDGE", "CBLOHD", "OBSTRN", "PONTON", "SLCONS", "RESARE")]
    water = shapely.union_all([s for s in deep if shapely.get_dimensions(s) == 2]).buffer(0.5)
    water = shapely.difference(water, shapely.union_all(barred).buffer(1.0)).buffer(-HALF_WIDTH_M)
    ends = [shapely.Point(frame.to_plane(*place)) for place in pair]
    return any(
        all(shapely.distance(part, end) < SNAP_M - HALF_WIDTH_M for end in ends) for part in shapely.get_parts(water)
    )


def check(path: Path, number: int, seed: int, boat: Boat, cache_dir: Path | None = None) -> Tally:
    """Return how the ways between a number of pairs in one cell came out."""
    chart, tally = Chart.open([path], cache_dir=cache_dir), Tally()
    for pair in pairs_of(chart, number, seed):
        words = f"{path.stem} {pair[0][0]:.4f},{pair[0][1]:.4f} to {pair[1][0]:.4f},{pair[1][1]:.4f}"
        tally.pairs += 1
        start = steady_s()
        try:
            route = propose(chart, boat, *pair).route
        except MoonlessError as problem:
            tally.seconds.append(steady_s() - start)
            tally.none.append(f"{words}: {problem}")
            if not isinstance(problem, NoWaterNear) and _joined(chart, pair):
                tally.missed.append(f"{words}: {problem}")
            continue
        tally.seconds.append(steady_s() - start)
        tally.ways += 1
        plan = make_plan(chart, route, boat, DEPART_S, Night(), events=False)
        tally.refused += [f"{words}: leg {d.leg}: {d.say}" for d in plan.refused]
        for leg in plan.legs:
            seconds = leg.end_s - leg.start_s
            if seconds < SHORT_S:
                tally.short.append(f"{words}: leg {leg.number} {leg.leg.length_m:.0f} m, {seconds:.0f} s")
    return tally


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield what came out over all cells that are there."""
    data = Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "enc"
    whole = Tally()
    for name in CELLS:
        path = data / name / f"{name}.000"
        if path.exists():
            part = check(path, PAIRS, 5, default_boat())
            whole.pairs, whole.ways = whole.pairs + part.pairs, whole.ways + part.ways
            for row in ("refused", "missed", "short", "none", "seconds"):
                getattr(whole, row).extend(getattr(part, row))
    yield Result("plan_ways.pairs", whole.pairs, "pairs of places")
    yield Result("plan_ways.ways", whole.ways, "got a way")
    yield Result("plan_ways.refused", len(whole.refused), "ways' dangers that the plan refuses")
    yield Result("plan_ways.missed", len(whole.missed), "pairs without a way that deep water joins")
    yield Result("plan_ways.short", len(whole.short), "legs under eight seconds")
    yield Result("plan_ways.time", float(np.median(whole.seconds or [0.0])), "s a way, median")
