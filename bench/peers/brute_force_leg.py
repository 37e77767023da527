"""A leg held by brute force against every feature of a cell, for `bench.plans.plan_truth`: shapely, nothing of ours.

The rules are stated here a second time, from the manual's words, so that an error in the engine is not repeated: only
its types of answer are known here.  Numbers: docs/night-plan.md and docs/judgement.md section 9.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyproj
import shapely
from pyproj.enums import TransformDirection

from bench.peers.brute_force_cell import Cell, Thing, codes, number

TRACK, CORRIDOR, SWING = 25.0, 150.0, 12.0
GEOD = pyproj.Geod(ellps="WGS84")
ZONE = {1: "A1", 2: "A2", 3: "B", 4: "C", 5: "D", 6: "U"}
WORST = ["A1", "A2", "B", "C", "D", "U"]
DEPTH_ERROR = {"A1": (0.5, 0.01), "A2": (1.0, 0.02), "B": (1.0, 0.02), "C": (2.0, 0.05), "D": (2.0, 0.05)}
DEPTH_ERROR["U"] = (2.0, 0.05)
PLACE_95 = {"A1": 5.0, "A2": 20.0, "B": 50.0, "C": 500.0, "D": 1000.0}
SIGMAS = math.sqrt(-2.0 * math.log(0.05))

FLOATING = {"BOYCAR", "BOYINB", "BOYISD", "BOYLAT", "BOYSAW", "BOYSPP", "LITFLT", "LITVES"}
BEACONS = {"BCNCAR", "BCNISD", "BCNLAT", "BCNSAW", "BCNSPP"}
STANDING = {*BEACONS, "LNDMRK", "OFSPLF", "MORFAC", "PILPNT", "PYLONS", "FSHFAC", "MARCUL", "HULKES", "SLCONS"}
FITTINGS = {"LIGHTS", "DAYMAR", "RTPBCN", "RADRFL"}
BUILT = {
    "SLCONS", "PONTON", "PILPNT", "MORFAC", "OFSPLF", "CAUSWY", "DAMCON", "HULKES", "FLODOC", "GATCON", "DYKCON",
    "PYLONS", "OILBAR", "GRIDRN", "RAPIDS", "WATFAL", "FSHFAC", "MARCUL",
}  # fmt: skip
SPEAK_AGAINST = {"MIPARE", "CTNARE", "PRCARE", "SPLARE", "TSEZNE", "WATTUR", "OSPARE", "ICEARE", "ICNARE", "LOGPON"}
SUNKEN = {"UWTROC", "WRECKS", "OBSTRN"}
# Within this of a route's end she lies alongside what is made for it.
BERTHING = 30.0


@dataclass(frozen=True)
class Found:
    """What brute force says of one thing; ``doubt_m``: how near its distance is to where the answer changes."""

    weight: str
    cls: str
    ident: str
    lonlat: tuple[float, float]
    off_m: float
    doubt_m: float


@dataclass(frozen=True)
class Hull:
    """The boat's figures that count."""

    draught: float
    margin: float
    air: float
    beam: float
    sigma: float

    def under_keel(self, depth: float, speed: float) -> float:
        """Water left at chart datum."""
        squat = 0.5 * (speed * 3600.0 / 1852.0) ** 2 / 100.0 * (2.0 if depth < 2.0 * self.draught else 1.0)
        return depth - self.draught - min(squat, self.draught / 3.0) - self.margin


