"""Does what a cell says hold together?  Damage that still reads is told where the cell contradicts itself.

Each check is a rule that S-57 sets its makers, and holds exactly in the three real cells of the tests; what breaks one
is told and not mended, for nobody knows which of two things that contradict each other is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.s57.attributes import Attributes, number

# Land, and water of every kind: these cover a cell's data without overlap or gap (S-57 edition 3.1, appendix B.1,
# Group 1; from memory, and so in the three cells).
_SKIN = ("DEPARE", "DRGARE", "FLODOC", "HULKES", "LNDARE", "PONTON", "UNSARE")
# Square degrees, and as a share of the whole, that rounding may make; the three cells come to 4e-16.  A hundredth of a
# square metre; own choice.
_SLACK_DEG2, _SLACK_SHARE = 1e-12, 1e-11
# A sounding may lie so much above the shoalest depth of the area it lies in: feet rounded to metres come to 0.3 m in
# the three cells.  Deeper ones are drawn into an area by every maker.
_SLACK_M = 0.5
_OUTSIDE_DEG = 1e-7  # one unit of the least coordinate that cells use


def contradictions(
    objects: Sequence[str],
    rows: Sequence[Attributes],
    shapes: Sequence[shapely.Geometry | None],
    covered: shapely.Geometry,
) -> list[str]:
    """Return what of a cell cannot be as it says, one line each without the file's name; [] where all holds together.

    ``objects``, ``rows``, ``shapes``: class, attributes and shape (lon, lat) of each feature; ``covered``: where it has
    data.
    """
    names, drawn = np.array(objects), np.empty(len(objects), dtype=object)
    drawn[:] = shapes
    return [*_outside(names, drawn), *_skin(names, drawn, covered), *_depths(names, rows, drawn)]


def _outside(objects: NDArray[np.str_], shapes: NDArray[np.object_]) -> list[str]:
    """What lies outside all that the cell says it covers, with data or without (M_COVR of either kind)."""
    west, south, east, north = shapely.total_bounds(shapes[objects == "M_COVR"])
    bounds = shapely.bounds(shapes)
    beyond = np.maximum.reduce([west - bounds[:, 0], south - bounds[:, 1], bounds[:, 2] - east, bounds[:, 3] - north])
    found = np.unique(objects[beyond > _OUTSIDE_DEG])
    if not len(found):
        return []
    return [f"{int(np.sum(beyond > _OUTSIDE_DEG))} features lie outside the cell ({', '.join(found[:4])})"]


def _skin(objects: NDArray[np.str_], shapes: NDArray[np.object_], covered: shapely.Geometry) -> list[str]:
    areas = shapes[np.isin(objects, _SKIN) & (shapely.get_dimensions(shapes) == 2)]
    try:
        together = shapely.union_all(areas)
        gaps = shapely.area(shapely.symmetric_difference(together, covered))
    except shapely.errors.GEOSException as problem:
        return [f"its areas of land and water cannot be laid together ({' '.join(str(problem).split())})"]
    slack = _SLACK_DEG2 + _SLACK_SHARE * covered.area
    overlaps = float(np.sum(shapely.area(areas))) - together.area
    wrong = [words for is_so, words in ((overlaps > slack, "overlap"), (gaps > slack, "leave gaps")) if is_so]
    return [f"its areas of land and water {' and '.join(wrong)}, as those of no sound cell do"] if wrong else []


def _depths(objects: NDArray[np.str_], rows: Sequence[Attributes], shapes: NDArray[np.object_]) -> list[str]:
    """Areas whose depths are the wrong way round, and soundings shoaler than the area they lie in can be."""
    where = np.flatnonzero(np.isin(objects, ("DEPARE", "DRGARE")) & (shapely.get_dimensions(shapes) == 2))
    from_m, to_m = (_numbers(rows, where, name) for name in ("DRVAL1", "DRVAL2"))
    out = []
    if turned := int(np.sum(from_m > to_m)):
        out.append(f"{turned} areas say a least depth that is more than their greatest")
    soundings = np.flatnonzero(objects == "SOUNDG")
    depth_m = _numbers(rows, soundings, "DEPTH")
    point, area = shapely.STRtree(shapes[where]).query(shapes[soundings], predicate="intersects")
    # On the line between two areas it may be of either; where depths are not given there is nothing to hold it against.
    least_m = np.full(len(soundings), np.inf)
    np.minimum.at(least_m, point, np.where(np.isnan(from_m[area]), -np.inf, from_m[area]))
    if shoaler := int(np.sum(np.isfinite(least_m) & (depth_m < least_m - _SLACK_M))):
        out.append(f"{shoaler} soundings are shoaler than the areas they lie in can be")
    return out


def _numbers(rows: Sequence[Attributes], which: NDArray[np.int64], name: str) -> NDArray[np.float64]:
    """Return an attribute of some features; NaN where it is not given."""
    given = [number(rows[row], name) for row in which]
    return np.array([np.nan if value is None else value for value in given], dtype=np.float64)
