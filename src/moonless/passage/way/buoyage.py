"""Which side marks are left on: lateral marks on the channel's, cardinal marks on the one they name.

A mark that has a wrong side gets a fence over it: a line from the mark into the water it warns of, that no way may
cross.  A chart seldom says which way buoyage runs, so a lateral mark's channel is known by what stands there: the mark
of the other hand across from it, else the fairway or dredged area it stands beside, else deep water itself, the shoal
being nearest on the wrong side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.channels import channel_areas, gate_partner, lateral_marks
from moonless.chart.local import LocalChart
from moonless.chart.overlay import common
from moonless.chart.s57.attributes import number
from moonless.chart.types import Mark

Floats = NDArray[np.float64]

# A mark this near a fairway or dredged area stands at its edge.  No source.
BESIDE_M = 150.0
# How far a fence reaches from its mark, at the most; no source.  It ends at water that is closed anyhow.  A cardinal
# mark's is longer than any keep-off, so that no way goes round its end for a wider berth.
FENCE_M = 400.0
CARDINAL_FENCE_M = 1200.0
# Nearest water that is closed is the shoal a mark warns of, where it lies within this.
WARNS_M = 300.0

_CARDINAL = ("BOYCAR", "BCNCAR")
# CATCAM 1 north, 2 east, 3 south, 4 west: the side of the mark that is safe.  The fence runs the other way.
_SAFE_RAD = {1: 0.0, 2: 0.5 * math.pi, 3: math.pi, 4: 1.5 * math.pi}


def fences(local: LocalChart, closed: shapely.Geometry) -> list[shapely.LineString]:
    """Return the fences over the marks of a chart; ``closed`` is the water that no way may enter, land with it."""
    out = []
    lateral, hands = lateral_marks(local)
    channels = channel_areas(local)
    shapely.prepare(closed)
    for k, mark in enumerate(lateral):
        away = _from_gate(lateral, hands, k)
        away = _from_channel(channels, mark) if away is None else away
        away = _to_shoal(closed, mark) if away is None else away
        if away is not None:
            out.append(_fence(mark, away, FENCE_M, closed))
    for mark in local.marks:
        safe = _SAFE_RAD.get(int(number(mark.attributes, "CATCAM") or 0)) if mark.object in _CARDINAL else None
        if safe is not None:
            out.append(_fence(mark, safe + math.pi, CARDINAL_FENCE_M, closed))
    return out


def _fence(mark: Mark, away_rad: float, length_m: float, closed: shapely.Geometry) -> shapely.LineString:
    place = (mark.east_m, mark.north_m)
    far = (mark.east_m + length_m * math.sin(away_rad), mark.north_m + length_m * math.cos(away_rad))
    line = shapely.LineString([place, far])
    if not shapely.intersects(closed, line):
        return line
    # All the land of a sheet against one short line costs a hundred times what lies round it does.
    west, south, east, north = line.bounds
    on = common(line, shapely.clip_by_rect(closed, west - 1.0, south - 1.0, east + 1.0, north + 1.0))
    if shapely.is_empty(on):
        return line
    # What lies beyond the shoal or the land is other water.
    nearest = min(float(line.project(shapely.Point(c))) for c in shapely.get_coordinates(on))
    return shapely.LineString([place, line.interpolate(max(nearest, 1.0))])


def _from_gate(marks: Sequence[Mark], hands: Sequence[str | None], k: int) -> float | None:
    """Return the way from the nearest mark of the other hand, where the two are each other's nearest."""
    other = gate_partner(marks, hands, k)
    if other is None:
        return None
    return math.atan2(marks[k].east_m - marks[other].east_m, marks[k].north_m - marks[other].north_m)


def _from_channel(channels: Sequence[shapely.Geometry], mark: Mark) -> float | None:
    """Return the way out of the fairway or dredged area that a mark stands at the edge of."""
    place = shapely.Point(mark.east_m, mark.north_m)
    near = [shape for shape in channels if shapely.dwithin(shape, place, BESIDE_M)]
    if not near:
        return None
    channel = min(near, key=lambda shape: float(shapely.distance(shapely.boundary(shape), place)))
    edge = shapely.get_point(shapely.shortest_line(shapely.boundary(channel), place), 0)
    east, north = mark.east_m - edge.x, mark.north_m - edge.y
    if math.hypot(east, north) < 0.1:
        return None
    outward = math.atan2(east, north)
    return outward + math.pi if shapely.contains(channel, place) else outward


def _to_shoal(closed: shapely.Geometry, mark: Mark) -> float | None:
    place = shapely.Point(mark.east_m, mark.north_m)
    if shapely.is_empty(closed) or not shapely.dwithin(closed, place, WARNS_M):
        return None
    nearest = shapely.get_point(shapely.shortest_line(place, closed), 1)
    east, north = nearest.x - mark.east_m, nearest.y - mark.north_m
    return math.atan2(east, north) if math.hypot(east, north) > 0.1 else None
