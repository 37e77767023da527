"""Ways proposed between harbours, anchorages and named waters of the real cells, each asked of the plan.

    python -m bench plan_ways

Places are charted harbour facilities, small-craft facilities, anchorages, berths and named waters; pairs are drawn from
them at random, of those near which the chart has water for the boat.  Told: how many pairs got a way, how many of
the ways the plan refuses (none may be), how many pairs got none although the brute-force reading of the cell
(`bench.peers.brute_force_leg`, no code shared) finds them joined by open water, how many of the places that are said
to close the water are open by it, and legs shorter than eight seconds at the plan's own speed.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely

from bench.peers.brute_force_cell import Cell
from bench.peers.brute_force_leg import Hull, Leg
from bench.result import Result
from moonless.boat.file import default_boat
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.errors import MoonlessError
from moonless.frames import LocalFrame, geodesic
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.propose import SQUAT_SPEED, propose
from moonless.passage.way.seek.over_grid import SNAP_M, NoWaterNear

NAMES = ("plan_ways",)
PAIRS = 22  # in each cell
CELLS = ("US5MA11M", "US5MA12M", "US4MD81M")
PLACES = ("HRBFAC", "SMCFAC", "ACHARE", "BERTHS", "SEAARE")
SEPARATE_M = (900.0, 9.0 * 1852.0)
SHORT_S = 8.0
DEPART_S = 1_930_000_000.0
# Open water narrower than twice this is no passage to the rough reading: the squares of the grid are as wide.
NARROW_M = 6.0
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
    unproved: list[str] = field(default_factory=list)
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
        pair = (places[i], places[j])
        if pair not in found and SEPARATE_M[0] < float(geodesic(*places[i], *places[j])[0]) < SEPARATE_M[1]:
            found.append(pair)
    return found


def hull_of(boat: Boat) -> Hull:
    """Return the figures of a boat that count by brute force."""
    skipper = boat.skipper
    return Hull(boat.draught_m, skipper.depth_margin_m, boat.air_draught_m, boat.beam_m, boat.position_sigma_m)


def joined(cell: Cell, hull: Hull, pair: Pair) -> bool:
    """Return whether open water joins two places by brute force: all that refuses a track is taken from the chart."""
    (lat_a, lon_a), (lat_b, lon_b) = pair
    reach = max(0.06, abs(lat_a - lat_b), abs(lon_a - lon_b))
    leg = Leg(cell, hull, *pair, SQUAT_SPEED, reach_deg=reach)
    ground = [t.shape for t in leg.near if t.cls in ("DEPARE", "DRGARE") and shapely.get_dimensions(t.shape) == 2]
    # Areas that meet leave slivers where rounding parts them.
    water = shapely.difference(shapely.union_all(ground).buffer(0.5), leg.closed()).buffer(-NARROW_M)
    ends = [leg.to_plane(*place) for place in pair]
    return any(
        all(shapely.distance(part, end) < SNAP_M - NARROW_M for end in ends) for part in shapely.get_parts(water)
    )


def is_closed(cell: Cell, hull: Hull, line: str) -> bool:
    """Return whether the place that a refusal names is closed by brute force; a line without a place is not."""
    found = re.search(r"closes at (\d+)°([\d.]+)'([NS]) (\d+)°([\d.]+)'([EW])", line)
    if found is None:
        return False
    lat, lon = (
        (float(found[k]) + float(found[k + 1]) / 60.0) * (1.0 if found[k + 2] in "NE" else -1.0) for k in (1, 4)
    )
    leg = Leg(cell, hull, (lat, lon), (lat + 2e-5, lon), SQUAT_SPEED)
    return any(one.weight == "stops" for one in leg.found())


def check(
    path: Path, number: int, seed: int, boat: Boat, cache_dir: Path | None = None,
    part: tuple[int, int | None] = (0, None),
) -> Tally:  # fmt: skip
    """Return how the ways between a number of pairs in one cell came out; ``part``: from which to which of them."""
    chart, tally = Chart.open([path], cache_dir=cache_dir), Tally()
    cell, hull = Cell(path), hull_of(boat)
    cell.scale = chart.cells[0].scale
    for pair in pairs_of(chart, number, seed)[slice(*part)]:
        words = f"{path.stem} {pair[0][0]:.4f},{pair[0][1]:.4f} to {pair[1][0]:.4f},{pair[1][1]:.4f}"
        tally.pairs += 1
        start = steady_s()
        try:
            route = propose(chart, boat, *pair).route
        except MoonlessError as problem:
            tally.seconds.append(steady_s() - start)
            tally.none.append(f"{words}: {problem}")
            if joined(cell, hull, pair):
                tally.missed.append(f"{words}: {problem}")
            if not isinstance(problem, NoWaterNear) and not is_closed(cell, hull, str(problem)):
                tally.unproved.append(f"{words}: {problem}")
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
            for row in ("refused", "missed", "unproved", "short", "none", "seconds"):
                getattr(whole, row).extend(getattr(part, row))
    yield Result("plan_ways.pairs", whole.pairs, "pairs of places")
    yield Result("plan_ways.ways", whole.ways, "got a way")
    yield Result("plan_ways.refused", len(whole.refused), "ways' dangers that the plan refuses")
    yield Result("plan_ways.missed", len(whole.missed), "pairs without a way that open water joins by brute force")
    yield Result(
        "plan_ways.unproved", len(whole.unproved), "places said to close the water that brute force leaves open"
    )
    yield Result("plan_ways.short", len(whole.short), "legs under eight seconds")
    yield Result("plan_ways.time", float(np.median(whole.seconds or [0.0])), "s a way, median")
