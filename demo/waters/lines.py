"""From the height field to nested polygons: what lies above each level."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from waters.ground import height_at

Floats = NDArray[np.float64]


def _segments(ground: Floats, east: Floats, north: Floats, level: float) -> Floats:
    """Return the level's line segments, (n, 2, 2), by cutting every cell into two triangles."""
    # A level exactly met at a grid point would make a segment of no length.
    z = np.where(ground == level, level + 1e-7, ground)
    rows, columns = np.meshgrid(np.arange(z.shape[0] - 1), np.arange(z.shape[1] - 1), indexing="ij")
    rows, columns = rows.ravel(), columns.ravel()
    corners = [(rows, columns), (rows, columns + 1), (rows + 1, columns + 1), (rows + 1, columns)]
    found = []
    for a, b, c in ((0, 1, 2), (0, 2, 3)):
        triangle = [corners[a], corners[b], corners[c]]
        values = [z[r, k] for r, k in triangle]
        above = [v > level for v in values]
        for odd in range(3):
            p, q = (odd + 1) % 3, (odd + 2) % 3
            hit = np.flatnonzero((above[p] == above[q]) & (above[odd] != above[p]))
            ends = []
            for other in (p, q):
                # From the lower grid index always, so that neighbours compute the very same point.
                first, second = (odd, other) if _before(odd, other, (a, b, c)) else (other, odd)
                r0, k0 = triangle[first][0][hit], triangle[first][1][hit]
                r1, k1 = triangle[second][0][hit], triangle[second][1][hit]
                t = (level - z[r0, k0]) / (z[r1, k1] - z[r0, k0])
                ends.append(
                    np.stack([east[k0] + t * (east[k1] - east[k0]), north[r0] + t * (north[r1] - north[r0])], axis=-1)
                )
            found.append(np.stack(ends, axis=1))
    return np.round(np.concatenate(found), 3)


def _before(one: int, two: int, corners: tuple[int, int, int]) -> bool:
    # Corners 0..3 run round the cell; 0 < 1, 0 < 3, 1 < 2, 3 < 2 in grid order (row, then column).
    rank = {0: 0, 1: 1, 3: 2, 2: 3}
    return rank[corners[one]] < rank[corners[two]]


def above(ground: Floats, east: Floats, north: Floats, level: float) -> shapely.Geometry:
    """Return the area higher than ``level`` as a multipolygon, metres."""
    # A moat round the edge closes every line.
    padded = np.pad(ground, 1, constant_values=-1e4)
    step = east[1] - east[0]
    wide_east = np.concatenate([[east[0] - step], east, [east[-1] + step]])
    wide_north = np.concatenate([[north[0] - step], north, [north[-1] + step]])
    lines = shapely.linestrings(_segments(padded, wide_east, wide_north, level))
    merged = shapely.line_merge(shapely.union_all(lines, grid_size=0.001))
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(merged)))
    inside = [shapely.point_on_surface(face) for face in faces]
    heights = height_at(ground, shapely.get_x(inside), shapely.get_y(inside))
    return shapely.union_all([face for face, z in zip(faces, heights, strict=True) if z > level])


def tidy(shape: shapely.Geometry, tolerance_m: float, smallest_m2: float) -> shapely.Geometry:
    """Return the shape with fewer points, and without specks or pinholes."""
    simple = shapely.make_valid(shapely.simplify(shape, tolerance_m, preserve_topology=True))
    kept = []
    for part in shapely.get_parts(simple):
        if part.geom_type != "Polygon" or part.area < smallest_m2:
            continue
        holes = [ring for ring in part.interiors if shapely.Polygon(ring).area >= smallest_m2]
        kept.append(shapely.Polygon(part.exterior, holes))
    return shapely.union_all(kept)


def polygons(shape: shapely.Geometry, smallest_m2: float = 1.0) -> list[shapely.Geometry]:
    """Return the polygons of a shape, west to east (a fixed order), slivers left out."""
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > smallest_m2]
    return sorted(parts, key=lambda p: (round(p.bounds[0], 2), round(p.bounds[1], 2), round(p.area, 1)))


def lines(shape: shapely.Geometry) -> list[shapely.Geometry]:
    """Return the line strings of a shape in a fixed order."""
    merged = shapely.line_merge(shape) if shape.geom_type != "LineString" else shape
    parts = [p for p in shapely.get_parts(merged) if p.geom_type in ("LineString", "LinearRing")]
    return sorted(parts, key=lambda p: (round(p.bounds[0], 2), round(p.bounds[1], 2), round(p.length, 1)))
