"""The skipper's keep-off: what the chart has in the corridor ahead that the boat must not meet, and the sounder.

Depths are compared as: charted depth + tide must be at least draught + margin.  Tide not known counts as nought
above datum, and is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.reading.own import OwnPlane

Floats = NDArray[np.float64]
DangerWhat = Literal["land", "shoal", "danger", "unsurveyed", "chart ends", "structure", "keep out"]

_POINT_DANGERS = ("UWTROC", "WRECKS", "OBSTRN")
_GROUND = ("land", "shoal", "unsurveyed", "structure")
_SOLID = ("SLCONS", "PONTON", "PILPNT", "MORFAC", "OFSPLF", "CAUSWY", "DAMCON", "HULKES", "FLODOC")


@dataclass(frozen=True, slots=True)
class Danger:
    """The nearest thing of one kind ahead in the corridor."""

    what: DangerWhat
    distance_m: float
    depth_m: float | None  # charted, None: not charted
    name: str | None
    in_way: bool = True  # within the boat's own swept width, not beside it


@dataclass(frozen=True, slots=True, eq=False)
class Dangers:
    """Everything charted that a keel or hull can meet, with a tree; laid out once for a stretch of chart."""

    tree: Any
    shapes: NDArray[np.object_]
    what: NDArray[np.str_]
    depth_m: Floats  # NaN: not charted
    names: tuple[str | None, ...]
    coverage: Any


def lay_out_dangers(local: Any, keep_outs: Sequence[tuple[Any, str]] = ()) -> Dangers:
    """Gather the dangers of a `LocalChart`, and the skipper's own water to keep out of (shape, words)."""
    shapes: list[Any] = []
    what: list[str] = []
    depth: list[float] = []
    names: list[str | None] = []

    def put(shape: Any, kind: str, metres: float | None, name: str | None) -> None:
        shapes.append(shape)
        what.append(kind)
        depth.append(math.nan if metres is None else metres)
        names.append(name)

    for f in local.features("DEPARE", "DRGARE", "UNSARE", "LNDARE", "SOUNDG", *_POINT_DANGERS, *_SOLID):
        if f.object == "LNDARE":
            put(f.shape, "land", -math.inf, f.name)
        elif f.object in ("DEPARE", "DRGARE"):
            if shapely.get_dimensions(f.shape) == 2:
                metres = f.number("DRVAL1")
                put(f.shape, "unsurveyed" if metres is None else "shoal", metres, f.name)
        elif f.object == "UNSARE":
            put(f.shape, "unsurveyed", None, f.name)
        elif f.object == "SOUNDG":
            put(f.shape, "shoal", f.number("DEPTH"), None)
        elif f.object in _POINT_DANGERS:
            put(f.shape, "danger", f.number("VALSOU"), f.name)
        else:
            put(f.shape, "structure", -math.inf, f.name)
    for shape, words in keep_outs:
        put(shape, "keep out", -math.inf, words)
    array = np.empty(len(shapes), dtype=object)
    array[:] = shapes
    shapely.prepare(array)
    return Dangers(
        shapely.STRtree(array), array, np.array(what, dtype="U12"), np.array(depth), tuple(names), local.coverage
    )


def corridor(own: OwnPlane, course_rad: float, length_m: float, half_width_m: float) -> Any:
    """Return the strip of water ahead as a polygon in the plane."""
    along = np.array([math.sin(course_rad), math.cos(course_rad)])
    side = np.array([along[1], -along[0]]) * half_width_m
    here = np.array([own.east_m, own.north_m])
    far = here + along * length_m
    return shapely.Polygon([here - side, far - side, far + side, here + side])