class Leg:
    """One leg held against every feature near it."""

    def __init__(
        self, cell: Cell, hull: Hull, start: tuple[float, float], end: tuple[float, float], speed: float,
        reach_deg: float = 0.03, berths: Sequence[tuple[float, float]] = (),
    ) -> None:  # fmt: skip
        self.cell, self.hull, self.speed = cell, hull, speed
        self.swept = 0.5 * hull.beam + hull.sigma
        azimuth, _, length = GEOD.inv(start[1], start[0], end[1], end[0])
        steps = np.linspace(0.0, length, max(2, int(length / 200.0) + 2))
        n = len(steps)
        lon, lat, _ = GEOD.fwd([start[1]] * n, [start[0]] * n, [azimuth] * n, steps)
        middle = n // 2
        crs = pyproj.CRS.from_proj4(f"+proj=aeqd +lat_0={lat[middle]} +lon_0={lon[middle]} +datum=WGS84 +units=m")
        self.turn = pyproj.Transformer.from_crs("OGC:CRS84", crs, always_xy=True)
        self.line = shapely.LineString(np.column_stack(self.turn.transform(lon, lat)))
        box = shapely.LineString(np.column_stack([lon, lat])).buffer(
            reach_deg / max(math.cos(math.radians(lat[0])), 0.1)
        )
        self.near = [self._here(cell.things[i]) for i in cell.tree.query(box)]
        self.zones = [t for t in self.near if t.cls == "M_QUAL" and t.shape.geom_type.endswith("Polygon")]
        self.track = self.line.buffer(TRACK, quad_segs=32)
        near_berths = [self.to_plane(*place).buffer(BERTHING) for place in berths]
        self.berths = [self.to_plane(*place) for place in berths]
        self.before = self.line.difference(shapely.union_all(near_berths)) if berths else self.line
        self.land = shapely.union_all([t.shape for t in self.near if t.cls == "LNDARE" and _is_area(t)])

    def _here(self, thing: Thing) -> Thing:
        def move(xy: np.ndarray) -> np.ndarray:
            return np.column_stack(self.turn.transform(xy[:, 0], xy[:, 1]))

        shape = shapely.transform(thing.shape, move)
        return Thing(thing.cls, thing.ident, thing.given, shape if shape.is_valid else shapely.make_valid(shape))

    def found(self) -> Iterator[Found]:
        """Yield what refuses the leg or speaks against it."""
        outside = shapely.difference(shapely.transform(self.line, self._back), self.cell.coverage)
        if not outside.is_empty and GEOD.geometry_length(outside) > 2.0:
            yield Found("stops", "chart ends", "", outside.coords[0] if outside.geom_type == "LineString" else
                        outside.geoms[0].coords[0], 0.0, 99.0)  # fmt: skip
        marks = self._marks()
        for thing in self.near:
            off = float(self.line.distance(thing.shape))
            if off > 1200.0:
                continue
            for weight, limit in self._weigh(thing, off):
                yield self._told(thing, weight, off, limit)
        yield from marks

    def closed(self) -> shapely.Geometry:
        """Return the water near the leg that no track may go through: whatever would refuse one right over it."""
        out = []
        for thing in self.near:
            if thing.cls == "BRIDGE":
                refuses = any(weight == "stops" for weight, _ in self._bridge(thing, 0.0))
            else:
                refuses = any(weight == "stops" for weight, _ in self._weigh(thing, 0.0))
            if refuses:
                out.append(thing.shape.buffer(self._reach(thing), quad_segs=4))
        out += [t.shape.centroid.buffer(self.swept, quad_segs=4) for t in self.near if t.cls in BEACONS]
        return shapely.union_all(out)

    def _reach(self, t: Thing) -> float:
        """Return how near a track may come to a thing that refuses one."""
        if t.cls in ("LNDARE", "DEPARE", "DRGARE", "SOUNDG"):
            return TRACK
        if t.cls in SUNKEN or (t.cls in BUILT and t.given.get("WATLEV") == 3):
            return TRACK + self._place_sigma(t)
        return self.swept if t.cls in BUILT or t.cls in ("BRIDGE", "CBLOHD", "PIPOHD", "CONVYR") else 0.0

    def to_plane(self, lat: float, lon: float) -> shapely.Point:
        """Return a place in the plane of the leg."""
        return shapely.Point(self.turn.transform(lon, lat))

    def _back(self, xy: np.ndarray) -> np.ndarray:
        return np.column_stack(self.turn.transform(xy[:, 0], xy[:, 1], direction=TransformDirection.INVERSE))

    def _told(self, thing: Thing, weight: str, off: float, doubt: float) -> Found:
        point = shapely.shortest_line(self.line, thing.shape).coords[1]
        lon, lat = self.turn.transform(point[0], point[1], direction=TransformDirection.INVERSE)
        return Found(weight, thing.cls, thing.ident, (lon, lat), off, doubt)

    def _weigh(self, t: Thing, off: float) -> Iterator[tuple[str, float]]:
        """Yield (weight, how near the distance is to a limit)."""
        g, cls = t.given, t.cls
        if cls == "LNDARE":
            if off <= TRACK:
                yield ("against" if self._alongside(t, off, TRACK) else "stops"), abs(off - TRACK)
        elif cls in ("DEPARE", "DRGARE", "UNSARE"):
            depth = None if cls == "UNSARE" else number(g, "DRVAL1")
            if off > TRACK or not _is_area(t):
                return
            if depth is None:
                yield ("stops" if off == 0.0 else "against"), min(abs(off - TRACK), off if off > 0 else 99.0)
            else:
                yield from self._depth(depth, t, abs(off - TRACK))
        elif cls == "SOUNDG":
            if off <= TRACK and "DEPTH" in g:
                yield from self._depth(float(g["DEPTH"]), t, abs(off - TRACK))
        elif cls == "MORFAC" and g.get("CATMOR") in (3, 4, 6):
            return
        elif cls in SUNKEN or (cls in BUILT and g.get("WATLEV") == 3):
            if g.get("WATLEV") != 7:
                yield from self._sunken(t, off)
        elif cls in BUILT and not _is_markable(t):
            if off <= self.swept:
                yield ("against" if self._alongside(t, off, self.swept) else "stops"), abs(off - self.swept)
            elif off <= TRACK or (cls in ("FSHFAC", "MARCUL") and off <= CORRIDOR):
                yield "against", min(abs(off - limit) for limit in (self.swept, TRACK, CORRIDOR))
        elif cls == "BRIDGE":
            yield from self._bridge(t, off)
        elif cls in ("CBLOHD", "PIPOHD", "CONVYR"):
            if off <= self.swept:
                safe, plain = number(g, "VERCSA"), number(g, "VERCLR")
                room = safe - 0.5 if safe is not None else plain - 5.0 if plain is not None else None
                if room is None or room < self.hull.air:
                    yield "stops", abs(off - self.swept)
        elif off <= (TRACK if t.shape.geom_type == "Point" else 0.0):
            restricted = codes(g.get("RESTRN"))
            if cls in SPEAK_AGAINST or cls in KNOWN_AREAS:
                if 7 in restricted:
                    yield "stops", 99.0
                elif restricted & {8, 14} or cls in SPEAK_AGAINST or (cls == "RESARE" and not restricted):
                    yield "against", abs(off - TRACK)

    def _depth(self, depth: float, t: Thing, doubt: float) -> Iterator[tuple[str, float]]:
        left = self.hull.under_keel(depth, self.speed)
        fixed, share = DEPTH_ERROR[self._zone(t)]
        if left < 0.0:
            yield "stops", doubt
        elif left - fixed - share * max(depth, 0.0) < 0.0:
            yield "against", doubt

    def _sunken(self, t: Thing, off: float) -> Iterator[tuple[str, float]]:
        g = t.given
        depth = number(g, "VALSOU")
        if depth is None and t.cls in SUNKEN:
            shows = g.get("WATLEV") in (1, 2, 4, 5) or (t.cls == "WRECKS" and g.get("CATWRK") in (4, 5))
            depth = 0.0 if shows else None
        if depth is not None:
            left = self.hull.under_keel(depth, self.speed)
            fixed, share = DEPTH_ERROR[self._zone(t)]
            if left - fixed - share * max(depth, 0.0) >= 0.0:
                return
        reach = TRACK + self._place_sigma(t)
        if off <= reach:
            yield "stops", abs(off - reach)
        elif off <= CORRIDOR:
            yield "against", min(abs(off - reach), abs(off - CORRIDOR))

    def _zone(self, t: Thing) -> str:
        part = t.shape.intersection(self.track) if _is_area(t) else t.shape
        part = t.shape if part.is_empty else part
        over = [z for z in self.zones if z.shape.intersects(part) and not z.shape.touches(part)]
        if not over:
            return "U"
        rest = part.difference(shapely.union_all([z.shape for z in over]))
        if (rest.area if _is_area(t) else rest.length) > 1e-3 * max(part.area if _is_area(t) else part.length, 1.0):
            return "U"
        return max((ZONE[int(z.given.get("CATZOC", 6))] for z in over), key=WORST.index)

    def _place_sigma(self, t: Thing) -> float:
        point = t.shape.point_on_surface()
        over = [z for z in self.zones if z.shape.intersects(point)]
        plotted = 0.3e-3 * self.cell.scale
        sigma = 1.0e-3 * self.cell.scale
        if over:
            worst = max(over, key=lambda z: WORST.index(ZONE[int(z.given.get("CATZOC", 6))]))
            zone, stated = ZONE[int(worst.given.get("CATZOC", 6))], number(worst.given, "POSACC")
            if stated:
                sigma = stated / SIGMAS
            elif zone != "U":
                depths = [
                    d for n in self.near
                    if n.cls in ("DEPARE", "DRGARE") and _is_area(n) and n.shape.intersects(point)
                    and (d := number(n.given, "DRVAL1")) is not None
                ]  # fmt: skip
                at_95 = PLACE_95[zone] + (0.05 * max(max(depths, default=0.0), 0.0) if zone == "A1" else 0.0)
                sigma = at_95 / SIGMAS
        if t.given.get("QUAPOS") in (4, 5, 6, 7, 8, 9):
            sigma = max(sigma, 3.0e-3 * self.cell.scale)
        return max(sigma, plotted)

    def _bridge(self, t: Thing, off: float) -> Iterator[tuple[str, float]]:
        g = t.given
        if off > self.swept:
            return
        if off > 0.0:
            # Beside a bridge that is passed under elsewhere, its other spans say nothing.
            bridge, grown = t.shape, True
            spans = [n.shape for n in self.near if n.cls == "BRIDGE"]
            while grown:
                joined = shapely.union_all([bridge, *(s for s in spans if s.distance(bridge) <= 3.0)])
                grown, bridge = not joined.equals(bridge), joined
            if bridge.intersects(self.line):
                return
        closed, opened, fixed = (number(g, name) for name in ("VERCCL", "VERCOP", "VERCLR"))
        opens = bool(codes(g.get("CATBRG")) & {2, 3, 4, 5, 7}) or closed is not None or opened is not None
        clear = closed if opens and closed is not None else fixed
        need = self.hull.air + 0.5
        wide = number(g, "HORCLR")
        if wide is not None and wide < self.hull.beam:
            yield "stops", 99.0
        elif clear is not None and clear >= need:
            return
        elif opens and (opened is None or opened >= need):
            yield "against", 99.0
        else:
            yield "stops", 99.0

    def _alongside(self, t: Thing, off: float, limit: float) -> bool:
        """Whether the boat lies at a thing, or at the quay before that land, where the route begins or ends."""
        if not self.berths or off < 0.5 * self.hull.beam:
            return False
        if not self.before.is_empty and self.before.distance(t.shape) <= limit:
            return False
        if t.cls != "LNDARE":
            return _is_quay(t)
        quays = [n.shape for n in self.near if _is_quay(n)]
        ways = [shapely.shortest_line(b, t.shape) for b in self.berths if b.distance(t.shape) <= BERTHING + limit]
        return all(any(q.distance(way) <= 3.0 for q in quays) for way in ways)

    # ---- marks: each physical thing, its parts put together ----

    def _marks(self) -> list[Found]:
        parts = [t for t in self.near if _is_markable(t) and self.line.distance(t.shape) < 400.0]
        spots = [t.shape.centroid for t in parts]
        names = {t.given["LNAM"]: i for i, t in enumerate(parts) if "LNAM" in t.given}
        group = list(range(len(parts)))

        def root(i: int) -> int:
            while group[i] != i:
                i = group[i]
            return i

        for i, t in enumerate(parts):
            for j in range(i):
                if spots[i].distance(spots[j]) <= 1.0:
                    group[root(i)] = root(j)
            for ref in re.findall(r"\b[0-9A-Fa-f]{16}\b", str(t.given.get("LNAM_REFS", ""))):
                if ref in names:
                    group[root(i)] = root(names[ref])
        things: dict[int, list[Thing]] = {}
        for i, t in enumerate(parts):
            things.setdefault(root(i), []).append(t)
        out = []
        for members in things.values():
            found = self._mark(members)
            if found is not None:
                out.append(found)
        return out

    def _mark(self, members: list[Thing]) -> Found | None:
        classes = {t.cls for t in members}
        bodies = [t for t in members if t.cls in FLOATING | BEACONS] or [
            t for t in members if t.cls in STANDING or (t.cls == "OBSTRN" and t.given.get("WATLEV") == 7)
        ]  # fmt: skip
        if not bodies and classes & (SUNKEN | {"LNDARE"}):
            return None  # a light on a rock or an islet: those are told by themselves
        if not bodies:
            bodies = [t for t in members if t.cls in ("CRANES", "SILTNK", "BUISGL", *FITTINGS)]
            if not bodies:
                return None
            if all(t.cls in ("LIGHTS", "DAYMAR", "RADRFL") for t in bodies):
                carriers = [n.shape for n in self.near if n.cls in ("BRIDGE", "SLCONS", "PONTON")]
                if any(c.distance(bodies[0].shape) <= 5.0 for c in carriers):
                    return None
        body = bodies[0]
        floats = body.cls in FLOATING or (body.cls == "MORFAC" and body.given.get("CATMOR") == 7)
        floats |= body.cls == "OBSTRN"
        lit = any(t.cls == "LIGHTS" and not codes(t.given.get("STATUS")) & {4, 11} for t in members)
        if not floats and self.land.contains(body.shape.centroid):
            return None
        off = float(self.line.distance(body.shape))
        if off > CORRIDOR:
            return None
        if floats:
            reach = self.swept + SWING
            weight = "against" if off <= reach or not lit else None
            limits = [reach, CORRIDOR]
        else:
            refuses = off <= self.swept and not self._alongside(body, off, self.swept)
            weight = "stops" if refuses else "against" if off <= TRACK or not lit else None
            limits = [self.swept, TRACK, CORRIDOR]
        if weight is None:
            return None
        return self._told(body, weight, off, min(abs(off - limit) for limit in limits))


