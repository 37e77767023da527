"""Land, depths, contours and soundings: everything drawn from the ground itself."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely

from waters import ground as g
from waters.ground import Floats
from waters.layers import Waters, point
from waters.lines import above, lines, polygons, tidy

# Metres above chart datum, from the highest down.
LAND_LEVELS_M = (30.0, 20.0, 10.0, 5.0)
DEPTH_LEVELS_M = (0.0, -2.0, -5.0, -10.0, -20.0, -30.0)
DEEPEST_M = 120.0
# The field is made a little wider than the chart, so that no line of it ends short.
LIMITS = shapely.box(-8_000.0, -6_000.0, 8_000.0, 6_000.0)


@dataclass(frozen=True, slots=True)
class Ground:
    """The height field and the polygons cut from it; metres."""

    field: Floats
    land: shapely.Geometry
    dredged: shapely.Geometry  # channel and basin
    over: dict[float, shapely.Geometry]  # level -> all that lies above it, land and works included

    def height(self, east_m: float, north_m: float) -> float:
        """Return the ground's height at a place."""
        return float(g.height_at(self.field, np.array([east_m]), np.array([north_m]))[0])

    def first_below(self, east_m: float, north_m: float, bearing_deg: float, level_m: float) -> tuple[float, float]:
        """Walk along a bearing until the ground is lower than a level; return that place."""
        step_e, step_n = 4.0 * np.sin(np.radians(bearing_deg)), 4.0 * np.cos(np.radians(bearing_deg))
        for _ in range(600):
            if self.height(east_m, north_m) < level_m:
                return east_m, north_m
            east_m, north_m = east_m + step_e, north_m + step_n
        raise ValueError(f"the ground nowhere falls below {level_m} m on bearing {bearing_deg}")


def cut(field: Floats, reclaimed: shapely.Geometry) -> Ground:
    """Cut the field into nested polygons; ``reclaimed`` land is added to what nature made."""
    east, north = g.axes()
    land = shapely.union(tidy(above(field, east, north, g.COAST_M), 2.5, 350.0), reclaimed)
    over = {}
    higher = land
    for level in DEPTH_LEVELS_M:
        shape = tidy(above(field, east, north, level), 3.0 if level >= -2.0 else 7.0, 1_500.0)
        # Thinning may let a line stray across its neighbour; the shallower one has the right of way.
        higher = shapely.intersection(shapely.union(shape, higher), LIMITS)
        over[level] = higher
    channel = shapely.LineString(np.asarray(g.CHANNEL_KM) * 1000.0).buffer(
        g.CHANNEL_HALF_M, cap_style="flat", join_style="mitre"
    )
    basin = shapely.Polygon(np.asarray(g.BASIN_KM) * 1000.0)
    dredged = shapely.difference(shapely.union(channel, basin), over[0.0])
    return Ground(field, land, dredged, over)


def add_land(waters: Waters, ground: Ground) -> None:
    """LNDARE, COALNE, LNDELV, VEGATN, LNDRGN."""
    for part in polygons(ground.land):
        island = _island_of(part)
        waters.add("LNDARE", part, OBJNAM=island.name if island else None)
        plant = island.vegetation if island else "bush"
        coast = {"mangrove": 7, "palm": 3, "bush": 4, "bare": 9}[plant]
        for ring in [part.exterior, *part.interiors]:
            waters.add("COALNE", shapely.LineString(ring.coords), CATCOA=coast)
        if plant in ("mangrove", "bush", "palm"):
            inner = tidy(shapely.buffer(part, -22.0), 6.0, 3_000.0)
            codes = {"mangrove": ("21", 5.0), "palm": ("16", 9.0), "bush": ("3", 3.0)}
            for stand in polygons(inner):
                waters.add("VEGATN", stand, CATVEG=codes[plant][0], HEIGHT=codes[plant][1])
    east, north = g.axes()
    for level in LAND_LEVELS_M:
        high = tidy(above(ground.field, east, north, level), 4.0, 4_000.0)
        for part in polygons(shapely.intersection(high, ground.land)):
            waters.add("LNDELV", shapely.LineString(part.exterior.coords), ELEVAT=level)
    for part in polygons(ground.land, 3_000.0):
        summit = _summit(ground, part)
        waters.add("LNDELV", point(summit[0], summit[1]), ELEVAT=round(summit[2], 1))
    for name, e, n, kind in (
        ("Thimble Hill", 4.95, -3.15, None),
        ("Bobbin Point", -0.67, 0.80, None),
        ("Narrows Point", 3.46, -1.90, None),
        ("Sootmarsh", 4.70, -0.45, "12"),
    ):
        waters.add("LNDRGN", point(e * 1000.0, n * 1000.0), OBJNAM=name, CATLND=kind)


def _island_of(part: shapely.Geometry) -> g.Island | None:
    best, found = 150.0, None
    for island in g.ISLANDS:
        spine = shapely.LineString([(e * 1000.0, n * 1000.0) for e, n, _ in island.spine])
        distance = shapely.distance(spine, part)
        # The largest island to touch gives the name: Narrows Point belongs to Great Tallow.
        if distance < best or (distance == best == 0.0 and found and island.top_m > found.top_m):
            best, found = distance, island
    return found


def _summit(ground: Ground, part: shapely.Geometry) -> tuple[float, float, float]:
    west, south, east, north = part.bounds
    e, n = np.meshgrid(np.arange(west, east, 10.0), np.arange(south, north, 10.0))
    z = g.height_at(ground.field, e.ravel(), n.ravel())
    z = np.where(shapely.contains_xy(part, e.ravel(), n.ravel()), z, -1e9)
    best = int(np.argmax(z))
    return float(e.ravel()[best]), float(n.ravel()[best]), float(z[best])