def ahead(
    dangers: Dangers,
    boat: Boat,
    own: OwnPlane,
    course_rad: float,
    length_m: float,
    half_width_m: float,
    tide_m: float | None,
    position_sigma_m: float = 0.0,
) -> tuple[Danger, ...]:
    """Return the nearest danger of each kind in the boat's own way, and beside it in the corridor, nearest first.

    Both are told: a bank close beside the way is nearer than the one dead ahead, and must not stand for it.
    """
    strip = corridor(own, course_rad, length_m, half_width_m)
    swept = corridor(own, course_rad, length_m, min(half_width_m, 0.5 * boat.beam_m + position_sigma_m))
    need = boat.draught_m + boat.skipper.depth_margin_m - (tide_m or 0.0)
    rows = np.sort(dangers.tree.query(strip, predicate="intersects"))
    here = shapely.Point(own.east_m, own.north_m)
    found: dict[tuple[str, bool], Danger] = {}
    if not shapely.contains(dangers.coverage, strip):
        outside = shapely.difference(strip, dangers.coverage)
        if not shapely.is_empty(outside) and shapely.area(outside) > 1.0:
            found["chart ends", True] = Danger("chart ends", float(shapely.distance(here, outside)), None, None)
    bare = _bare(dangers, strip, rows)
    if bare is not None:
        found["unsurveyed", True] = Danger("unsurveyed", float(shapely.distance(here, bare)), None, None)
    for row in rows:
        kind = str(dangers.what[row])
        metres = float(dangers.depth_m[row])
        if kind == "shoal" and not metres < need:
            continue
        # A danger whose depth is not charted is met as one without water over it.
        if kind == "danger" and metres >= need:
            continue
        away = float(shapely.distance(here, shapely.intersection(dangers.shapes[row], strip)))
        in_way = bool(shapely.intersects(dangers.shapes[row], swept))
        if in_way and kind == "structure":
            away = float(shapely.distance(here, shapely.intersection(dangers.shapes[row], swept)))
        best = found.get((kind, in_way))
        if best is None or away < best.distance_m:
            known = metres if math.isfinite(metres) else None
            found[kind, in_way] = Danger(kind, away, known, dangers.names[row], in_way)  # type: ignore[arg-type]
    return tuple(sorted(found.values(), key=lambda d: d.distance_m))


def _bare(dangers: Dangers, strip: Any, rows: NDArray[np.int64]) -> Any | None:
    """Return what of a strip the chart covers and says nothing of, neither depth nor land; None: nothing 2 m wide.

    Official charts leave no such gap; others may, and it is not deep water.
    """
    is_ground = np.isin(dangers.what[rows], _GROUND) & (shapely.get_dimensions(dangers.shapes[rows]) == 2)
    grounds = dangers.shapes[rows[is_ground]]
    west, south, east, north = shapely.bounds(strip)
    parts = shapely.clip_by_rect(grounds, west, south, east, north)
    # Neighbouring areas share edges that rounding may leave a hair apart.
    rest = shapely.difference(shapely.intersection(strip, dangers.coverage), shapely.union_all(parts)).buffer(-1.0)
    return None if shapely.is_empty(rest) else rest


@dataclass(frozen=True, slots=True)
class SounderCheck:
    """The sounder against the chart: what was expected here, and whether the two can both be right."""

    sounded_m: float
    expected_least_m: float
    expected_most_m: float
    agrees: bool


def check_sounder(
    dangers: Dangers, own: OwnPlane, sounded_m: float | None, tide_m: float | None, position_sigma_m: float, boat: Boat
) -> SounderCheck | None:
    """Return the sounder against the depth areas within two sigma of the boat; None where either is not known.

    ``sounded_m``: below the surface.  Half a metre and a tenth of the depth are allowed for survey, tide and boat.
    """
    if sounded_m is None or tide_m is None:
        return None
    around = shapely.Point(own.east_m, own.north_m).buffer(max(10.0, 2.0 * position_sigma_m))
    low: list[float] = []
    high: list[float] = []
    for row in dangers.tree.query(around, predicate="intersects"):
        if dangers.what[row] != "shoal" or shapely.get_dimensions(dangers.shapes[row]) != 2:
            continue
        metres = float(dangers.depth_m[row])
        low.append(metres)
        high.append(metres)
    if not low or not all(math.isfinite(value) for value in low):
        return None
    least = min(low) + tide_m
    # A depth area gives its shallow side; its deep side is at least the next contour, taken as twice and five more.
    most = 2.0 * max(max(high), 0.0) + 5.0 + tide_m
    slack = 0.5 + 0.1 * sounded_m
    return SounderCheck(sounded_m, least, most, least - slack <= sounded_m <= most + slack)
