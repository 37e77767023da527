"""The chart around the boat, laid out once as arrays for questions that are asked every turn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from moonless.chart.library import Chart
from moonless.chart.local import LocalChart
from moonless.chart.local_knowledge.knowledge import Knowledge, Usual
from moonless.chart.types import Bridge, Mark
from moonless.errors import NoCoverage
from moonless.frames import LocalFrame
from moonless.sight.edges import edges_of, faces_of

Floats = NDArray[np.float64]

# A new stretch of chart is laid out when the boat has come this far from the middle of the last one.
MOVE_ON_M = 1500.0
# Charted outlines become points this far apart, so a distance to shore is off by half of it at the most.
OUTLINE_STEP_M = 8.0
# Radius of the circle a buoy swings in.  The chart does not give the scope of chain; three times the depth of
# shallow water.  Our own figure, no source.
BUOY_SWING_M = 12.0
# However poor the survey, a mark is charted this well, or as well as its scale can be drawn.  Own figures.
MARK_SIGMA_M = 20.0
PLOTTING_M_PER_SCALE = 0.3e-3
# Standing things that rise out of the water; what stands on land (landmarks, lights ashore) is shore to a radar.
LINE_OF_STRUCTURES = (
    "SLCONS", "PONTON", "MORFAC", "PILPNT", "CAUSWY", "PYLONS", "HULKES", "FLODOC", "DAMCON", "OFSPLF",
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Points along charted outlines with a tree over them."""

    points: Floats  # (n, 2)
    tree: cKDTree | None

    def distance(self, points_en: Floats) -> Floats:
        """Return metres from each point (n, 2) to the outline; inf when there is none."""
        if self.tree is None or not len(points_en):
            return np.full(len(points_en), np.inf)
        distance, _ = self.tree.query(points_en)
        return np.asarray(distance, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """One stretch of chart in the frame of the tracks."""

    frame: LocalFrame
    middle_east_m: float
    middle_north_m: float
    radius_m: float
    chart: LocalChart
    land: shapely.Geometry  # prepared
    land_edges: Floats  # (m, 4) outline of land, for lines of sight
    shore: Outline  # land and structures
    bridges: tuple[Bridge, ...]
    bridge_outline: Outline
    bridge_areas: shapely.Geometry
    faces: Floats  # (m, 4) straight faces of bridges, quays and the like, in which a radar sees mirror images
    marks: tuple[Mark, ...]
    mark_en: Floats  # (k, 2)
    mark_sigma_m: Floats  # (k,) chart accuracy, one standard deviation
    mark_swing_m: Floats  # (k,)
    mark_on_land: NDArray[np.bool_]
    mark_shore_m: Floats  # (k,) distance to the nearest outline of land or structure

    def on_land(self, points_en: Floats) -> NDArray[np.bool_]:
        """Return whether each point (n, 2) lies inside charted land."""
        if self.land is None or shapely.is_empty(self.land) or not len(points_en):
            return np.zeros(len(points_en), dtype=np.bool_)
        return np.asarray(shapely.contains_xy(self.land, points_en[:, 0], points_en[:, 1]), dtype=np.bool_)

    def serves(self, frame: LocalFrame, east_m: float, north_m: float, reach_m: float) -> bool:
        """Return whether this stretch still covers what is asked."""
        away = math.hypot(east_m - self.middle_east_m, north_m - self.middle_north_m)
        return frame == self.frame and away <= MOVE_ON_M and reach_m + MOVE_ON_M <= self.radius_m + 1.0


def lay_out(chart: Chart, frame: LocalFrame, east_m: float, north_m: float, reach_m: float) -> Place | None:
    """Return the chart within reach of a place; None where no chart covers it."""
    radius = reach_m + MOVE_ON_M
    lat, lon = frame.to_geographic(east_m, north_m)
    try:
        local = chart.around(float(lat), float(lon), radius).reframed(frame)
    except NoCoverage:
        return None
    land = local.land
    if not shapely.is_empty(land):
        shapely.prepare(land)
    structures = [f.shape for f in local.structures if f.object in LINE_OF_STRUCTURES and f.shape.geom_type != "Point"]
    bridges = tuple(local.bridges)
    marks = tuple(local.marks)
    mark_en = np.array([(m.east_m, m.north_m) for m in marks], dtype=np.float64).reshape(-1, 2)
    sigma = np.array([_quality_sigma(local, m) for m in marks], dtype=np.float64)
    on_land = np.zeros(len(marks), dtype=np.bool_)
    if len(marks) and not shapely.is_empty(land):
        on_land = np.asarray(shapely.contains_xy(land, mark_en[:, 0], mark_en[:, 1]), dtype=np.bool_)
    bridge_shapes = [b.shape for b in bridges]
    shore = outline_of([land, *structures])
    return Place(
        frame=frame,
        middle_east_m=east_m,
        middle_north_m=north_m,
        radius_m=radius,
        chart=local,
        land=land,
        land_edges=edges_of(land),
        shore=shore,
        bridges=bridges,
        bridge_outline=outline_of(bridge_shapes),
        bridge_areas=shapely.union_all(bridge_shapes) if bridge_shapes else shapely.Point(),
        faces=faces_of([*bridge_shapes, *structures]),
        marks=marks,
        mark_en=mark_en,
        mark_sigma_m=sigma,
        mark_swing_m=np.array([BUOY_SWING_M if m.floating else 0.0 for m in marks], dtype=np.float64),
        mark_on_land=on_land,
        mark_shore_m=shore.distance(mark_en),
    )


def _quality_sigma(local: LocalChart, mark: Mark) -> float:
    try:
        quality = local.quality_at(mark.east_m, mark.north_m)
        # The zone of confidence tells how well the bottom was found; what stands above water was placed by other means.
        return float(min(quality.position_sigma_m, max(MARK_SIGMA_M, PLOTTING_M_PER_SCALE * quality.scale)))
    except NoCoverage:
        return 50.0


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """The skipper's own knowledge around the boat."""

    point_en: Floats  # (n, 2)
    confidence: Floats  # (n,) 0..1
    words: tuple[str, ...]
    usual: tuple[UsualHere, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class UsualHere:
    """Water in reach in which boats usually anchor or run."""

    outline: shapely.Geometry  # in the plane
    is_way: bool
    per_m2: float  # boats there at a time
    words: str


# A thing named without a confidence is believed this much.
NAMED_CONFIDENCE = 0.7


def known_around(
    knowledge: Knowledge | None, frame: LocalFrame, own_east_m: float, own_north_m: float, reach_m: float
) -> Known | None:
    """Return what local knowledge has within reach; None when there is none kept."""
    if knowledge is None:
        return None
    lat, lon = frame.to_geographic(own_east_m, own_north_m)
    things = knowledge.things_around(float(lat), float(lon), reach_m)
    usual = tuple(_usual_here(water, frame) for water in knowledge.usual_around(float(lat), float(lon), reach_m))
    if not things and not usual:
        return None
    east, north = frame.to_plane(np.array([t.lat_deg for t in things]), np.array([t.lon_deg for t in things]))
    confidence = np.array([NAMED_CONFIDENCE if t.confidence is None else t.confidence for t in things])
    return Known(np.column_stack([east, north]), confidence, tuple(t.words for t in things), usual)


@lru_cache(maxsize=64)
def _usual_here(water: Usual, frame: LocalFrame) -> UsualHere:
    outline = in_plane(water.outline_lonlat, frame)
    shapely.prepare(outline)
    return UsualHere(outline, water.kind == "way", water.per_km2 / 1e6, water.words)


def in_plane(shape_lonlat: shapely.Geometry, frame: LocalFrame) -> shapely.Geometry:
    """Return a shape of (lon, lat) degrees in a plane."""
    return shapely.transform(shape_lonlat, lambda xy: np.column_stack(frame.to_plane(xy[:, 1], xy[:, 0])))


def keep_outs_around(
    knowledge: Knowledge | None, frame: LocalFrame, own_east_m: float, own_north_m: float, reach_m: float
) -> list[tuple[shapely.Geometry, str]]:
    """Return the skipper's water to keep out of, as (shape in the plane, words)."""
    if knowledge is None:
        return []
    lat, lon = frame.to_geographic(own_east_m, own_north_m)
    areas = knowledge.keep_outs_around(float(lat), float(lon), reach_m)
    return [(in_plane(a.outline_lonlat, frame), a.words) for a in areas]


def outline_of(shapes: list[shapely.Geometry]) -> Outline:
    """Return points along the outlines of areas and lines."""
    parts = []
    for shape in shapes:
        if shapely.is_empty(shape):
            continue
        lines = shapely.boundary(shape) if shapely.get_dimensions(shape) == 2 else shape
        if shapely.get_dimensions(shape) == 0:
            parts.append(shapely.get_coordinates(shape))
            continue
        parts.append(shapely.get_coordinates(shapely.segmentize(lines, OUTLINE_STEP_M)))
    points = np.vstack(parts) if parts else np.zeros((0, 2))
    return Outline(points, cKDTree(points) if len(points) else None)
