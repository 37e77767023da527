"""The chart as it is laid over a picture: shores, what is built, and marks, within reach of a place."""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely

from moonless.practice.types import Place
from moonless.practice.waters import PracticeWaters

# Finer than a cell of the picture is not drawn.
_SIMPLER_M = 4.0


@dataclass(frozen=True, slots=True)
class Overlay:
    """Lines and marks in the waters' metres; each mark with its name."""

    lines: tuple[tuple[Place, ...], ...]
    marks: tuple[tuple[Place, str], ...]


def overlay(waters: PracticeWaters, middle: Place, reach_m: float, simpler_m: float = _SIMPLER_M) -> Overlay:
    """Return the chart within reach of a place."""
    disc = shapely.Point(middle).buffer(reach_m)
    built = [f.shape for f in waters.chart.structures] + [b.shape for b in waters.chart.bridges]
    outlines = [s if shapely.get_dimensions(s) == 1 else shapely.boundary(s) for s in (waters.chart.land, *built)]
    lines = []
    for part in shapely.get_parts(shapely.intersection(shapely.simplify(outlines, simpler_m), disc)):
        for line in shapely.get_parts(part):
            if line.geom_type in ("LineString", "LinearRing") and not line.is_empty:
                lines.append(tuple((float(e), float(n)) for e, n in line.coords))
    marks = tuple(
        ((mark.east_m, mark.north_m), mark.name or mark.object)
        for mark in waters.world.marks
        if math.hypot(mark.east_m - middle[0], mark.north_m - middle[1]) <= reach_m
    )
    return Overlay(tuple(lines), marks)
