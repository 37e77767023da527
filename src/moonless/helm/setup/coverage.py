"""Which water the chosen charts cover, at which scale and how old: read in a process of its own.

Reading a locker of cells for the first time takes seconds to minutes; the index that is kept serves the watch too.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.types import Cell
from moonless.errors import MoonlessError
from moonless.frames import LocalFrame
from moonless.helm.bodies.setup import CellCoveredBody, CellFound, CoverageFoundBody
from moonless.units import NS_PER_S

# Older than this and a chart is called old.  Own choice: weekly updates are the custom of hydrographic offices.
OLD_DAYS = 365.0
# Near the boat: as far as the reading looks, and a little.
NEAR_M = 10_000.0
# Outlines are drawn small; this is a hair on a screen that shows a degree.
_SIMPLIFY_DEG = 0.0005
_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True)
class CoverageProgress:
    """A source is being read."""

    name: str
    share: float


@dataclass(frozen=True, slots=True)
class Covered:
    """What was found: cells as the screen draws them, and what could not be read."""

    cells: tuple[CellFound, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CoverageJob:
    """Open charts and tell their coverage; run by `moonless.helm.process.worker_process.WorkerProcess`."""

    paths: tuple[Path, ...]

    def run(self, pipe: Connection) -> None:
        """Do it and end."""
        from moonless.chart.library import Chart

        def report(name: str, share: float) -> None:
            pipe.send(CoverageProgress(name, share))

        cells: dict[str, CellFound] = {}
        warnings: list[str] = []
        for path in self.paths:
            # One by one: a folder without a chart must not hide the others.
            try:
                chart = Chart.open([path], progress=report)
            except MoonlessError as problem:
                warnings.append(str(problem))
                continue
            warnings += chart.warnings
            for cell in chart.cells:
                cells.setdefault(str(cell.path), cell_body(cell))
        pipe.send(Covered(tuple(cells.values()), tuple(warnings)))


def cell_body(cell: Cell) -> CellFound:
    """Return a cell as the screen draws it."""
    shape = cell.coverage_lonlat.simplify(_SIMPLIFY_DEG)
    return {
        "name": cell.name,
        "scale": cell.scale,
        "edition": cell.edition,
        "update": cell.update,
        "issued": cell.issued,
        "not_for_navigation": cell.not_for_navigation,
        "coverage": json.loads(shapely.to_geojson(shape)),
    }


def age_days(issued: str, now_ns: int) -> float | None:
    """Return how long ago a cell was issued; None where it does not say."""
    from datetime import UTC, datetime

    if not issued:
        return None
    try:
        at = datetime.fromisoformat(issued).replace(tzinfo=UTC)
    except ValueError:
        return None
    return now_ns / NS_PER_S / 86_400.0 - at.timestamp() / 86_400.0


def coverage_body(found: Covered, place: tuple[float, float] | None, now_ns: int) -> CoverageFoundBody:
    """Return the coverage with what is to be said of it: age, overlap, gaps near the boat."""
    cells: list[CellCoveredBody] = []
    for cell in found.cells:
        age = age_days(cell["issued"], now_ns)
        days = None if age is None else math.floor(age)
        cells.append({**cell, "age_days": days, "is_old": days is None or days > OLD_DAYS})
    cells.sort(key=lambda cell: cell["scale"])
    lines = [*_age_lines(cells), *_overlap_lines(cells)]
    if place is not None and cells:
        lines += _near_lines(cells, place)
    elif cells:
        lines.append("No position yet: whether the charts cover the water about the boat cannot be said.")
    return {"cells": cells, "warnings": list(found.warnings), "lines": lines}


def _age_lines(cells: Sequence[CellCoveredBody]) -> list[str]:
    if not cells:
        return []
    lines = []
    old = [(c["age_days"], c["name"]) for c in cells if c["age_days"] is not None and c["age_days"] > OLD_DAYS]
    if old:
        days, name = max(old, key=lambda one: one[0])
        years = math.floor(days / 365.25)
        many = "One cell is" if len(old) == 1 else f"{len(old)} cells are"
        oldest_words = f"{name} {years} year{'' if years == 1 else 's'}"
        lines.append(f"{many} more than a year old; {oldest_words}. Marks and depths have changed.")
    dateless = [c["name"] for c in cells if c["age_days"] is None]
    if dateless:
        lines.append(f"{', '.join(dateless[:3])}: no date of issue is given.")
    lines.append("Not for navigation: a chart cell, once copied, is no longer official.")
    return lines


def _overlap_lines(cells: Sequence[CellCoveredBody]) -> list[str]:
    shapes = [shapely.geometry.shape(c["coverage"]) for c in cells]
    pairs = []
    for (i, a), (j, b) in itertools.combinations(enumerate(shapes), 2):
        if a.intersects(b) and a.intersection(b).area > 0.02 * min(a.area, b.area):
            pairs.append((i, j))
    if not pairs:
        return []
    i, j = pairs[0]
    head = f"{_named(cells[i])} lies over {_named(cells[j])}"
    more = f", and {len(pairs) - 1} more pairs overlap" if len(pairs) > 1 else ""
    return [f"{head}{more}: the larger scale is used, of one scale the newer."]


def _named(cell: CellCoveredBody) -> str:
    return f"{cell['name']} (1:{cell['scale']:,})".replace(",", " ")


def _near_lines(cells: Sequence[CellCoveredBody], place: tuple[float, float]) -> list[str]:
    """Say where the charts end near the boat."""
    frame = LocalFrame(*place)

    def flat(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        east, north = frame.to_plane(lonlat[:, 1], lonlat[:, 0])
        return np.column_stack([east, north])

    near = []
    for cell in cells:
        shape = shapely.geometry.shape(cell["coverage"])
        # What is far away is not turned into a plane that touches the earth here.
        if shape.distance(shapely.Point(place[1], place[0])) < 1.0:
            box = shapely.box(place[1] - 1.0, place[0] - 1.0, place[1] + 1.0, place[0] + 1.0)
            near.append(shapely.make_valid(shapely.transform(shapely.segmentize(shape & box, 0.01), flat)))
    union = shapely.union_all(near) if near else shapely.Polygon()
    here = shapely.Point(0.0, 0.0)
    if not union.contains(here):
        if union.is_empty:
            return ["No chart covers the boat, nor anything within 60 miles of her."]
        away, way = union.distance(here), shapely.shortest_line(here, union)
        to = _compass(*way.coords[1])
        return [f"No chart covers the boat: the nearest covered water is {away / 1852.0:.1f} miles to the {to}."]
    ends: list[tuple[float, str]] = []
    for k, name in enumerate(_COMPASS):
        bearing = k * math.tau / 8
        ray = shapely.LineString([(0, 0), (NEAR_M * math.sin(bearing), NEAR_M * math.cos(bearing))])
        gap = ray.difference(union)
        if not gap.is_empty:
            ends.append((gap.distance(here), name))
    if not ends:
        return [f"The water about the boat is covered for {NEAR_M / 1852.0:.0f} miles every way."]
    nearest = min(ends)
    ways = "every way" if len(ends) == len(_COMPASS) else "to the " + ", ".join(name for _, name in ends)
    return [f"The charts end {nearest[0] / 1852.0:.1f} miles to the {nearest[1]}; they end within 5 miles {ways}."]


def _compass(east: float, north: float) -> str:
    return _COMPASS[round(math.atan2(east, north) / (math.tau / 8)) % 8]
