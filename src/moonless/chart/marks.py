"""Marks: everything charted that stands or floats by itself, each physical thing once.

A chart keeps a beacon, its light, its daymark and its racon as separate features.  They are put together here: by the
chart's own relation (LNAM_REFS, master to slave) where it gives one, else because they stand on the same spot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moonless.chart.quality import PLOTTING_M_PER_SCALE
from moonless.chart.s57 import classes
from moonless.chart.s57.attributes import codes
from moonless.chart.types import Feature, Mark

# Charted on the same spot means the same thing; positions of one thing agree to far better than this.
_SAME_SPOT_M = 1.0
# An area no larger than this across shows as one echo, and is a mark; a larger one is a structure.  Own choice: about
# what a small-boat radar at a mile cannot resolve.
SMALL_M = 30.0
# Radius of the circle a buoy swings in.  The chart does not give the scope of chain; three times the depth of shallow
# water.  Our own figure, no source.
SWING_M = 12.0
# A light within this of a bridge or a quay hangs on it and is no thing by itself.
_HANGS_ON_M = 5.0

# A millimetre at the lesser scale: marks are moved by as much to be legible.  Own choice.
_SEAM_NAMED_M_PER_SCALE = 1.0e-3

# What can be the body of a mark, the likelier body first.
_BODIES = (
    *classes.AID_STRUCTURES, "LNDMRK", "OFSPLF", "MORFAC", "PILPNT", "PYLONS", "FSHFAC", "MARCUL", "HULKES", "WRECKS",
    "UWTROC", "OBSTRN", "LNDARE", "SLCONS", "CRANES", "SILTNK", "BUISGL", "DAYMAR", "LIGHTS", "RTPBCN", "RADRFL",
)  # fmt: skip
_RANK = {name: rank for rank, name in enumerate(_BODIES)}
# Among the buildings ashore only those the chart calls conspicuous to radar are worth expecting singly.
_ONLY_IF_CONSPICUOUS = frozenset({"CRANES", "SILTNK", "BUISGL"})
# CATMOR: 3 bollard, 4 tie-up wall, 6 chain or cable lie on quays or under water.  7 is a mooring buoy.
_NOT_STANDING_MOORINGS = frozenset({3, 4, 6})
_MOORING_BUOY = 7
# STATUS: 4 not in use, 11 extinguished.
_OUT = frozenset({4, 11})
_SMALL_AREAS = frozenset(
    {"OFSPLF", "MORFAC", "PILPNT", "PYLONS", "FSHFAC", "MARCUL", "HULKES", "WRECKS", "OBSTRN", "LNDMRK"}
)
_CARRIERS = ("BRIDGE", "SLCONS", "PONTON")


def marks_of(features: Sequence[Feature]) -> tuple[Mark, ...]:
    """Return the marks among features of one frame."""
    parts = [f for f in features if can_be_mark(f)]
    if not parts:
        return ()
    carriers = [f.shape for f in features if f.object in _CARRIERS]
    tree = shapely.STRtree(carriers)
    marks = []
    for group in _groups(parts):
        body = min(group, key=lambda f: _RANK.get(f.object, len(_RANK)))
        if body.object not in _RANK:
            continue
        if body.object in ("LIGHTS", "DAYMAR", "RADRFL") and carriers:
            near = tree.query(body.shape, predicate="dwithin", distance=_HANGS_ON_M)
            if len(near):
                continue
        marks.append(_mark(body, group))
    return tuple(_without_seam_doubles(marks))


def is_floating(feature: Feature) -> bool:
    """Return whether a thing swings on a mooring, so that its place is known only to the swing of it."""
    if feature.object in classes.FLOATS:
        return True
    if feature.object == "MORFAC":
        return feature.attributes.get("CATMOR") == _MOORING_BUOY
    return feature.object in ("OBSTRN", "LOGPON") and feature.attributes.get("WATLEV") == 7


def can_be_mark(feature: Feature) -> bool:
    """Return whether a feature is a mark or part of one, by its class, its size and what the chart says of it."""
    name, given = feature.object, feature.attributes
    if name not in _RANK and name not in classes.EQUIPMENT:
        return False
    dimension = shapely.get_dimensions(feature.shape)
    if dimension > 0:
        west, south, east, north = feature.shape.bounds
        if name not in _SMALL_AREAS or max(east - west, north - south) > SMALL_M:
            return False
    if name in _ONLY_IF_CONSPICUOUS:
        return given.get("CONRAD") in (1, 3)
    if name == "MORFAC":
        return given.get("CATMOR") not in _NOT_STANDING_MOORINGS
    if name in ("WRECKS", "UWTROC", "OBSTRN", "MARCUL", "FSHFAC", "PILPNT", "OFSPLF", "HULKES", "SLCONS"):
        return classes.stands_above_water(name, given)
    return True


def _groups(parts: Sequence[Feature]) -> list[list[Feature]]:
    """Put together what is one thing; groups in the order of their first part."""
    links: list[tuple[int, int]] = []
    long_names = {(f.cell, f.attributes["LNAM"]): i for i, f in enumerate(parts) if "LNAM" in f.attributes}
    for i, feature in enumerate(parts):
        references = feature.attributes.get("LNAM_REFS")
        for reference in references if isinstance(references, list) else ():
            other = long_names.get((feature.cell, reference))
            if other is not None:
                links.append((i, other))
    spots = shapely.point_on_surface(np.array([f.shape for f in parts], dtype=object))
    links.extend(shapely.STRtree(spots).query(spots, predicate="dwithin", distance=_SAME_SPOT_M).T.tolist())
    first, second = np.array(links).T
    n = len(parts)
    _, group_of = connected_components(coo_array((np.ones(len(first)), (first, second)), shape=(n, n)), directed=False)
    groups: dict[int, list[Feature]] = {}
    for group, feature in zip(group_of.tolist(), parts, strict=True):
        groups.setdefault(group, []).append(feature)
    return list(groups.values())


def _without_seam_doubles(marks: Sequence[Mark]) -> list[Mark]:
    """Leave out a lesser cell's mark that a better cell shows too, a little off, on its own side of the seam.

    The lesser cell's position may be off by what its scale allows, so a mark near a seam can be drawn on both sides of
    it.  Of one class, and of one name or close together, they are one thing.
    """
    if len({mark.cell for mark in marks}) < 2:
        return list(marks)
    spots = shapely.points([(mark.east_m, mark.north_m) for mark in marks])
    coarsest = max(mark.scale for mark in marks)
    doubles: set[int] = set()
    near = shapely.STRtree(spots).query(spots, predicate="dwithin", distance=_SEAM_NAMED_M_PER_SCALE * coarsest)
    for i, j in near.T.tolist():
        better, lesser = marks[i], marks[j]
        if better.scale >= lesser.scale or better.object != lesser.object:
            continue
        apart_m = math.hypot(better.east_m - lesser.east_m, better.north_m - lesser.north_m)
        named = better.name is not None and better.name == lesser.name
        if better.name is not None and lesser.name is not None and not named:
            continue
        allowed = _SEAM_NAMED_M_PER_SCALE if named else PLOTTING_M_PER_SCALE
        if apart_m <= allowed * lesser.scale:
            doubles.add(j)
    return [mark for i, mark in enumerate(marks) if i not in doubles]


def _mark(body: Feature, group: Sequence[Feature]) -> Mark:
    lights = tuple(f for f in group if f.object == "LIGHTS")
    said = {f.attributes["CONRAD"] for f in group if "CONRAD" in f.attributes}
    middle = shapely.centroid(body.shape)
    return Mark(
        object=body.object,
        name=body.name or next((f.name for f in group if f.name), None),
        cell=body.cell,
        feature=body.feature,
        east_m=float(middle.x),
        north_m=float(middle.y),
        height_m=_height_m(body, lights),
        floating=is_floating(body),
        radar_conspicuous=True if said & {1, 3} else (False if 2 in said else None),
        has_reflector=3 in said or any(f.object == "RADRFL" for f in group),
        has_racon=any(f.object == "RTPBCN" for f in group),
        lit=any(_OUT.isdisjoint(codes(light.attributes, "STATUS")) for light in lights),
        attributes=body.attributes,
        lights=lights,
        equipment=tuple(f for f in group if f is not body and f.object in classes.EQUIPMENT and f.object != "LIGHTS"),
        scale=body.scale,
    )


def _height_m(body: Feature, lights: Sequence[Feature]) -> float | None:
    """Return the height of the top above high water, or above the sea for what floats.

    HEIGHT is measured from the datum of heights to the top.  VERLEN is the thing's own length: it is the height of
    what floats, stands upon ELEVAT where that is given, and says nothing of a pile driven into the bottom.  Failing
    these, a light's HEIGHT (its focal plane) is the least the thing can be.
    """
    height = body.number("HEIGHT") if body.object != "LIGHTS" else None
    if height is not None:
        return height
    length, ground = body.number("VERLEN"), body.number("ELEVAT")
    if length is not None and is_floating(body):
        return length
    if length is not None and ground is not None:
        return ground + length
    planes = [h for light in lights if (h := light.number("HEIGHT")) is not None]
    return max(planes, default=None)
