"""One strip of water held against the chart: what lies there is found once, and answered for any tide and speed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.dangers.layout import ChartDangers, Group
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.types import BERTHING_M, CORRIDOR_M, Danger, Side, Strip
from moonless.chart.dangers.weigh import Weighed, weigh
from moonless.chart.marks import SWING_M
from moonless.chart.overlay import common, without
from moonless.chart.types import Bridge, Catzoc

Rows = NDArray[np.int64]
Floats = NDArray[np.float64]
KeepOuts = Sequence[tuple[shapely.Geometry, str]]
OwnThings = Sequence[tuple[shapely.Geometry, str]]
OwnNotes = Sequence[tuple[shapely.Geometry, str]]

# A gap between charted areas no longer than this is where two of them were drawn apart, not water.  Own choice.
SEAM_M = 2.0
_NOTHING = shapely.LineString()
# What a boat lies at: CATSLC 4 pier, 6 wharf, 11 landing steps, 14 fender, 15 and 16 faced wharves (S-57 appendix A,
# attribute 60); pontoons, hulks, and the dolphins and piles beside them.
_QUAYS = frozenset({4, 6, 11, 14, 15, 16})
_LAIN_AT = frozenset({"PONTON", "HULKES", "MORFAC", "PILPNT"})
# Land this near the line from the boat's place to it has the quay before it: two shapes drawn apart.  Own choice.
_FACE_M = 3.0
_WEIGHT_ORDER = {"stops": 0, "against": 1, "note": 2}
_REACH = {
    Group.SOLID: CORRIDOR_M,
    Group.FIXED: CORRIDOR_M,
    Group.FLOATING: CORRIDOR_M,
}


class StripDangers:
    """What the chart holds along one strip.

    What lies where along does not change with the time and is found once; tide and speed come with each question.
    ``keep_outs``: the skipper's own water to keep out of, (shape in the plane, words).  ``own_things``: what he knows
    to stand there though no chart has it, ``own_notes``: what he has noted of a place, the same way.
    """

    def __init__(
        self,
        chart: ChartDangers,
        strip: Strip,
        keep_outs: KeepOuts = (),
        own_things: OwnThings = (),
        own_notes: OwnNotes = (),
    ) -> None:
        self.chart = chart
        self.strip = strip
        self._keep_outs = keep_outs
        self._own_things = own_things
        self._own_notes = own_notes
        self._places: dict[int, tuple[float, float, Side, float, float]] = {}
        self._zones: dict[int, Catzoc] = {}
        shapely.prepare(strip.line)

    def dangers(self, needs: Needs) -> list[Danger]:
        """Return everything charted that the strip meets, by distance along, the gravest first where level."""
        found = [*self._chart_ends(), *self._kept_out(), *self._known(), *self._noted()]
        for row, off in self._met(needs):
            told = weigh(self, row, off, needs)
            if told is not None:
                found.append(self._danger(row, told))
        return sorted(found, key=lambda d: (d.along_m, _WEIGHT_ORDER[d.weight]))

    def refusals(self, needs: Needs) -> list[Danger]:
        """Return what refuses the strip, nearest first."""
        return [danger for danger in self.dangers(needs) if danger.weight == "stops"]

    def least_depth_m(self) -> float | None:
        """Return the shallowest charted depth within the track, below datum; None where none is charted."""
        rows = self._of(Group.GROUND, Group.SOUNDING, Group.SUNKEN)
        rows = rows[~np.isnan(self.chart.depth_m[rows])]
        near = rows[self._within(rows, self.strip.track_m)]
        return float(self.chart.depth_m[near].min()) if len(near) else None

    # ---- what is near ----

    @cached_property
    def _rows(self) -> Rows:
        """Everything whose box comes near the strip's."""
        return np.sort(self.chart.tree.query(shapely.box(*self._around)))

    @cached_property
    def _around(self) -> tuple[float, float, float, float]:
        west, south, east, north = self.strip.line.bounds
        place = min(self.strip.place_m, self.chart.greatest_place_m)
        reach = max(self.strip.look_m, self.strip.track_m + place, self.strip.land_m) + 1.0
        return west - reach, south - reach, east + reach, north + reach

    @cached_property
    def _grouped(self) -> dict[Group, Rows]:
        groups = self.chart.group[self._rows]
        order = np.argsort(groups, kind="stable")
        starts = np.searchsorted(groups[order], np.arange(len(Group) + 1))
        return {group: self._rows[order[starts[group] : starts[group + 1]]] for group in Group}

    def _of(self, *groups: Group) -> Rows:
        return np.concatenate([self._grouped[group] for group in groups])

    def _parts(self, rows: Rows) -> NDArray[np.object_]:
        """Return the shapes, large ones cut to the strip's surroundings: what lies beyond costs and says nothing."""
        shapes = self.chart.shapes[rows]
        large = self.chart.is_large[rows]
        if large.any():
            shapes[large] = shapely.clip_by_rect(shapes[large], *self._around)
        return shapes

    def _within(self, rows: Rows, distance_m: float | Floats) -> NDArray[np.bool_]:
        near = shapely.dwithin(self.chart.shapes[rows], self.strip.line, distance_m)
        return np.asarray(near, dtype=np.bool_)

    def _met(self, needs: Needs) -> Iterator[tuple[int, float]]:
        """Yield each row that may matter to this boat now, and how far off the line it lies."""
        strip, depth = self.strip, self.chart.depth_m
        for rows, reach in self._near_always:
            yield from zip(rows.tolist(), reach.tolist(), strict=True)
        # Most water is deep enough and needs no look at where it lies.
        shallow = self._of(Group.GROUND, Group.SOUNDING)
        shallow = shallow[~(depth[shallow] >= needs.deepest_m)]
        fresh = np.array([row for row in shallow.tolist() if row not in self._offs], dtype=np.int64)
        if len(fresh):
            near = self._within(fresh, strip.track_m)
            off = np.where(near, np.inf, np.nan)
            off[near] = shapely.distance(self._parts(fresh[near]), strip.line)
            self._offs.update(zip(fresh.tolist(), off.tolist(), strict=True))
        for row in shallow.tolist():
            if not np.isnan(self._offs[row]):
                yield row, self._offs[row]

    @cached_property
    def _offs(self) -> dict[int, float]:
        """How far off the line shallow ground lies; NaN: not within the track."""
        return {}

    @cached_property
    def _near_always(self) -> list[tuple[Rows, Floats]]:
        """Rows that are told whatever the tide, with how far off the line each lies."""
        strip, chart = self.strip, self.chart
        out = []
        for group in (Group.LAND, Group.SUNKEN, Group.SOLID, Group.FIXED, Group.FLOATING, Group.SPAN, Group.OVERHEAD):
            rows = self._of(group)
            if not len(rows):
                continue
            reach: float | Floats = min(strip.look_m, _REACH.get(group, strip.look_m))
            if group == Group.LAND:
                reach = strip.land_m
            elif group == Group.SUNKEN:
                place = np.array([chart.place_sigma_m(row) for row in rows.tolist()])
                reach = np.maximum(strip.look_m, strip.track_m + np.minimum(place, strip.place_m))
            elif group == Group.FLOATING:
                reach = max(min(strip.look_m, CORRIDOR_M), strip.swept_m + SWING_M)
            elif group in (Group.SPAN, Group.OVERHEAD):
                reach = strip.swept_m
            rows = rows[self._within(rows, reach)]
            out.append((rows, shapely.distance(self._parts(rows), strip.line)))
        areas = self._of(Group.AREA)
        if len(areas):
            # What is charted as a point or has no other extent is met within the track.
            reach_each = np.where(shapely.get_dimensions(chart.shapes[areas]) == 0, strip.track_m, 0.0)
            areas = areas[self._within(areas, reach_each)]
            out.append((areas, shapely.distance(self._parts(areas), strip.line)))
        return out

    def passes_beneath(self, bridge: Bridge) -> bool:
        """Return whether the line itself passes under a span of a bridge."""
        return any(shapely.intersects(self.strip.line, span.shape) for span in bridge.spans)

    def lies_alongside(self, row: int, off_m: float) -> bool:
        """Return whether a thing is only near where the route begins or ends, and is what a boat lies at there.

        Land counts where such a thing stands between: the ground behind a quay.
        """
        strip = self.strip
        if not strip.berths or off_m < strip.hull_m:
            return False
        is_land = self.chart.group[row] == Group.LAND
        if not is_land and not self._is_lain_at(row):
            return False
        shape = self._parts(np.array([row]))[0]
        limit = strip.track_m if is_land else strip.swept_m
        if not shapely.is_empty(self._before_berths) and shapely.dwithin(shape, self._before_berths, limit):
            return False
        if not is_land:
            return True
        return all(self._has_quay(shapely.shortest_line(place, shape)) for place in strip.berths
                   if shapely.dwithin(place, shape, BERTHING_M + limit))  # fmt: skip

    def _is_lain_at(self, row: int) -> bool:
        thing = self.chart.things[row]
        # Works under water are what is left of a quay, and no place to lie at.
        if isinstance(thing, tuple) or self.chart.group[row] not in (Group.SOLID, Group.FIXED):
            return False
        return thing.object in _LAIN_AT or (thing.object == "SLCONS" and thing.attributes.get("CATSLC") in _QUAYS)

    def _has_quay(self, across: shapely.LineString) -> bool:
        rows = self._of(Group.SOLID)
        near = rows[np.asarray(shapely.dwithin(self.chart.shapes[rows], across, _FACE_M), dtype=np.bool_)]
        return any(self._is_lain_at(int(row)) for row in near)

    @cached_property
    def _before_berths(self) -> shapely.Geometry:
        """The line without what lies so near its berths that it is done by eye."""
        return without(self.strip.line, shapely.union_all([b.buffer(BERTHING_M) for b in self.strip.berths]))

    # ---- where along ----

    def where(self, shape: shapely.Geometry) -> tuple[float, float, Side, float, float]:
        """Return (along, off, side, east, north) of the point of a shape that the track comes to first or nearest."""
        line = self.strip.line
        if shapely.intersects(shape, line):
            on = common(line, shape)
            ends = shapely.get_coordinates(on)
            along = float(shapely.line_locate_point(line, shapely.points(ends)).min()) if len(ends) else 0.0
            place = shapely.line_interpolate_point(line, along)
            return along, 0.0, "on", float(shapely.get_x(place)), float(shapely.get_y(place))
        shortest = shapely.shortest_line(line, shape)
        mine, other = shapely.get_point(shortest, 0), shapely.get_point(shortest, 1)
        along = float(line.project(mine))
        ahead = line.interpolate(min(along + 1.0, line.length))
        behind = line.interpolate(max(along - 1.0, 0.0))
        cross = (ahead.x - behind.x) * (other.y - behind.y) - (ahead.y - behind.y) * (other.x - behind.x)
        side: Side = "port" if cross > 0 else "starboard"
        return along, float(shapely.length(shortest)), side, float(other.x), float(other.y)

    def _danger(self, row: int, told: Weighed) -> Danger:
        if row not in self._places:
            self._places[row] = self.where(self._parts(np.array([row]))[0])
        along, off, side, east, north = self._places[row]
        thing = self.chart.things[row]
        if isinstance(thing, tuple):
            span, bridge = thing
            named, given, identity = span.name or bridge.name, span.attributes, ("BRIDGE", bridge.cell, span.feature)
        else:
            named, given, identity = thing.name, thing.attributes, (thing.object, thing.cell, thing.feature)
        text = given.get("TXTDSC")
        return Danger(
            told.kind, told.weight, told.say, along, off, side, east, north, named, *identity,
            told.depth_m, told.clearance_m, None if text is None else str(text),
        )  # fmt: skip

    def zone_of(self, row: int) -> Catzoc:
        """Return the worst zone of confidence that holds anywhere the strip meets a thing."""
        if self._one_zone is not None:
            return self._one_zone
        if row not in self._zones:
            shape = self._parts(np.array([row]))[0]
            region = common(shape, self._track) if self.chart.is_area[row] else shape
            self._zones[row] = self.chart.zone_over(shape if shapely.is_empty(region) else region)
        return self._zones[row]

    @cached_property
    def _track(self) -> shapely.Geometry:
        return shapely.buffer(self.strip.line, self.strip.track_m, quad_segs=4)

    @cached_property
    def _one_zone(self) -> Catzoc | None:
        """The zone that holds all along the strip; None: more than one does."""
        wide = shapely.buffer(self.strip.line, max(self.strip.track_m, self.strip.look_m), quad_segs=4)
        return self.chart.zone_all_over(wide)

    # ---- where the chart says nothing ----

    def _chart_ends(self) -> Iterator[Danger]:
        line, ends = self.strip.line, self._outside
        if not shapely.is_empty(ends) and shapely.length(ends) > 1.0:
            along, off, side, east, north = self.where(ends)
            say = f"no chart covers {shapely.length(ends) / 1852:.2f} NM of the track"
            yield Danger("chart ends", "stops", say, along, off, side, east, north)
        for start, stop in self._bare:
            place = line.interpolate(start)
            say = f"the chart gives no depth along {stop - start:.0f} m of the track"
            yield Danger("unsurveyed", "stops", say, start, 0.0, "on", float(place.x), float(place.y))

    @cached_property
    def _outside(self) -> shapely.Geometry:
        coverage = self.chart.coverage
        if shapely.covers(coverage, self.strip.line):
            return _NOTHING
        return without(self.strip.line, coverage)

    @cached_property
    def _bare(self) -> list[tuple[float, float]]:
        """Stretches (from, to along) that are charted and yet have no area that says what is there.

        An official cell leaves no such gap (see `classes.SOLID_ON_WATER`); a chart made by others may.
        """
        line = self.strip.line
        rows = self._rows[self.chart.is_ground[self._rows]]
        rows = rows[np.asarray(shapely.intersects(self.chart.shapes[rows], line), dtype=np.bool_)]
        shapes = [common(line, part) for part in self._parts(rows)]
        if not shapely.is_empty(self._outside):
            shapes.append(self._outside)
        parts = [p for p in shapely.get_parts(shapely.get_parts(shapes)) if shapely.get_dimensions(p) == 1]
        reached, gaps = 0.0, []
        for start, stop in sorted(self._span_of(part) for part in parts):
            if start - reached > SEAM_M:
                gaps.append((reached, start))
            reached = max(reached, stop)
        if line.length - reached > SEAM_M:
            gaps.append((reached, line.length))
        return gaps

    def _span_of(self, part: shapely.Geometry) -> tuple[float, float]:
        # A part that follows the line has its ends at its own ends; its middle points lie between them.
        ends = shapely.points(shapely.get_coordinates(part)[[0, -1]])
        first, last = shapely.line_locate_point(self.strip.line, ends)
        return min(float(first), float(last)), max(float(first), float(last))

    def _kept_out(self) -> Iterator[Danger]:
        for shape, words in self._keep_outs:
            if shapely.dwithin(shape, self.strip.line, self.strip.swept_m):
                along, off, side, east, north = self.where(shape)
                say = f"your own water to keep out of: {words}" if words else "your own water to keep out of"
                yield Danger("keep out", "stops", say, along, off, side, east, north, words or None)

    def _known(self) -> Iterator[Danger]:
        """Things and anchorages of local knowledge: told as far off as charted things are, and looked at before they
        are passed.

        None refuses a way: none was surveyed, and what floats may have gone.  Own choice.
        """
        for shape, words in self._own_things:
            if shapely.dwithin(shape, self.strip.line, min(self.strip.look_m, CORRIDOR_M)):
                along, off, side, east, north = self.where(shape)
                say = f"not charted, known to you: {words}"
                yield Danger("own thing", "against", say, along, off, side, east, north, words)

    def _noted(self) -> Iterator[Danger]:
        """Notes of local knowledge, as that a charted mark was not there: told of the way, and nothing is refused."""
        for shape, words in self._own_notes:
            if shapely.dwithin(shape, self.strip.line, self.strip.look_m):
                along, off, side, east, north = self.where(shape)
                yield Danger("own note", "note", f"your own note: {words}", along, off, side, east, north, words)
