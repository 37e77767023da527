"""A route proposed along water deep enough, off every danger, between two places on the chart.

The water is laid out as a grid by the one danger engine (`moonless.chart.dangers`), at chart datum with no tide added.
The cheapest way through is sought: dearer towards the edge of that water and through what speaks against a way,
cheaper along what the chart offers (fairways, dredged areas, recommended tracks, leading lines), and over no fence that
a mark puts up on its wrong side.  Corners that can be cut without leaving it are cut.  Every leg is then held against
the chart as a leg of a plan is; where one is refused, what refuses it is closed and the way sought again.

What it does not know: traffic, streams, sea, what the chart does not show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import Needs
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError, NoCoverage
from moonless.frames import LocalFrame, geodesic
from moonless.passage.way.bars import bar_words
from moonless.passage.way.ease import SHORTEST_LEG_M
from moonless.passage.way.grid import LAYS, Lay, Reach, WaterAround, WaterGrid, cell_of, lay_grid, water_around
from moonless.passage.way.route import Route, Waypoint
from moonless.passage.way.seek.fine_ends import seek_with_fine_ends
from moonless.passage.way.seek.over_grid import SNAP_M, NotJoined, NoWaterNear, seek
from moonless.passage.way.why import NARROW, detour, moves, sides

Place = tuple[float, float]

LONGEST_M = 30.0 * 1852.0
AT_AN_END = Lay(Reach(0.0, SNAP_M + 50.0), 400, 6.0, is_tight=True)
# A speed at which squat has reached its bound, so that no slower plan needs more water.
SQUAT_SPEED = 15.0


@dataclass(frozen=True, slots=True)
class Proposal:
    """A way, and what its asker should know of it."""

    route: Route
    notes: tuple[str, ...]  # ends that were moved, why it is not straight, which side to keep


def propose(
    chart: Chart,
    boat: Boat,
    start: tuple[float, float],
    end: tuple[float, float],
    name: str = "proposed route",
    *,
    tide_m: float = 0.0,
    knowledge: Knowledge | None = None,
) -> Proposal:
    """Return a way from one (lat, lon) to another that a plan does not refuse.

    ``tide_m``: the lowest tide to be met, above chart datum; more than datum is not counted on.  ``knowledge``: the
    skipper's own, whose water to keep out of is kept out of.

    Raises InputError if they are too far apart, if no deep water lies near one of them, or if none joins them;
    NoCoverage if no chart covers the place between.
    """
    distance, _ = geodesic(*start, *end)
    if distance > LONGEST_M:
        most = f"{LONGEST_M / 1852:.0f} NM is the most"
        raise InputError(f"{distance / 1852:.0f} NM is too far to propose a way for; {most}")
    if distance < SHORTEST_LEG_M:
        raise InputError(f"the two places lie {distance:.0f} m apart: there is no way to propose")
    frame = LocalFrame((start[0] + end[0]) / 2, start[1] + _step(start[1], end[1]) / 2)
    ends = [tuple(float(v) for v in frame.to_plane(*place)) for place in (start, end)]
    needs = Needs.of(boat, SQUAT_SPEED, min(tide_m, 0.0))
    asked = [(east, north) for east, north in ends]
    problem: InputError | None = None
    looked: list[WaterGrid] = []
    unjoined: list[WaterGrid] = []  # the grids that joined them not
    around: dict[Reach, WaterAround] = {}
    laid: set[tuple[object, ...]] = set()
    for lay in LAYS:
        if lay.reach not in around:
            around[lay.reach] = water_around(chart, boat, needs, frame, asked, lay, knowledge)
        water = around[lay.reach]
        # Where the chart ends before a reach does, a wider one lays out the same squares again.
        same = (water.bounds_m, cell_of(water.bounds_m, lay), lay.is_tight)
        if same in laid:
            continue
        laid.add(same)
        grid = lay_grid(water, lay)
        looked.append(grid)
        try:
            places = seek(grid, boat, needs, ends)
        except NoWaterNear as found:
            # A creek narrower than wide squares is found by finer ones; where those find none no lay does.
            if any(_is_bare(chart, boat, needs, frame, end, knowledge) for end in asked):
                raise
            problem = found
            continue
        except NotJoined as found:
            problem = found
            unjoined.append(grid)
            continue
        except InputError as found:
            problem = found
            continue
        return _proposal(grid, boat, needs, ends, places, name)
    try:
        tight = [grid for grid in looked if grid.is_tight]
        grid, places = seek_with_fine_ends(tight[-1].water, tight, boat, needs, ends)
        return _proposal(grid, boat, needs, ends, places, name)
    except NotJoined as found:
        # Water that only fine squares find lies near both ends: that wide ones find none there is no reason.
        problem = found if isinstance(problem, NoWaterNear) and unjoined else problem
    except InputError:
        pass  # what was found before says it better
    assert problem is not None
    if isinstance(problem, NotJoined):
        # The widest look says it; where its squares are too wide to name the place, the finer ones before it do.
        said = (_closing_words(grid, boat, needs, ends) for grid in reversed(unjoined))
        raise InputError(f"{problem}{next((words for words in said if words), '')}")
    raise problem


def _proposal(
    grid: WaterGrid, boat: Boat, needs: Needs, ends: Sequence[tuple[float, ...]], places: Sequence[Place], name: str
) -> Proposal:
    """Return a way that was found, with what is told of it."""
    close = (NARROW,) if grid.is_tight else ()
    notes = (*moves(ends, places), *detour(grid, boat, needs, places), *sides(grid, places), *close)
    return Proposal(_route(grid.frame, places, name), notes)


def _is_bare(
    chart: Chart, boat: Boat, needs: Needs, frame: LocalFrame, end: tuple[float, float], knowledge: Knowledge | None
) -> bool:
    """Return whether the finest squares find no water deep enough near an end."""
    try:
        grid = lay_grid(water_around(chart, boat, needs, frame, [end, end], AT_AN_END, knowledge), AT_AN_END)
    except NoCoverage:
        return True
    row, column = grid.square(*end)
    rows, columns = np.nonzero(grid.open)
    return not bool((np.hypot(rows - row, columns - column) * grid.cell_m <= SNAP_M).any())


def _closing_words(grid: WaterGrid, boat: Boat, needs: Needs, ends: Sequence[tuple[float, ...]]) -> str:
    """Return where the water between the ends closes and for what, ready to stand behind the refusal."""
    words = bar_words(grid, boat, needs, [grid.square(place[0], place[1]) for place in ends])
    return f": {words}" if words else ""


def _step(from_lon: float, to_lon: float) -> float:
    return (to_lon - from_lon + 180.0) % 360.0 - 180.0


def _route(frame: LocalFrame, places: Sequence[Place], name: str) -> Route:
    waypoints = []
    for number, (east, north) in enumerate(places):
        lat, lon = frame.to_geographic(east, north)
        label = "start" if number == 0 else "end" if number == len(places) - 1 else f"turn {number}"
        waypoints.append(Waypoint(label, float(lat), float(lon)))
    return Route(name, tuple(waypoints))
