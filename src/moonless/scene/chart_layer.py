"""A made chart written: a GeoPackage whose layers are S-57 object classes and whose columns are S-57 attributes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pyogrio.raw
import shapely
from numpy.typing import NDArray

from moonless.chart.s57.attributes import Attribute


def write_layer(
    path: Path,
    object_class: str,
    shapes: Sequence[shapely.Geometry],
    rows: Sequence[Mapping[str, Attribute]],
) -> None:
    """Add one layer to a GeoPackage.

    Parameters
    ----------
    shapes : longitude and latitude, degrees, one for each row; none for a class without places
    rows : attributes by acronym; what a row does not give is null
    """
    names = sorted({name for row in rows for name in row})
    given = [_column([row.get(name) for row in rows]) for name in names]
    geometry, kind = None, None
    if shapes:
        kinds = {shape.geom_type for shape in shapes}
        kind = kinds.pop() if len(kinds) == 1 else "Unknown"
        if shapely.has_z(shapes[0]):
            kind += " Z"
        geometry = shapely.to_wkb(np.array(shapes, dtype=object))
    pyogrio.raw.write(
        path,
        geometry,
        [data for data, _ in given],
        np.array(names, dtype=object),
        field_mask=[is_null for _, is_null in given],
        layer=object_class,
        driver="GPKG",
        geometry_type=kind,
        crs="EPSG:4326" if geometry is not None else None,
        append=path.exists(),
        dataset_metadata=None,
        layer_options={"SPATIAL_INDEX": "NO"} if geometry is not None else {},
    )


def _column(values: Sequence[Attribute | None]) -> tuple[NDArray[np.generic], NDArray[np.bool_]]:
    """Return a column of one kind, and where it is null."""
    is_null = np.array([value is None for value in values])
    if all(isinstance(value, int) for value in values if value is not None):
        return np.array([0 if value is None else value for value in values], dtype=np.int32), is_null
    if all(isinstance(value, int | float) for value in values if value is not None):
        return np.array([0.0 if value is None else value for value in values], dtype=np.float64), is_null
    return np.array(["" if value is None else str(value) for value in values], dtype=object), is_null
