"""The plan's dangers against a brute-force reading of the cell: none missed, none invented.

    python -m bench plan_truth

Two hundred random routes between places in deep water, over the real cells and the invented waters.  For every leg
what refuses and what speaks against is found twice: by the plan, and by going through every feature of the cell with
shapely (`bench.peers.brute_force_leg`, which shares no code with the plan).  They are matched by feature, or by place
where a mark has several.  A thing within half a metre of a limit may be told either way: the two lay the earth flat
differently.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely

from bench.peers.brute_force_cell import Cell
from bench.peers.brute_force_leg import GEOD, Found, Hull, Leg
from bench.result import Result
from moonless.boat.file import default_boat
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.frames import destination
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.types import LegDanger
from moonless.passage.way.route import Route, Waypoint
from moonless.scene.story import demo_chart

NAMES = ("plan_truth",)
ROUTES = 200
CELLS = ("US5MA11M", "US5MA12M", "US4MD81M")
SPEED_KN = 6.0
DEPART_S = 1_930_000_000.0
DEEP_M = 4.0
DOUBT_M = 0.5
SAME_PLACE_M = 3.0
END_M = 1.0
GRAVITY = {"note": 0, "against": 1, "stops": 2}


@dataclass
class Tally:
    """What came out of some routes."""

    routes: int = 0
    legs: int = 0
    dangers: int = 0
    missed: list[str] = field(default_factory=list)
    invented: list[str] = field(default_factory=list)
    plan_s: float = 0.0


def sources() -> list[Path]:
    """Return the charts that are there."""
    data = Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "enc"
    return [p for name in CELLS if (p := data / name / f"{name}.000").exists()] + [demo_chart()]


def check(path: Path, routes: int, seed: int, boat: Boat, cache_dir: Path | None = None) -> Tally:
    """Return how a number of random routes over one chart came out."""
    chart, cell = Chart.open([path], cache_dir=cache_dir), Cell(path)
    cell.scale = chart.cells[0].scale
    rng = np.random.default_rng(seed)
    deep = [
        t.shape for t in cell.things
        if t.cls in ("DEPARE", "DRGARE") and float(t.given.get("DRVAL1", -9.0)) >= DEEP_M and t.shape.area > 0.0
    ]  # fmt: skip
    tally = Tally()
    hull = Hull(boat.draught_m, boat.skipper.depth_margin_m, boat.air_draught_m, boat.beam_m, boat.position_sigma_m)
    for _ in range(routes):
        points = [_place(rng, deep)]
        for _ in range(int(rng.integers(1, 3))):
            points.append(_next(rng, deep, points[-1]))
        route = Route("random", tuple(Waypoint(f"W{k}", lat, lon) for k, (lat, lon) in enumerate(points)))
        start = steady_s()
        plan = make_plan(chart, route, boat, DEPART_S, Night(wanted_kn=SPEED_KN), events=False)
        tally.plan_s += steady_s() - start
        tally.routes += 1
        for leg in plan.legs:
            a, b = leg.leg.start, leg.leg.end
            ends = (a.lat_deg, a.lon_deg), (b.lat_deg, b.lon_deg)
            berths = [*ends[: leg.number == 1], *ends[1 : 1 + (leg.number == len(plan.legs))]]
            brute = Leg(cell, hull, *ends, leg.speed_kn * 1852.0 / 3600.0, berths=berths)
            _compare(tally, path.stem, leg.dangers, list(brute.found()), leg.leg)
            tally.legs += 1
    return tally


def _place(rng: np.random.Generator, deep: Sequence[shapely.Geometry]) -> tuple[float, float]:
    areas = np.array([shape.area for shape in deep])
    # The root of the area, so that small waters are asked as well as the open bay.
    shape = deep[int(rng.choice(len(deep), p=np.sqrt(areas) / np.sqrt(areas).sum()))]
    west, south, east, north = shape.bounds
    for _ in range(2000):
        lon, lat = rng.uniform(west, east), rng.uniform(south, north)
        if shapely.contains_xy(shape, lon, lat):
            return float(lat), float(lon)
    point = shape.point_on_surface()
    return float(point.y), float(point.x)


def _next(rng: np.random.Generator, deep: Sequence[shapely.Geometry], here: tuple[float, float]) -> tuple[float, float]:
    for _ in range(400):
        lat, lon = _place(rng, deep)
        _, _, metres = GEOD.inv(here[1], here[0], lon, lat)
        if 300.0 < metres < 7000.0:
            return lat, lon
    lat, lon = destination(here[0], here[1], float(rng.uniform(0.0, 360.0)), 1500.0)
    return float(lat), float(lon)


def _compare(tally: Tally, name: str, told: Sequence[LegDanger], found: Sequence[Found], leg: object) -> None:
    told = [d for d in told if d.weight in ("stops", "against")]
    tally.dangers += len(found)
    for one in found:
        if one.doubt_m > DOUBT_M and not any(_same(d, one, leg) and d.weight == one.weight for d in told):
            tally.missed.append(f"{name}: {one.weight} {one.cls} {one.ident}, {one.off_m:.1f} m off")
    for danger in told:
        known = any(_same(danger, one, leg) and danger.weight == one.weight for one in found)
        if not known and not _in_doubt(danger):
            tally.invented.append(f"{name}: {danger.weight} {danger.object} {danger.feature}: {danger.say}")


def _in_doubt(danger: LegDanger) -> bool:
    """Return whether a danger lies so near a limit that the two may differ."""
    limits = (5.5, 17.5, 25.0, 150.0)
    return any(abs(danger.off_m - limit) < DOUBT_M for limit in limits)


def _same(danger: LegDanger, one: Found, leg: object) -> bool:
    if one.cls == "chart ends":
        return danger.kind == "chart ends"
    if danger.feature.split("/")[0] == one.ident and danger.object == one.cls and one.cls != "SOUNDG":
        return True
    lat, lon = leg.at(danger.along_m)  # type: ignore[attr-defined]
    if min(danger.along_m, leg.length_m - danger.along_m) < END_M:  # type: ignore[attr-defined]
        # Off the end of a leg it may lie to any side of it, and is abeam of nothing.
        _, _, away = GEOD.inv(lon, lat, *one.lonlat)
        return abs(away - danger.off_m) < SAME_PLACE_M and abs(danger.off_m - one.off_m) < SAME_PLACE_M
    if danger.side != "on":
        aside = leg.course_deg + (90.0 if danger.side == "starboard" else -90.0)  # type: ignore[attr-defined]
        lat, lon = (float(v) for v in destination(lat, lon, aside, danger.off_m))
    _, _, metres = GEOD.inv(lon, lat, *one.lonlat)
    return metres <= SAME_PLACE_M + 0.002 * danger.off_m and abs(danger.off_m - one.off_m) < SAME_PLACE_M


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield how many dangers were missed and invented, over how many, and the time of a plan."""
    charts = sources()
    each = math.ceil(ROUTES / len(charts))
    whole = Tally()
    for number, path in enumerate(charts):
        part = check(path, each, 7 + number, default_boat())
        whole.routes += part.routes
        whole.legs += part.legs
        whole.dangers += part.dangers
        whole.missed += part.missed
        whole.invented += part.invented
        whole.plan_s += part.plan_s
    yield Result("plan_truth.routes", whole.routes, "routes")
    yield Result("plan_truth.dangers", whole.dangers, "dangers by brute force")
    yield Result("plan_truth.missed", len(whole.missed), "dangers")
    yield Result("plan_truth.invented", len(whole.invented), "dangers")
    yield Result("plan_truth.plan", whole.plan_s / max(whole.routes, 1), "s a plan")
