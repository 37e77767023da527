"""Waters drawn at random: open sea, coasts, islands, rivers, straits with bridges, harbours, anchorages."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from moonless.scene.wild.types import Land

Wall = tuple[tuple[float, float], tuple[float, float]]
FAMILIES = ("open sea", "coast", "islands", "river", "strait", "harbour", "anchorage")


@dataclass(frozen=True, slots=True)
class WildGround:
    """Land as it is, and the lines of it that matter; metres about the boat's start."""

    land: shapely.Geometry
    bridges: tuple[Wall, ...] = ()
    walls: tuple[Wall, ...] = ()
    way_rad: float | None = None  # where the water leads: along the river, the channel
    room_m: float = 2_000.0  # how far one may go


def ground_of(family: str, range_m: float, rng: np.random.Generator) -> WildGround | None:
    """Return the ground of a family of waters; None on the open sea."""
    reach = 2.2 * range_m + 1_500.0
    if family == "open sea":
        return None
    if family == "coast":
        return _coast(range_m, reach, rng)
    if family == "islands":
        return _islands(range_m, reach, rng)
    if family == "river":
        return _river(range_m, reach, rng)
    if family == "strait":
        return _strait(range_m, reach, rng)
    if family == "harbour":
        return _harbour(range_m, reach, rng)
    return _anchorage(range_m, reach, rng)


def _rough_line(half_m: float, step_m: float, wild_m: float, rng: np.random.Generator) -> np.ndarray:
    """Return (n, 2): along, and a fractal offset."""
    n = max(16, int(2.0 * half_m / step_m))
    x = np.linspace(-half_m, half_m, n)
    y = np.zeros(n)
    for octave in range(6):
        wave = 2.0 * half_m / 2.0 / 2.2**octave
        y += (
            wild_m
            / 1.9**octave
            * np.sin(2.0 * math.pi * x / wave + rng.uniform(0.0, 2.0 * math.pi))
            * rng.uniform(0.3, 1.0)
        )
    return np.column_stack([x, y])


