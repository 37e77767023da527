"""The water that a way may not go through, for whoever searches one: by the same rules that weigh a way drawn."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.chart.dangers.layout import ChartDangers, Group
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.types import TRACK_M, Strip, swept_m
from moonless.chart.dangers.weigh import weigh
from moonless.chart.marks import SWING_M
from moonless.chart.types import Bridge, Catzoc

Floats = NDArray[np.float64]

# Left between the swept width and a standing mark that is passed close.  Own choice.
HULL_M = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Closed:
    """Shapes (n,) and how far off each a track must keep (n,), metres."""

    shapes: NDArray[np.object_]
    keep_off_m: Floats


class _Over:
    """A track right over everything: what is asked of the weighing when a way is still to be found."""

    def __init__(self, chart: ChartDangers, boat: Boat) -> None:
        self.chart = chart
        self.strip = Strip(shapely.LineString([(0.0, 0.0), (1.0, 0.0)]), swept_m(boat))

    def zone_of(self, row: int) -> Catzoc:
        return self._all_over or self.chart.zone_over(self.chart.shapes[row])

    @cached_property
    def _all_over(self) -> Catzoc | None:
        return self.chart.zone_all_over(self.chart.coverage)

    def passes_beneath(self, bridge: Bridge) -> bool:
        return False

    def lies_alongside(self, row: int, off_m: float) -> bool:
        return False


@dataclass(frozen=True, slots=True, eq=False)
class ClosedWater:
    """What refuses a track that comes nearer than the distance given, and what speaks against one.

    Marks that float or stand are in ``refused`` with a distance that keeps a track off them altogether; in
    ``refused_tight`` standing ones with no more than her hull needs, as between the piles of a berth, and then they are
    in ``against_tight``.
    """

    refused: Closed
    against: Closed
    refused_tight: Closed
    against_tight: Closed


def closed_water(chart: ChartDangers, boat: Boat, needs: Needs) -> ClosedWater:
    """Return the water that is closed to a boat, everything on the chart weighed once."""
    over = _Over(chart, boat)
    refused: list[tuple[int, float]] = []
    tight: list[tuple[int, float]] = []
    passed: list[tuple[int, float]] = []  # standing marks that a tight way passes
    against: list[tuple[int, float]] = []
    for row in range(len(chart.shapes)):
        group = Group(int(chart.group[row]))
        if group in (Group.GROUND, Group.SOUNDING) and chart.depth_m[row] >= needs.deepest_m:
            continue
        told = weigh(over, row, 0.0, needs)
        if told is None or told.weight == "note":
            continue
        if told.weight == "stops" or group == Group.FLOATING:
            refused.append((row, _keep_off_m(chart, over.strip, row, group)))
            if group == Group.FIXED:
                tight.append((row, over.strip.swept_m + HULL_M))
                passed.append((row, TRACK_M))
            else:
                tight.append(refused[-1])
        else:
            against.append((row, TRACK_M))
    closed = [_closed(chart, rows) for rows in (refused, against, tight, [*against, *passed])]
    return ClosedWater(*closed)


def _keep_off_m(chart: ChartDangers, strip: Strip, row: int, group: Group) -> float:
    match group:
        case Group.AREA:
            return 0.0
        case Group.SPAN | Group.OVERHEAD | Group.SOLID:
            return strip.swept_m
        case Group.SUNKEN:
            return strip.track_m + chart.place_sigma_m(row)
        case Group.FLOATING:
            return strip.swept_m + SWING_M
        case _:
            return strip.track_m


def _closed(chart: ChartDangers, rows: list[tuple[int, float]]) -> Closed:
    which = np.array([row for row, _ in rows], dtype=np.int64)
    return Closed(chart.shapes[which], np.array([off for _, off in rows], dtype=np.float64))
