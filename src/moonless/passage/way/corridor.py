"""What the chart holds in a leg's corridor, and what of it the boat must not meet.

Depths: charted depth + tide at the time - draught - squat - margin must not be negative, and the margin grows with how
badly the water was surveyed (CATZOC).  Heights: charted clearance - air draught - margin; clearances are above a
high-water level, so a low tide is never counted as more room, and a tide above mean high water is taken off.
A thing whose figure is not charted is met as one without water over it, or without room under it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import shapely

from moonless.boat.types import Boat
from moonless.chart.depths import danger_depth_m
from moonless.chart.local import LocalChart
from moonless.chart.s57.classes import SOLID_ON_WATER
from moonless.chart.types import Feature, Span
from moonless.passage.types import DangerKind, LegDanger, Weight
from moonless.passage.way.route import Leg

# Half width of the corridor searched; the skipper's keep-off where that is wider.  Common practice, no source.
CORRIDOR_M = 150.0
# Half width within which a shoal or rock stops the plan: the boat's own error and a helmsman's.  No source.
TRACK_M = 25.0
# A gap between charted areas no longer than this is where two of them were drawn apart, not water.  Own choice.
SEAM_M = 2.0
# Air left under a bridge or cable: half a metre for a bridge (no source); a cable's charted safe clearance (VERCSA) has
# the electric distance in it already, and one without it gets 5 m (no source; utilities ask 2 to 6 m by voltage).
BRIDGE_MARGIN_M = 0.5
CABLE_MARGIN_M = 5.0
# Depth error of each zone at small depths, 95 %: IHO S-57 M_QUAL / CATZOC table: A1 0.5 m + 1 %, A2 and B 1 m + 2 %,
# C 2 m + 5 %, D and unassessed worse; taken as C's.
_ROUGH = (2.0, 0.05)
DEPTH_ERROR_M = {"A1": (0.5, 0.01), "A2": (1.0, 0.02), "B": (1.0, 0.02), "C": _ROUGH, "D": _ROUGH, "U": _ROUGH}

_DEPTH_AREAS = ("DEPARE", "DRGARE")
_SOLID = ("SLCONS", "PONTON", "PILPNT", "MORFAC", "OFSPLF", "CAUSWY", "DAMCON", "HULKES", "FLODOC", "GATCON")
_NOTED: dict[str, DangerKind] = {
    "MARCUL": "fish farm",
    "RESARE": "restricted",
    "FAIRWY": "fairway",
    "FERYRT": "ferry",
    "TSSLPT": "traffic scheme",
    "ACHARE": "anchorage",
}
_POINTS: dict[str, DangerKind] = {"UWTROC": "rock", "WRECKS": "wreck", "OBSTRN": "obstruction"}


def squat_m(speed: float, draught_m: float, depth_m: float) -> float:
    """Return how much deeper a small displacement hull sits under way in shallow water.

    Source: Barrass' simplified open-water formula, squat = C_b V_kn^2 / 100 with C_b 0.5, doubled in confined depths
    under twice the draught (from memory).  A planing boat lifts instead, so this errs to the deep side; bounded at a
    third of the draught.
    """
    knots = speed * 3600.0 / 1852.0
    settled = 0.5 * knots**2 / 100.0
    if depth_m < 2.0 * draught_m:
        settled *= 2.0
    return min(settled, draught_m / 3.0)


_WEIGHT_ORDER = {"stops": 0, "against": 1, "note": 2, "for": 3}
Side = Literal["on", "port", "starboard"]


class Corridor:
    """One leg's corridor, asked again and again by a departure search.

    What the chart holds there, where along and how well surveyed does not change with the time, and is found once;
    tide and speed come with each question.
    """

    def __init__(self, number: int, leg: Leg, local: LocalChart, boat: Boat) -> None:
        self.number = number
        self.local = local
        self.boat = boat
        self.line = shapely.LineString(leg.plane(local.frame))
        self.half_m = max(CORRIDOR_M, boat.skipper.keep_off_m)
        self._tide_m: float | None = None
        self._over_high_m = 0.0
        self._speed = 0.0
        self._found_near: dict[tuple[str, ...], list[tuple[Feature, float]]] = {}
        self._places: dict[int, tuple[float, float, Side]] = {}
        self._zones: dict[int, str] = {}
        self._sigmas: dict[int, float] = {}
        self._uncovered: shapely.Geometry | None = None
        self._unsaid: shapely.Geometry | None = None

    def dangers(self, tide_m: float | None, speed: float, over_high_m: float | None = None) -> list[LegDanger]:
        """Return every danger and charted area, by distance along, worst first where level.

        ``tide_m`` None: not known, counted as chart datum.  ``over_high_m``: how far the tide stands above mean high
        water; None: not known, and then nothing is taken off.
        """
        self._tide_m, self._speed = tide_m, speed
        self._over_high_m = max(over_high_m or 0.0, 0.0)
        found = [*self.coverage(), *self.depths(), *self.points(), *self.solids(), *self.overhead(), *self.noted()]
        return sorted(found, key=lambda d: (d.along_m, _WEIGHT_ORDER[d.weight]))

    def least_depth_m(self) -> float | None:
        """Return the shallowest charted depth on the track, below datum; None where none is charted."""
        areas = [f.number("DRVAL1") for f, off in self._near(*_DEPTH_AREAS) if off <= TRACK_M]
        soundings = [f.number("DEPTH") for f, off in self._near("SOUNDG") if off <= 2 * TRACK_M]
        known = [depth for depth in (*areas, *soundings) if depth is not None]
        return min(known, default=None)

    # ---- geometry ----

    def _where(self, shape: shapely.Geometry) -> tuple[float, float, Side]:
        """Return (along, off, side) of the point of a shape that the track comes to first or nearest."""
        # Shapes live as long as the local chart does, so their identity may key what was found of them.
        if id(shape) not in self._places:
            self._places[id(shape)] = self._find_where(shape)
        return self._places[id(shape)]

    def _find_where(self, shape: shapely.Geometry) -> tuple[float, float, Side]:
        on = shapely.intersection(self.line, shape)
        if not shapely.is_empty(on):
            firsts = [self.line.project(shapely.Point(c)) for c in shapely.get_coordinates(on)]
            return min(firsts), 0.0, "on"
        track_point = shapely.get_point(shapely.shortest_line(self.line, shape), 0)
        other = shapely.get_point(shapely.shortest_line(self.line, shape), 1)
        along = float(self.line.project(track_point))
        ahead = self.line.interpolate(min(along + 1.0, self.line.length))
        behind = self.line.interpolate(max(along - 1.0, 0.0))
        cross = (ahead.x - behind.x) * (other.y - behind.y) - (ahead.y - behind.y) * (other.x - behind.x)
        return along, float(shapely.distance(self.line, shape)), "port" if cross > 0 else "starboard"

    def _danger(
        self,
        kind: DangerKind,
        shape: shapely.Geometry,
        weight: Weight,
        say: str,
        feature: Feature | None = None,
        depth_m: float | None = None,
        margin_m: float | None = None,
    ) -> LegDanger:
        along, off, side = self._where(shape)
        where = f"{along / 1852:.2f} NM along leg {self.number}"
        where += ", on the track" if side == "on" else f", {off:.0f} m to {side}"
        return LegDanger(
            kind=kind,
            leg=self.number,
            along_m=along,
            off_m=off,
            side=side,
            name=feature.name if feature else None,
            object=feature.object if feature else "",
            cell=feature.cell if feature else "",
            feature=feature.feature if feature else "",
            depth_m=depth_m,
            margin_m=margin_m,
            weight=weight,
            say=f"{say}, {where}",
        )

    def _near(self, *wanted: str) -> Iterator[tuple[Feature, float]]:
        if wanted not in self._found_near:
            here = self.local.in_region(self.line.buffer(self.half_m), *wanted)
            self._found_near[wanted] = [(f, float(shapely.distance(self.line, f.shape))) for f in here]
        yield from self._found_near[wanted]

    def _needed(self, depth_m: float, zone: str) -> tuple[float, float]:
        """Return (margin of water over what is needed, allowance for the survey) for a charted depth."""
        fixed, share = DEPTH_ERROR_M[zone]
        allowance = fixed + share * max(depth_m, 0.0)
        squat = squat_m(self._speed, self.boat.draught_m, depth_m + (self._tide_m or 0.0))
        need = self.boat.draught_m + squat + self.boat.skipper.depth_margin_m
        return depth_m + (self._tide_m or 0.0) - need, allowance

    def _zone(self, shape: shapely.Geometry) -> str:
        if id(shape) not in self._zones:
            point = shapely.get_point(shapely.shortest_line(shape, self.line), 0)
            self._zones[id(shape)] = self.local.quality_at(point.x, point.y).catzoc
        return self._zones[id(shape)]

    def _place_sigma_m(self, feature: Feature) -> float:
        if id(feature.shape) not in self._sigmas:
            point = shapely.point_on_surface(feature.shape)
            self._sigmas[id(feature.shape)] = self.local.quality_at(point.x, point.y).position_sigma_m
        return self._sigmas[id(feature.shape)]

    # ---- what is asked of the chart ----

    def coverage(self) -> Iterator[LegDanger]:
        if self._uncovered is None:
            self._uncovered = shapely.difference(self.line, self.local.coverage)
        outside = self._uncovered
        if not shapely.is_empty(outside) and outside.length > 1.0:
            say = f"no chart covers {outside.length / 1852:.2f} NM of the track"
            yield self._danger("chart ends", outside, "stops", say)
        if self._unsaid is None:
            self._unsaid = self._without_depth(outside)
        if not shapely.is_empty(self._unsaid):
            say = f"the chart gives no depth along {self._unsaid.length:.0f} m of the track"
            yield self._danger("unsurveyed", self._unsaid, "stops", say)

    def _without_depth(self, outside: shapely.Geometry) -> shapely.Geometry:
        """Return what of the track is charted and yet has no area that says what is there.

        An official cell leaves no such gap (see `classes.SOLID_ON_WATER`); a chart made by others may.
        """
        said = self.local.in_region(self.line, "LNDARE", *_DEPTH_AREAS, "UNSARE", *SOLID_ON_WATER)
        areas = [f.shape for f in said if shapely.get_dimensions(f.shape) == 2]
        # Areas that meet leave slivers between them where cells of two scales join; no water is as narrow as that.
        left = shapely.difference(shapely.difference(self.line, outside), shapely.union_all(areas))
        return shapely.union_all([part for part in shapely.get_parts(left) if part.length > SEAM_M])

    def depths(self) -> Iterator[LegDanger]:
        for feature, off in self._near("LNDARE", *_DEPTH_AREAS, "UNSARE"):
            if shapely.get_dimensions(feature.shape) < 2 and feature.object != "LNDARE":
                continue
            if feature.object == "LNDARE":
                weight: Weight = "stops" if off <= TRACK_M else "note"
                say = f"land{_named(feature)}"
                if off <= self.boat.skipper.keep_off_m / 2:
                    yield self._danger("land", feature.shape, weight, say, feature)
                continue
            if off > TRACK_M:
                continue  # the corridor's depth areas would be the whole chart; only the track's speak
            depth = None if feature.object == "UNSARE" else feature.number("DRVAL1")
            if depth is None:
                say = "water that was never surveyed"
                yield self._danger("unsurveyed", feature.shape, "stops" if off == 0 else "against", say, feature)
                continue
            yield from self._shoal(feature, depth, off)
        for feature, off in self._near("SOUNDG"):
            depth = feature.number("DEPTH")
            if depth is not None and off <= 2 * TRACK_M:
                yield from self._shoal(feature, depth, off)

    def _shoal(self, feature: Feature, depth_m: float, off: float) -> Iterator[LegDanger]:
        margin, allowance = self._needed(depth_m, self._zone(feature.shape))
        if margin - allowance >= 0.0:
            return
        tide = "tide not known" if self._tide_m is None else f"tide {self._tide_m:.1f} m"
        kind: DangerKind = "dries" if depth_m < 0 else "shoal"
        words = f"dries {-depth_m:.1f} m" if depth_m < 0 else f"charted {depth_m:.1f} m"
        if margin < 0.0:
            say = f"{words}, {tide}: {-margin:.1f} m too little"
            yield self._danger(kind, feature.shape, "stops", say, feature, depth_m, margin)
        else:
            error = f"less than the survey's own {allowance:.1f} m error"
            say = f"{words}, {tide}: {margin:.1f} m over what she needs, {error}"
            yield self._danger(kind, feature.shape, "against", say, feature, depth_m, margin)

    def points(self) -> Iterator[LegDanger]:
        for feature, off in self._near(*_POINTS):
            depth = danger_depth_m(feature)
            kind = _POINTS[feature.object]
            margin = allowance = None
            if depth is not None:
                margin, allowance = self._needed(depth, self._zone(feature.shape))
                if margin - allowance >= 0.0:
                    continue
            near = off <= TRACK_M + self._place_sigma_m(feature)
            words = "depth not charted" if depth is None else f"charted {depth:.1f} m"
            weight: Weight = "stops" if near else "against" if off <= CORRIDOR_M else "note"
            say = f"{kind}{_named(feature)}, {words}"
            yield self._danger(kind, feature.shape, weight, say, feature, depth, margin)

    def solids(self) -> Iterator[LegDanger]:
        for feature, off in self._near(*_SOLID):
            if feature.number("WATLEV") == 3:
                continue  # always under water: its depth area or obstruction speaks
            weight: Weight = "stops" if off <= self.boat.beam_m else "against" if off <= TRACK_M else "note"
            if off <= CORRIDOR_M:
                say = f"{_OBJECT_WORDS[feature.object]}{_named(feature)}"
                yield self._danger("structure", feature.shape, weight, say, feature)

    def overhead(self) -> Iterator[LegDanger]:
        for bridge in self.local.bridges:
            met = [span for span in bridge.spans if shapely.intersects(self.line, span.shape)]
            if not met and not shapely.intersects(self.line, bridge.shape):
                continue
            for span in met or bridge.spans[:1]:
                feature = Feature("BRIDGE", bridge.cell, span.feature, span.shape, span.attributes, 0)
                yield self._bridge(feature, bridge.name, span)
        for feature, off in self._near("CBLOHD", "PIPOHD", "CONVYR"):
            if off > 0.0:
                continue
            safe, plain = feature.number("VERCSA"), feature.number("VERCLR")
            least = BRIDGE_MARGIN_M if safe is not None else CABLE_MARGIN_M
            clear = plain if safe is None else safe
            margin = None if clear is None else clear - self._over_high_m - self.boat.air_draught_m - least
            weight: Weight = "stops" if margin is None or margin < 0 else "note"
            room = "clearance not charted" if clear is None else f"clearance {clear:.1f} m{self._less()}"
            say = f"overhead cable{_named(feature)}, {room}, the boat needs {self.boat.air_draught_m + least:.1f} m"
            yield self._danger("cable", feature.shape, weight, say, feature, None, margin)

    def _bridge(self, feature: Feature, name: str | None, span: Span) -> LegDanger:
        need = self.boat.air_draught_m + BRIDGE_MARGIN_M
        title = f"bridge {name}" if name else "bridge"
        clear, opened = span.clearance_m, span.clearance_open_m
        margin = None if clear is None else clear - self._over_high_m - need
        room = "clearance not charted" if clear is None else f"{clear:.1f} m clear{self._less()}"
        if margin is not None and margin >= 0.0:
            say = f"{title}, {room}, the boat needs {need:.1f} m"
            return self._danger("bridge", feature.shape, "note", say, feature, None, margin)
        if span.opens and (opened is None or opened - self._over_high_m >= need):
            say = f"{title}, {room} closed: it must open for {need:.1f} m"
            return self._danger("bridge", feature.shape, "against", say, feature, None, margin)
        say = f"{title}, {room}, the boat needs {need:.1f} m"
        return self._danger("bridge", feature.shape, "stops", say, feature, None, margin)

    def _less(self) -> str:
        if self._over_high_m < 0.05:
            return ""
        return f" less {self._over_high_m:.1f} m of tide above mean high water"

    def noted(self) -> Iterator[LegDanger]:
        for feature, off in self._near(*_NOTED):
            kind = _NOTED[feature.object]
            if off > (CORRIDOR_M if kind == "fish farm" else 0.0):
                continue
            yield self._area(feature, kind, off)

    def _area(self, feature: Feature, kind: DangerKind, off: float) -> LegDanger:
        weight: Weight = "note"
        say = f"{kind}{_named(feature)}"
        if kind == "restricted":
            restrictions = {int(code) for code in feature.attributes.get("RESTRN", ())}
            # RESTRN 7 entry prohibited, 14 area to be avoided; 8 entry restricted: S-57 appendix A, attribute 131.
            weight = "stops" if 7 in restrictions else "against" if restrictions & {8, 14} else "note"
            words = [RESTRICTIONS[code] for code in sorted(restrictions) if code in RESTRICTIONS]
            say = f"restricted area{_named(feature)}: {', '.join(words) or 'what is restricted is not charted'}"
        elif kind == "fish farm":
            weight = "stops" if off == 0.0 else "against"
        elif kind == "fairway":
            say = f"crosses or follows fairway{_named(feature)}: Rule 9, do not impede"
        elif kind == "traffic scheme":
            say = f"traffic separation{_named(feature)}: Rule 10"
        return self._danger(kind, feature.shape, weight, say, feature)


# RESTRN in words: S-57 appendix A, attribute 131.
RESTRICTIONS: dict[int, str] = {
    1: "anchoring prohibited", 2: "anchoring restricted", 3: "fishing prohibited", 4: "fishing restricted",
    5: "trawling prohibited", 6: "trawling restricted", 7: "entry prohibited", 8: "entry restricted",
    9: "dredging prohibited", 10: "dredging restricted", 11: "diving prohibited", 12: "diving restricted",
    13: "no wake", 14: "to be avoided", 27: "speed restricted",
}  # fmt: skip

_OBJECT_WORDS = {
    "SLCONS": "shore structure", "PONTON": "pontoon", "PILPNT": "pile", "MORFAC": "mooring structure",
    "OFSPLF": "platform", "CAUSWY": "causeway", "DAMCON": "dam", "HULKES": "hulk", "FLODOC": "floating dock",
    "GATCON": "gate",
}  # fmt: skip


def _named(feature: Feature) -> str:
    return f" {feature.name}" if feature.name else ""