KNOWN_AREAS = {
    "RESARE", "CBLARE", "PIPARE", "DMPGRD", "ACHARE", "ACHBRT", "FAIRWY", "FERYRT", "TSSLPT", "TSSCRS", "TSSRON",
    "ISTZNE", "DWRTPT", "TWRTPT", "SNDWAV", "FSHGRD", "CTSARE", "SUBTLN", "WEDKLP",
}  # fmt: skip


def _is_quay(t: Thing) -> bool:
    if t.cls == "SLCONS":
        return t.given.get("CATSLC") in (4, 6, 11, 14, 15, 16)
    return t.cls in ("PONTON", "HULKES", "MORFAC", "PILPNT")


def _is_area(t: Thing) -> bool:
    return t.shape.geom_type in ("Polygon", "MultiPolygon")


def _is_markable(t: Thing) -> bool:
    """A thing small enough to be one mark, that shows above water or floats."""
    g, cls = t.given, t.cls
    if cls not in FLOATING | STANDING | FITTINGS | SUNKEN | {"LNDARE", "CRANES", "SILTNK", "BUISGL", "FOGSIG"}:
        return False
    if t.shape.geom_type not in ("Point", "MultiPoint"):
        west, south, east, north = t.shape.bounds
        small = {"OFSPLF", "MORFAC", "PILPNT", "PYLONS", "FSHFAC", "MARCUL", "HULKES", "WRECKS", "OBSTRN", "LNDMRK"}
        if cls not in small or max(east - west, north - south) > 30.0:
            return False
    if cls in ("CRANES", "SILTNK", "BUISGL"):
        return g.get("CONRAD") in (1, 3)
    if cls == "MORFAC":
        return g.get("CATMOR") not in (3, 4, 6)
    if cls == "WRECKS":
        return g.get("CATWRK") in (4, 5) or g.get("WATLEV") in (1, 2, 4)
    if cls in ("UWTROC", "OBSTRN"):
        return g.get("WATLEV") in (1, 2, 4, 7)
    if cls == "MARCUL":
        return g.get("WATLEV") in (1, 2, 4, 7) or (g.get("WATLEV") is None and g.get("VALSOU") is None)
    if cls in ("FSHFAC", "PILPNT", "OFSPLF", "HULKES", "SLCONS"):
        return g.get("WATLEV") != 3
    return True