def add_depths(waters: Waters, ground: Ground) -> None:
    """DEPARE, DRGARE, DEPCNT, SOUNDG, UWTROC, SBDARE, SEAARE."""
    wet = shapely.difference(LIMITS, ground.land)
    previous = ground.land
    bounds = [g.COAST_M, *DEPTH_LEVELS_M, -DEEPEST_M]
    for upper, lower in itertools.pairwise(bounds):
        band = (
            shapely.difference(ground.over.get(lower, wet), previous)
            if lower > -DEEPEST_M
            else (shapely.difference(wet, previous))
        )
        previous = ground.over.get(lower, wet)
        for part in polygons(shapely.difference(band, ground.dredged), 20.0):
            waters.add("DEPARE", part, DRVAL1=-upper + 0.0, DRVAL2=-lower + 0.0)
    channel = shapely.LineString(np.asarray(g.CHANNEL_KM) * 1000.0).buffer(g.CHANNEL_HALF_M, cap_style="flat")
    cut_channel = shapely.intersection(ground.dredged, channel)
    for part in polygons(cut_channel, 100.0):
        waters.add("DRGARE", part, DRVAL1=g.DREDGED_M, DRVAL2=g.DREDGED_M, QUASOU="10", OBJNAM="Lampwick Reach")
    for part in polygons(shapely.difference(ground.dredged, channel), 100.0):
        waters.add("DRGARE", part, DRVAL1=g.BASIN_M, DRVAL2=g.BASIN_M, QUASOU="10", OBJNAM="Lampwick Basin")
    inside = shapely.buffer(LIMITS, -5.0)
    for level in DEPTH_LEVELS_M:
        edge = shapely.difference(
            shapely.intersection(shapely.boundary(ground.over[level]), inside),
            shapely.union(shapely.buffer(ground.land, 0.5), shapely.buffer(ground.dredged, 0.5)),
        )
        for line in lines(edge):
            if line.length > 60.0:
                waters.add("DEPCNT", line, VALDCO=-level + 0.0)
    _add_soundings(waters, ground)
    for name, e, n in (
        ("Tallow Sound", 0.1, 0.2),
        ("Lampwick Reach", 2.4, -1.12),
        ("Lampwick Harbour", 4.45, -1.85),
        ("Ashpan Flats", 2.45, -1.72),
        ("Combings Reef", 1.3, 3.8),
        *[(s.name, s.east_km, s.north_km) for s in g.SHOALS if s.name],
    ):
        waters.add("SEAARE", point(e * 1000.0, n * 1000.0), OBJNAM=name)
    for e, n, code in ((-3.2, 2.2, "14"), (0.0, 0.4, "4"), (1.3, 3.55, "14"), (4.4, -1.3, "1"), (2.2, -1.55, "1")):
        waters.add("SBDARE", point(e * 1000.0, n * 1000.0), NATSUR=code)


def _add_soundings(waters: Waters, ground: Ground) -> None:
    """Spot depths on a jittered grid, closer where it is shallow; each agrees with the area it lies in."""
    rng = np.random.default_rng(g.SEED + 1)
    areas = waters.features["DEPARE"] + waters.features["DRGARE"]
    tree = shapely.STRtree([shape for shape, _ in areas])
    groups: dict[int, list[tuple[float, float, float]]] = {}
    taken: list[tuple[float, float]] = []
    for spacing, shallow, deep in ((170.0, -0.2, -5.0), (330.0, -5.0, -20.0), (620.0, -20.0, -DEEPEST_M)):
        e, n = np.meshgrid(np.arange(-7_900.0, 7_900.0, spacing), np.arange(-5_900.0, 5_900.0, spacing))
        e = np.round(e + rng.uniform(-0.3, 0.3, e.shape) * spacing, 1).ravel()
        n = np.round(n + rng.uniform(-0.3, 0.3, n.shape) * spacing, 1).ravel()
        z = g.height_at(ground.field, e, n)
        for at_e, at_n, height in zip(e, n, z, strict=True):
            depth = round(-float(height), 1)
            if not (shallow > height >= deep):
                continue
            hit = tree.query(point(at_e, at_n), predicate="within")
            if hit.size != 1:
                continue
            values = areas[int(hit[0])][1]
            if not (values["DRVAL1"] <= depth <= max(values["DRVAL2"], values["DRVAL1"] + 1.5)):
                continue
            if any((at_e - te) ** 2 + (at_n - tn) ** 2 < (0.6 * spacing) ** 2 for te, tn in taken):
                continue
            taken.append((at_e, at_n))
            groups.setdefault(int(spacing), []).append((at_e, at_n, depth))
    for soundings in groups.values():
        waters.add("SOUNDG", shapely.MultiPoint(soundings), QUASOU="1", TECSOU="3")
    # Coral heads on the flats that cover and uncover.
    for _ in range(4000):
        if len(waters.features.get("UWTROC", [])) >= 26:
            break
        e, n = float(rng.uniform(-7000, 7000)), float(rng.uniform(-5000, 5000))
        height = ground.height(e, n)
        clear = ground.dredged.distance(point(e, n)) > 120.0 and ground.land.distance(point(e, n)) > 60.0
        if -1.4 < height < -0.5 and clear:
            covers = height > -0.9
            waters.add(
                "UWTROC",
                point(round(e, 1), round(n, 1)),
                WATLEV=4 if covers else 3,
                VALSOU=-0.3 if covers else round(-height - 0.3, 1),
                NATSUR="14",
            )
