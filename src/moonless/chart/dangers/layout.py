"""Every charted thing that can matter to a keel, a hull or a mast, laid out once for a piece of chart, with a tree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import IntEnum
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.dangers.areas import AREAS
from moonless.chart.dangers.needs import ZONES, danger_depth_m
from moonless.chart.local import LocalChart
from moonless.chart.marks import can_be_mark
from moonless.chart.overlay import joined, without
from moonless.chart.quality import SIGMAS_AT_95, UNASSESSED_M_PER_SCALE
from moonless.chart.s57 import classes
from moonless.chart.s57.attributes import number
from moonless.chart.types import Bridge, Catzoc, Feature, Mark, Span
from moonless.errors import NoCoverage

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]


class Group(IntEnum):
    """How a thing is held against the boat."""

    LAND = 0
    GROUND = 1  # an area with a charted depth, or an unsurveyed one
    SOUNDING = 2
    SUNKEN = 3  # rock, wreck, obstruction, and works that are always under water
    SOLID = 4  # built things with an extent
    FIXED = 5  # marks that stand
    FLOATING = 6  # marks that swing
    SPAN = 7  # of a bridge
    OVERHEAD = 8  # cables and pipes
    AREA = 9


# Built things with an extent; where always under water they are sunken dangers.
SOLID = (
    "SLCONS", "PONTON", "PILPNT", "MORFAC", "OFSPLF", "CAUSWY", "DAMCON", "HULKES", "FLODOC", "GATCON", "DYKCON",
    "PYLONS", "OILBAR", "GRIDRN", "RAPIDS", "WATFAL", "FSHFAC", "MARCUL",
)  # fmt: skip
OVERHEAD = ("CBLOHD", "PIPOHD", "CONVYR")
# MORFAC, CATMOR: 3 bollard, 4 tie-up wall, 6 chain or cable lie on quays or under water.
_NOT_STANDING_MOORINGS = frozenset({3, 4, 6})
_ALWAYS_UNDER, _FLOATS = 3, 7  # WATLEV
# QUAPOS of a place that was not surveyed: 4 approximated, 5 position doubtful, 6 unreliable, 7 and 8 reported,
# 9 estimated (S-57 appendix A, attribute 402).
_APPROXIMATE = frozenset({4, 5, 6, 7, 8, 9})
# How far off such a place may be: no figure is published; three times what an unassessed survey is given here.
_APPROXIMATE_M_PER_SCALE = 3.0 * UNASSESSED_M_PER_SCALE
# A shape with more corners is cut to a strip's surroundings before it is measured.
LARGE_VERTICES = 60


@dataclass(slots=True)
class _Columns:
    shapes: list[shapely.Geometry] = field(default_factory=list)
    groups: list[int] = field(default_factory=list)
    depths: list[float] = field(default_factory=list)
    things: list[Feature | Mark | tuple[Span, Bridge]] = field(default_factory=list)

    def put(
        self,
        group: Group,
        shape: shapely.Geometry,
        thing: Feature | Mark | tuple[Span, Bridge],
        depth_m: float | None = None,
    ) -> None:
        self.shapes.append(shape)
        self.groups.append(group)
        self.depths.append(np.nan if depth_m is None else depth_m)
        self.things.append(thing)


class ChartDangers:
    """Dangers of a piece of chart as parallel columns.  Make it once and ask it often (`moonless.chart.dangers.strip`).

    ``shapes`` (n,) in the chart's frame; ``group`` (n,); ``depth_m`` (n,) charted, NaN: not charted;
    ``things`` (n,): the feature, mark or span itself.
    """

    def __init__(self, local: LocalChart) -> None:
        columns = _Columns()
        for put in (_put_ground, _put_sunken_and_solid, _put_marks, _put_overhead, _put_areas):
            put(columns, local)
        self.local = local
        self.coverage = local.coverage
        shapely.prepare(self.coverage)
        self.shapes = np.empty(len(columns.shapes), dtype=object)
        self.shapes[:] = columns.shapes
        shapely.prepare(self.shapes)
        self.group = np.array(columns.groups, dtype=np.int64)
        self.depth_m = np.array(columns.depths, dtype=np.float64)
        self.things = columns.things
        self.tree = shapely.STRtree(self.shapes)
        self.is_large = shapely.get_num_coordinates(self.shapes) > LARGE_VERTICES
        self.is_area = shapely.get_dimensions(self.shapes) == 2
        # What says what is there: land, water with or without a depth, a built thing over it.
        self.is_ground = self.is_area & np.isin(self.group, (Group.LAND, Group.GROUND, Group.SOLID))
        zones = [f for f in local.features("M_QUAL") if shapely.get_dimensions(f.shape) == 2]
        self.zone_shapes = np.empty(len(zones), dtype=object)
        self.zone_shapes[:] = [f.shape for f in zones]
        shapely.prepare(self.zone_shapes)
        self.zone_rank = np.array([_zone_rank(f) for f in zones], dtype=np.int64)
        self._zone_tree = shapely.STRtree(self.zone_shapes)
        self._sigma: dict[int, float] = {}

    def place_sigma_m(self, row: int) -> float:
        """Return how well the place of a thing is known, one sigma."""
        if row not in self._sigma:
            self._sigma[row] = self._place_sigma_m(row)
        return self._sigma[row]

    @cached_property
    def greatest_place_m(self) -> float:
        """How far off the worst placed of the sunken dangers may be, one sigma."""
        return max((self.place_sigma_m(int(row)) for row in np.flatnonzero(self.group == Group.SUNKEN)), default=0.0)

    def _place_sigma_m(self, row: int) -> float:
        point = shapely.point_on_surface(self.shapes[row])
        thing = self.things[row]
        if isinstance(thing, tuple):
            return 0.0  # a bridge's span: what it must clear is its height
        scale, given = thing.scale, thing.attributes
        try:
            sigma = self.local.quality_at(point.x, point.y).position_sigma_m
        except NoCoverage:
            sigma = UNASSESSED_M_PER_SCALE * scale  # a piece that reaches past its cell's coverage
        stated = number(given, "POSACC")
        if stated:
            sigma = max(sigma, stated / SIGMAS_AT_95)
        if given.get("QUAPOS") in _APPROXIMATE:
            sigma = max(sigma, _APPROXIMATE_M_PER_SCALE * scale)
        return float(sigma)

    def zone_all_over(self, region: shapely.Geometry) -> Catzoc | None:
        """Return the one zone of confidence that holds all over a region; None where there are more than one."""
        near = self._zone_tree.query(region, predicate="intersects")
        if not len(near):
            return "U"
        covers = len(set(self.zone_rank[near].tolist())) == 1 and shapely.covers(self.zone_shapes[near], region).any()
        return ZONES[int(self.zone_rank[near[0]])] if covers else None

    def zone_over(self, region: shapely.Geometry) -> Catzoc:
        """Return the worst zone of confidence that holds anywhere in a region; "U" where nothing is said of a part."""
        near = self._zone_tree.query(region, predicate="intersects")
        near = near[~shapely.touches(self.zone_shapes[near], region)]
        if not len(near):
            return "U"
        worst = int(self.zone_rank[near].max())
        if ZONES[worst] == "U" or any(shapely.covers(shape, region) for shape in self.zone_shapes[near]):
            return ZONES[worst]
        # Zones that meet leave slivers where rounding parts them; nobody sails in those.
        rest = without(region, joined(self.zone_shapes[near]))
        share = shapely.area(rest) if shapely.get_dimensions(region) == 2 else shapely.length(rest)
        whole = shapely.area(region) if shapely.get_dimensions(region) == 2 else shapely.length(region)
        return "U" if share > 1e-3 * max(whole, 1.0) else ZONES[worst]

    def depth_areas_at(self, region: shapely.Geometry) -> Iterator[tuple[float | None, float | None]]:
        """Yield (DRVAL1, DRVAL2) of the charted areas of depth that touch a region; None: not given."""
        for row in self.tree.query(region, predicate="intersects"):
            thing = self.things[row]
            if self.group[row] == Group.GROUND and isinstance(thing, Feature):
                yield thing.number("DRVAL1"), thing.number("DRVAL2")


def _zone_rank(feature: Feature) -> int:
    code = int(feature.number("CATZOC") or 6)
    return code - 1 if 1 <= code <= 6 else 5


def _put_ground(columns: _Columns, local: LocalChart) -> None:
    for f in local.features("LNDARE"):
        columns.put(Group.LAND, f.shape, f, -np.inf)
    for f in local.features(*classes.DEPTH_AREAS):
        if shapely.get_dimensions(f.shape) == 2:
            columns.put(Group.GROUND, f.shape, f, f.number("DRVAL1"))
    for f in local.features("UNSARE"):
        if shapely.get_dimensions(f.shape) == 2:
            columns.put(Group.GROUND, f.shape, f, None)
    for f in local.features("SOUNDG"):
        depth = f.number("DEPTH")
        if depth is not None:
            columns.put(Group.SOUNDING, f.shape, f, depth)


def _put_sunken_and_solid(columns: _Columns, local: LocalChart) -> None:
    for f in local.features(*classes.DANGERS):
        if f.attributes.get("WATLEV") != _FLOATS:
            columns.put(Group.SUNKEN, f.shape, f, danger_depth_m(f))
        elif not can_be_mark(f):
            columns.put(Group.SOLID, f.shape, f)
    for f in local.features(*SOLID):
        if f.object == "MORFAC" and f.attributes.get("CATMOR") in _NOT_STANDING_MOORINGS:
            continue
        if f.attributes.get("WATLEV") == _ALWAYS_UNDER:
            columns.put(Group.SUNKEN, f.shape, f, f.number("VALSOU"))
        elif not can_be_mark(f):
            columns.put(Group.SOLID, f.shape, f)


def _put_marks(columns: _Columns, local: LocalChart) -> None:
    """Put what stands or floats by itself in the water; what stands on land is the land's danger."""
    land = local.land
    shapely.prepare(land)
    marks = [m for m in local.marks if m.object != "LNDARE" and not _is_sunken(m)]
    # An identifier need be unique only within its class.
    classes_met = {mark.object for mark in marks}
    bodies = {(f.object, f.cell, f.feature): f.shape for f in local.features(*classes_met)} if marks else {}
    for mark in marks:
        if mark.floating or not shapely.contains_xy(land, mark.east_m, mark.north_m):
            # A small platform or dolphin keeps its own outline.
            shape = bodies.get((mark.object, mark.cell, mark.feature), shapely.Point(mark.east_m, mark.north_m))
            columns.put(Group.FLOATING if mark.floating else Group.FIXED, shape, mark)


def _is_sunken(mark: Mark) -> bool:
    return mark.object in classes.DANGERS and mark.attributes.get("WATLEV") != _FLOATS


def _put_overhead(columns: _Columns, local: LocalChart) -> None:
    for bridge in local.bridges:
        for span in bridge.spans:
            columns.put(Group.SPAN, span.shape, (span, bridge))
    for f in local.features(*OVERHEAD):
        columns.put(Group.OVERHEAD, f.shape, f)


def _put_areas(columns: _Columns, local: LocalChart) -> None:
    for f in local.features(*AREAS):
        columns.put(Group.AREA, f.shape, f)
