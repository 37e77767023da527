"""Built things as upright faces: quays, breakwaters, pontoons, bridges, buildings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.types import Bridge, Feature

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class WallEdges:
    """Straight edges in the frame's metres, in rings or lines; a ring's box lets far ones be left out."""

    east1: Floats  # (n,)
    north1: Floats
    east2: Floats
    north2: Floats
    line: NDArray[np.int64]  # (n,) which ring or line an edge belongs to
    box: Floats  # (n_line, 4) west, south, east, north

    def near(self, east_m: float, north_m: float, reach_m: float) -> NDArray[np.bool_]:
        """Return (n,) True for edges of rings that come within reach; a ring round the place always does."""
        if not len(self.box):
            return np.zeros(0, dtype=np.bool_)
        dx = np.maximum(np.maximum(self.box[:, 0] - east_m, east_m - self.box[:, 2]), 0.0)
        dy = np.maximum(np.maximum(self.box[:, 1] - north_m, north_m - self.box[:, 3]), 0.0)
        return np.asarray((np.hypot(dx, dy) <= reach_m)[self.line], dtype=np.bool_)


@dataclass(frozen=True, slots=True, eq=False)
class Walls:
    """Edges that stand up."""

    edges: WallEdges
    top_m: Floats  # (n,)
    bottom_m: Floats
    gamma: Floats  # echo per projected area
    blocks: NDArray[np.bool_]  # hides what is behind it; a bridge's deck does not: one sees beneath


def edges_of(lines: Sequence[shapely.Geometry]) -> WallEdges:
    """Return the edges of rings and lines, in order."""
    points = [shapely.get_coordinates(line) for line in lines]
    points = [xy for xy in points if len(xy) > 1]
    if not points:
        nothing = np.zeros(0)
        return WallEdges(nothing, nothing, nothing, nothing, np.zeros(0, np.int64), np.zeros((0, 4)))
    first = np.concatenate([xy[:-1] for xy in points])
    second = np.concatenate([xy[1:] for xy in points])
    line = np.repeat(np.arange(len(points)), [len(xy) - 1 for xy in points])
    box = np.array([[*xy.min(axis=0), *xy.max(axis=0)] for xy in points])
    return WallEdges(
        np.ascontiguousarray(first[:, 0]),
        np.ascontiguousarray(first[:, 1]),
        np.ascontiguousarray(second[:, 0]),
        np.ascontiguousarray(second[:, 1]),
        line,
        box,
    )


@dataclass(frozen=True, slots=True)
class _Face:
    top_m: float
    gamma: float
    blocks: bool = True


# Height above the water and strength where the chart gives no height.  Our own choices, no source.
_FACE: dict[str, _Face] = {
    "SLCONS": _Face(2.5, 2.0),
    "PONTON": _Face(0.8, 0.5),
    "MORFAC": _Face(3.0, 1.0, False),
    "PILPNT": _Face(2.0, 0.5, False),
    "CAUSWY": _Face(3.0, 2.0),
    "DAMCON": _Face(4.0, 2.0),
    "OFSPLF": _Face(15.0, 3.0),
    "HULKES": _Face(4.0, 3.0),
    "FLODOC": _Face(8.0, 3.0),
    "DYKCON": _Face(4.0, 0.5),
    "GATCON": _Face(3.0, 2.0),
    "OILBAR": _Face(0.3, 0.1, False),
    "LOGPON": _Face(0.5, 0.3, False),
    "CRANES": _Face(30.0, 1.0),
    "PYLONS": _Face(6.0, 2.0),
    "FSHFAC": _Face(1.5, 0.2, False),
    "MARCUL": _Face(0.6, 0.2, False),
    "WRECKS": _Face(1.5, 1.0),
    "OBSTRN": _Face(1.0, 0.5, False),
    "BUISGL": _Face(10.0, 2.0),
    "SILTNK": _Face(12.0, 1.0),
    "FORSTC": _Face(8.0, 2.0),
    "FNCLNE": _Face(2.0, 0.3, False),
}
_OTHER = _Face(2.0, 0.5)
ON_LAND = ("BUISGL", "SILTNK", "FORSTC")
# A bridge whose clearance is not charted is taken to stand this high, and its deck to be this thick.
BRIDGE_CLEARANCE_M = 6.0
DECK_M = 2.5
_BRIDGE_GAMMA = 4.0
# A building or tank charted as a point is a square of this side.
_POINT_SIDE_M = 14.0


def walls_of(structures: Iterable[Feature], bridges: Iterable[Bridge], ground_m: float) -> Walls:
    """Return the faces of built things; buildings stand on land ``ground_m`` high."""
    lines: list[shapely.Geometry] = []
    rows: list[tuple[float, float, float, bool]] = []

    def add(shape: shapely.Geometry, top: float, bottom: float, gamma: float, blocks: bool) -> None:
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon":
                outline = shapely.get_parts(shapely.boundary(part))
            elif part.geom_type == "Point":
                outline = [shapely.boundary(shapely.buffer(part, _POINT_SIDE_M / 2.0, cap_style="square"))]
            else:
                outline = [part]
            for line in outline:
                if shapely.get_num_coordinates(line) > 1:
                    lines.append(line)
                    rows.append((top, bottom, gamma, blocks))

    for feature in structures:
        face = _FACE.get(feature.object, _OTHER)
        add(feature.shape, _top_of(feature, face.top_m, ground_m), 0.0, face.gamma, face.blocks)
    for bridge in bridges:
        for span in bridge.spans or (bridge,):
            bottom = span.clearance_m if span.clearance_m is not None else bridge.clearance_m
            bottom = BRIDGE_CLEARANCE_M if bottom is None else max(bottom, 0.0)
            add(span.shape, bottom + DECK_M, bottom, _BRIDGE_GAMMA, False)
    edges = edges_of(lines)
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)[edges.line] if rows else np.zeros((0, 4))
    return Walls(edges, table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy(), table[:, 3] > 0.5)


def _top_of(feature: Feature, default_m: float, ground_m: float) -> float:
    for attribute in ("HEIGHT", "ELEVAT"):
        height = feature.number(attribute)
        if height is not None and height > 0.0:
            return height
    length = feature.number("VERLEN")
    top = length if length is not None and length > 0.0 else default_m
    if feature.object in ON_LAND:
        return top + ground_m
    # WATLEV 4: covers and uncovers; 5: awash.
    water = feature.number("WATLEV")
    return min(top, 0.8) if water in (4.0, 5.0) else top
