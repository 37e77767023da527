"""A way's legs held against the chart as a plan holds them, and corners that it does as well without left out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import shapely

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Danger, way_strip
from moonless.frames import wrap_180
from moonless.passage.way.grid import WaterGrid
from moonless.passage.way.route import Route, Waypoint

Place = tuple[float, float]

# A leg shorter than this is joined to the next where that keeps clear: eight seconds at thirty knots.  Own choice.
SHORTEST_LEG_M = 130.0
# A turn of less is none that a helmsman steers.  Own choice.
SLIGHT_DEG = 8.0
# So much nearer a thing may be passed for a corner less: a grid's square or so.  Own choice.
NEARER_M = 4.0
# Corners that are left out together.  Own choice.
MOST_AT_ONCE = 4


def leg_line(grid: WaterGrid, leg: tuple[Place, Place]) -> shapely.LineString:
    """Return the line of a leg between two places of the plane, bent as a plan's is: the shortest over the earth."""
    ends = tuple(Waypoint("", *(float(v) for v in grid.frame.to_geographic(*place))) for place in leg)
    return shapely.LineString(Route("", ends).legs[0].plane(grid.frame))


def held_against(
    grid: WaterGrid, boat: Boat, needs: Needs, leg: tuple[Place, Place]
) -> tuple[shapely.LineString, list[Danger]]:
    """Return a leg's line and what the chart has within its track."""
    line = leg_line(grid, leg)
    strip = way_strip(line, boat)
    strip = replace(strip, look_m=strip.track_m, land_m=strip.track_m)
    return line, StripDangers(grid.dangers, strip, grid.keep_outs).dangers(needs)


def refused_by(grid: WaterGrid, boat: Boat, needs: Needs, leg: tuple[Place, Place]) -> tuple[Danger, Place] | None:
    """Return the first thing that refuses a leg, as a plan would, and the place of the leg beside it."""
    line, met = held_against(grid, boat, needs, leg)
    refused = next((danger for danger in met if danger.weight == "stops"), None)
    if refused is None:
        return None
    on = line.interpolate(refused.along_m)
    return refused, (float(on.x), float(on.y))


def eased(
    grid: WaterGrid,
    boat: Boat,
    needs: Needs,
    places: Sequence[Place],
    is_fenced: Callable[[Place, Place], bool],
) -> list[Place]:
    """Return the corners of a way without those of slight turns and short legs that it does as well without.

    A corner goes where the leg past it is not refused, crosses no fence of a mark, and comes nearer to nothing.
    """
    kept = list(places)
    k = 1
    while k < len(kept) - 1:
        # Steps of a stair go together: one by one each would be in the way of the next.
        most = min(MOST_AT_ONCE, len(kept) - 1 - k)
        for many in range(most, 0, -1):
            if _goes(grid, boat, needs, kept[k - 1 : k + many + 1], is_fenced):
                del kept[k : k + many]
                k = max(1, k - 1)
                break
        else:
            k += 1
    return kept


def _goes(
    grid: WaterGrid, boat: Boat, needs: Needs, way: Sequence[Place], is_fenced: Callable[[Place, Place], bool]
) -> bool:
    """Return whether the corners between the ends of a stretch of way can be left out."""
    legs = list(itertools.pairwise(way))
    slight = all(_turn_deg(*three) < SLIGHT_DEG for three in zip(way, way[1:], way[2:], strict=False))
    short = sum(math.dist(*leg) < SHORTEST_LEG_M for leg in legs)
    if not slight and short < len(legs) - 1:
        return False
    return goes_past(grid, boat, needs, way, is_fenced)


def goes_past(
    grid: WaterGrid, boat: Boat, needs: Needs, way: Sequence[Place], is_fenced: Callable[[Place, Place], bool]
) -> bool:
    """Return whether the leg from the first place of a stretch of way to the last is as good as the stretch.

    It is not refused, crosses no fence of a mark, and comes nearer to nothing.
    """
    legs = list(itertools.pairwise(way))
    if is_fenced(way[0], way[-1]):
        return False
    past = _offs(grid, boat, needs, [(way[0], way[-1])])
    by = None if past is None else _offs(grid, boat, needs, legs)
    if past is None or by is None:
        return False
    return all(off >= by.get(thing, math.inf) - NEARER_M for thing, off in past.items())


def _turn_deg(before: Place, here: Place, after: Place) -> float:
    courses = [math.degrees(math.atan2(b[0] - a[0], b[1] - a[1])) for a, b in itertools.pairwise((before, here, after))]
    return abs(wrap_180(courses[1] - courses[0]))


def _offs(
    grid: WaterGrid, boat: Boat, needs: Needs, legs: Sequence[tuple[Place, Place]]
) -> dict[tuple[str, str, str], float] | None:
    """Return how near some legs come to each thing that speaks against them; None: one of them is refused."""
    out: dict[tuple[str, str, str], float] = {}
    for leg in legs:
        for danger in held_against(grid, boat, needs, leg)[1]:
            if danger.weight == "stops":
                return None
            if danger.weight == "against":
                thing = (danger.object, danger.cell, danger.feature)
                out[thing] = min(danger.off_m, out.get(thing, math.inf))
    return out
