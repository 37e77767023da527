"""A chart in the making: features by S-57 class, in metres, and how they are written.

The file is a GeoPackage whose layers are named by S-57 object class and whose columns are S-57 attributes.  List
attributes are text with commas ("1,3"), as S-57 itself codes them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray

from moonless.chart.s57.attributes import Attribute
from moonless.files import replacing
from moonless.frames import LocalFrame
from moonless.scene.chart_layer import write_layer

# Far from any land; the time stamp that GeoPackage wants is that of the made-up survey, not of the making.
ORIGIN = LocalFrame(-12.4, -118.3)
STAMP = "2027-06-01T00:00:00.000Z"
AGENCY = 65_534  # no producing agency has this number
DEGREE_DIGITS = 7  # a centimetre
WARNING = "INVENTED WATERS. NOT FOR NAVIGATION."


class Waters:
    """Features by class, in the order they were added."""

    def __init__(self) -> None:
        self.features: dict[str, list[tuple[shapely.Geometry | None, dict[str, Attribute]]]] = {}
        self._number = 0

    def add(self, object_class: str, shape: shapely.Geometry | None, **attributes: Attribute | None) -> None:
        """Add one feature; ``shape`` in metres from the origin."""
        self._number += 1
        known: dict[str, Attribute] = {name: value for name, value in attributes.items() if value is not None}
        known |= {"AGEN": AGENCY, "FIDN": self._number, "FIDS": 1, "LNAM": f"{AGENCY:04X}{self._number:08X}0001"}
        self.features.setdefault(object_class, []).append((shape, known))

    def shapes(self, object_class: str) -> list[shapely.Geometry]:
        """Return the shapes of one class, metres."""
        return [shape for shape, _ in self.features.get(object_class, []) if shape is not None]


def point(east_m: float, north_m: float) -> shapely.Geometry:
    """Return a point, metres."""
    return shapely.Point(float(east_m), float(north_m))


def to_degrees(shape: shapely.Geometry) -> shapely.Geometry:
    """Return a shape in longitude/latitude, rounded so that the same bytes come out everywhere."""

    def turn(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        lat, lon = ORIGIN.to_geographic(xy[:, 0], xy[:, 1])
        rest = xy[:, 2:]
        return np.column_stack([np.round(lon, DEGREE_DIGITS), np.round(lat, DEGREE_DIGITS), rest])

    turned = shapely.transform(shape, turn, include_z=shapely.has_z(shape))
    if shape.geom_type in ("Polygon", "MultiPolygon") and not turned.is_valid:
        turned = shapely.make_valid(turned)
        turned = shapely.union_all([p for p in shapely.get_parts(turned) if p.geom_type.endswith("Polygon")])
    return turned


def write(waters: Waters, path: Path) -> None:
    """Write the GeoPackage whole, or leave what was there: same features, same bytes."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": STAMP})
    with replacing(path, make_folders=True) as draft:
        for object_class in sorted(waters.features):
            features = waters.features[object_class]
            shapes = [to_degrees(shape) for shape, _ in features if shape is not None]
            write_layer(draft, object_class, shapes, [attributes for _, attributes in features])
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