def _turned(shape: shapely.Geometry, angle_rad: float) -> shapely.Geometry:
    """Turn a shape clockwise about the origin."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return shapely.transform(
        shape, lambda xy: np.column_stack([xy[:, 0] * c + xy[:, 1] * s, -xy[:, 0] * s + xy[:, 1] * c])
    )


def _turned_wall(wall: Wall, angle_rad: float) -> Wall:
    xy = shapely.get_coordinates(_turned(shapely.LineString(list(wall)), angle_rad))
    return (float(xy[0, 0]), float(xy[0, 1])), (float(xy[1, 0]), float(xy[1, 1]))


def _shore(reach: float, away_m: float, wild_m: float, rng: np.random.Generator) -> shapely.Geometry:
    """Return land north of a rough line that lies so far north of the origin."""
    line = _rough_line(reach, 60.0, wild_m, rng)
    line[:, 1] += away_m
    ring = np.vstack([line, [[reach, reach], [-reach, reach]]])
    return shapely.make_valid(shapely.Polygon(ring))


def _blob(at: tuple[float, float], size_m: float, rng: np.random.Generator) -> shapely.Geometry:
    angle = np.linspace(0.0, 2.0 * math.pi, 72, endpoint=False)
    radius = np.full(72, 1.0)
    for k in range(2, 9):
        radius += 0.5 / k * rng.standard_normal() * np.sin(k * angle + rng.uniform(0.0, 2.0 * math.pi))
    radius = size_m * np.clip(radius, 0.3, 2.5)
    long = rng.uniform(1.0, 2.5)
    ring = np.column_stack([at[0] + long * radius * np.sin(angle), at[1] + radius * np.cos(angle)])
    return shapely.make_valid(shapely.Polygon(ring))


def _coast(range_m: float, reach: float, rng: np.random.Generator) -> WildGround:
    away = rng.uniform(0.12, 0.8) * range_m
    land = _shore(reach, away, rng.uniform(0.05, 0.3) * away, rng)
    angle = rng.uniform(0.0, 2.0 * math.pi)
    return WildGround(_turned(land, angle), way_rad=angle + math.pi / 2.0)


def _islands(range_m: float, reach: float, rng: np.random.Generator) -> WildGround:
    parts = []
    for _ in range(int(rng.integers(2, 14))):
        away, bearing = range_m * rng.uniform(0.15, 1.5), rng.uniform(0.0, 2.0 * math.pi)
        size = rng.uniform(0.02, 0.25) * away
        at = (away * math.sin(bearing), away * math.cos(bearing))
        parts.append(_turned(shapely.affinity.translate(_blob((0.0, 0.0), size, rng), 0, 0), rng.uniform(0, 6.28)))
        parts[-1] = shapely.affinity.translate(parts[-1], *at)
    land = shapely.difference(shapely.union_all(parts), shapely.Point(0.0, 0.0).buffer(0.08 * range_m))
    return WildGround(land)


def _river(range_m: float, reach: float, rng: np.random.Generator) -> WildGround:
    half = rng.uniform(50.0, min(260.0, 0.3 * range_m))
    line = _rough_line(reach, 40.0, rng.uniform(0.0, 0.12) * range_m, rng)
    line[:, 1] -= np.interp(0.0, line[:, 0], line[:, 1])
    water = shapely.LineString(line).buffer(half)
    bays = [
        shapely.Point(*line[int(rng.integers(0, len(line)))]).buffer(half * rng.uniform(1.0, 1.8)) for _ in range(6)
    ]
    land = shapely.difference(shapely.box(-reach, -reach, reach, reach), shapely.union_all([water, *bays]))
    slope = math.atan2(float(np.interp(50.0, line[:, 0], line[:, 1]) - np.interp(-50.0, line[:, 0], line[:, 1])), 100.0)
    bridges: tuple[Wall, ...] = ()
    if rng.random() < 0.4:
        x = float(rng.uniform(0.3, 0.8) * range_m)
        y = float(np.interp(x, line[:, 0], line[:, 1]))
        bridges = (((x, y - 1.2 * half), (x, y + 1.2 * half)),)
    angle = rng.uniform(0.0, 2.0 * math.pi)
    return WildGround(
        _turned(land, angle),
        tuple(_turned_wall(b, angle) for b in bridges),
        (),
        angle + math.pi / 2.0 - slope,
        0.8 * half,
    )


def _strait(range_m: float, reach: float, rng: np.random.Generator) -> WildGround:
    half = rng.uniform(0.15, 0.45) * range_m
    north = _shore(reach, half, 0.15 * half, rng)
    south = _turned(_shore(reach, half, 0.15 * half, rng), math.pi)
    land = shapely.union(north, south)
    bridges: tuple[Wall, ...] = ()
    if rng.random() < 0.6:
        x = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.25, 0.7) * range_m)
        bridges = (((x, -1.3 * half), (x, 1.3 * half)),)
    angle = rng.uniform(0.0, 2.0 * math.pi)
    return WildGround(
        _turned(land, angle), tuple(_turned_wall(b, angle) for b in bridges), (), angle + math.pi / 2.0, 0.8 * half
    )


def _harbour(range_m: float, reach: float, rng: np.random.Generator) -> WildGround:
    away = rng.uniform(0.1, 0.35) * range_m
    land = _shore(reach, away, 0.05 * away, rng)
    x = rng.uniform(-0.2, 0.2) * range_m
    width = rng.uniform(150.0, 500.0)
    out = 0.6 * away
    quay = shapely.box(x - width, away - 40.0, x + width, away + 200.0)
    left = shapely.LineString([(x - width, away), (x - width, away - out), (x - 0.3 * width, away - out)]).buffer(6.0)
    right = shapely.LineString([(x + width, away), (x + width, away - 0.6 * out)]).buffer(6.0)
    walls: tuple[Wall, ...] = (((x - width, away - 40.0), (x + width, away - 40.0)),)
    angle = rng.uniform(0.0, 2.0 * math.pi)
    return WildGround(
        _turned(shapely.union_all([land, quay, left, right]), angle), (), tuple(_turned_wall(w, angle) for w in walls),
        angle + math.pi / 2.0, 0.5 * range_m,
    )  # fmt: skip


def _anchorage(range_m: float, reach: float, rng: np.random.Generator) -> WildGround:
    away = rng.uniform(0.2, 0.5) * range_m
    land = _shore(reach, away, 0.1 * away, rng)
    for side in (-1.0, 1.0):
        head = _blob((side * rng.uniform(0.5, 0.9) * range_m, 0.6 * away), 0.5 * away, rng)
        land = shapely.union(land, head)
    land = shapely.difference(land, shapely.Point(0.0, 0.0).buffer(0.6 * away))
    angle = rng.uniform(0.0, 2.0 * math.pi)
    return WildGround(_turned(land, angle), way_rad=angle + math.pi / 2.0, room_m=0.6 * away)


def chart_of(ground: WildGround, off_m: float, rng: np.random.Generator) -> tuple[shapely.Geometry, str]:
    """Return the land as a chart that is wrong by so much has it, and how it is wrong."""
    if off_m <= 0.0:
        return ground.land, "right"
    how = str(rng.choice(["part moved", "bent", "thick"]))
    if how == "thick":
        return shapely.make_valid(ground.land.buffer(float(rng.choice([-1.0, 1.0])) * min(off_m, 60.0))), how
    angle = rng.uniform(0.0, 2.0 * math.pi)
    by = np.array([math.sin(angle), math.cos(angle)]) * off_m
    if how == "part moved":
        # One side of a line through the boat's start lies elsewhere on the chart.
        normal = rng.uniform(0.0, 2.0 * math.pi)
        side = np.array([math.sin(normal), math.cos(normal)])

        def step(xy: np.ndarray) -> np.ndarray:
            share = 0.5 * (1.0 + np.tanh((xy @ side) / 400.0))
            return np.asarray(xy + share[:, None] * by)

        return shapely.make_valid(shapely.transform(ground.land, step)), how
    wave = rng.uniform(1_000.0, 4_000.0)
    phase = rng.uniform(0.0, 2.0 * math.pi, 2)

    def bend(xy: np.ndarray) -> np.ndarray:
        share = np.sin(2.0 * math.pi * xy[:, 0] / wave + phase[0]) * np.sin(2.0 * math.pi * xy[:, 1] / wave + phase[1])
        return np.asarray(xy + share[:, None] * by)

    return shapely.make_valid(shapely.transform(ground.land, bend)), how


def land_of(
    ground: WildGround, charted: shapely.Geometry, uncharted: shapely.Geometry, rng: np.random.Generator
) -> Land:
    """Return the land with relief and reflectivity drawn."""
    return Land(
        shapely.union(ground.land, uncharted),
        charted,
        uncharted,
        ground.bridges,
        ground.walls,
        relief_m=float(np.exp(rng.uniform(math.log(2.5), math.log(120.0)))),
        slope=float(np.exp(rng.uniform(math.log(0.04), math.log(0.8)))),
        sigma_db=float(rng.uniform(-32.0, -14.0)),
    )
