"""Where a boat can break off to beside a leg: anchorages that are for her and deep enough, and yacht harbours."""

from __future__ import annotations

import shapely

from moonless.boat.types import Boat
from moonless.chart.dangers.types import Side
from moonless.chart.local import LocalChart
from moonless.chart.s57.attributes import codes
from moonless.chart.types import Feature
from moonless.constants import NAUTICAL_MILE_M
from moonless.passage.types import Refuge
from moonless.passage.way.route import Leg
from moonless.passage.words import object_words

# No refuge is told that lies farther off a leg.  Own choice.
WITHIN_M = 0.5 * NAUTICAL_MILE_M
# Water enough to swing in: a circle of this radius.  Own choice.
SWING_M = 30.0
# CATACH 3 tanker, 4 explosives, 5 quarantine, 6 sea-plane; RESTRN 1 anchoring prohibited, 7 entry prohibited; CATHAF 4
# fishing harbour, 5 yacht harbour (S-57 appendix A, attributes 8, 131 and 30).
_NOT_HERS = frozenset({3, 4, 5, 6})
_NO_ANCHOR = frozenset({1, 7})
_HARBOURS = frozenset({4, 5})


def refuge_words(refuge: Refuge) -> str:
    """Return what a refuge is and where it lies, to stand before its leg: "anchorage Bight, 200 m to port"."""
    kind = "harbour" if refuge.is_harbour else "anchorage"
    where = "on the track" if refuge.side == "on" else f"{refuge.off_m:.0f} m to {refuge.side}"
    return f"{kind} {refuge.name}, {where}"


def refuges_beside(leg: Leg, local: LocalChart, boat: Boat) -> tuple[Refuge, ...]:
    """Return the charted refuges near a leg, the nearest first.

    An anchorage counts where water of draught and margin at chart datum, or more, leaves her a circle to swing in; of
    a harbour the way in is not looked at.
    """
    line = shapely.LineString(leg.plane(local.frame))
    around = shapely.buffer(line, WITHIN_M)
    need_m = boat.draught_m + boat.skipper.depth_margin_m
    out = []
    for feature in local.in_region(around, "ACHARE", "ACHBRT", "HRBFAC"):
        is_harbour = feature.object == "HRBFAC"
        if is_harbour and not _HARBOURS & set(codes(feature.attributes, "CATHAF")):
            continue
        if not is_harbour and not (_is_hers(feature) and _has_water(feature, local, need_m)):
            continue
        name = object_words(feature.name, feature.object)
        off_m = float(shapely.distance(line, feature.shape))
        out.append(Refuge(is_harbour, name, off_m, _side(line, feature.shape), feature.feature))
    return tuple(sorted(out, key=lambda refuge: refuge.off_m))


def _side(line: shapely.LineString, shape: shapely.Geometry) -> Side:
    mine, other = shapely.get_coordinates(shapely.shortest_line(line, shape))
    along = float(shapely.line_locate_point(line, shapely.Point(mine)))
    behind, ahead = (line.interpolate(min(max(along + step, 0.0), line.length)) for step in (-1.0, 1.0))
    if shapely.dwithin(line, shape, 0.0):
        return "on"
    return "port" if shapely.is_ccw(shapely.LinearRing([behind, ahead, shapely.Point(other)])) else "starboard"


def _is_hers(feature: Feature) -> bool:
    given = feature.attributes
    return not _NOT_HERS & set(codes(given, "CATACH")) and not _NO_ANCHOR & set(codes(given, "RESTRN"))


def _has_water(feature: Feature, local: LocalChart, need_m: float) -> bool:
    place = feature.shape
    if shapely.get_dimensions(place) < 2:
        place = shapely.buffer(place, SWING_M)
    depths = local.in_region(place, "DEPARE", "DRGARE")
    deep = [f.shape for f in depths if (f.number("DRVAL1") or 0.0) >= need_m and shapely.get_dimensions(f.shape) == 2]
    water = shapely.intersection(shapely.union_all(deep), place)
    # A hair less than the circle, so that a berth drawn as a point in deep water has its own.
    return not shapely.is_empty(shapely.buffer(water, -0.95 * SWING_M))
