"""Charts made for the tests: an invented corner of open ocean, and how to write one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import shapely

from moonless.chart.index import CellIndex, build
from moonless.chart.s57.source import SourceFeatures
from moonless.frames import LocalFrame

# A place in open ocean: nothing of these charts exists.
ORIGIN = LocalFrame(20.0, -40.0)

Rows = Sequence[tuple[Any, Mapping[str, Any]]]


def at(east_m: float, north_m: float) -> shapely.Point:
    """Return the (lon, lat) point that lies at a place in the plane of ORIGIN."""
    lat, lon = ORIGIN.to_geographic(east_m, north_m)
    return shapely.Point(lon, lat)


def lonlat(shape: shapely.Geometry) -> shapely.Geometry:
    """Return a shape of ORIGIN's plane in (lon, lat)."""
    return shapely.transform(shape, lambda xy: np.column_stack(ORIGIN.to_geographic(xy[:, 0], xy[:, 1])[::-1]))


def box(west: float, south: float, east: float, north: float) -> shapely.Geometry:
    """Return the (lon, lat) polygon of a box in ORIGIN's plane."""
    return lonlat(shapely.box(west, south, east, north))


def write_chart(path: Path, layers: Mapping[str, Rows]) -> Path:
    """Write a GeoPackage whose layers bear S-57 class names; rows are (geometry or None, attributes)."""
    for name, rows in layers.items():
        fields = sorted({field for _, given in rows for field in given})
        columns = []
        for field in fields:
            values = [given.get(field) for _, given in rows]
            if all(isinstance(v, int | float) or v is None for v in values):
                columns.append(np.array([math.nan if v is None else v for v in values], dtype=np.float64))
            else:
                columns.append(np.array([None if v is None else str(v) for v in values], dtype=object))
        shapes = np.array([shape for shape, _ in rows], dtype=object)
        spatial = any(shape is not None for shape in shapes)
        pyogrio.raw.write(
            path,
            geometry=shapely.to_wkb(shapes) if spatial else None,
            field_data=columns,
            fields=np.array(fields, dtype=object),
            layer=name,
            driver="GPKG",
            geometry_type="Unknown" if spatial else None,
            crs="EPSG:4326" if spatial else None,
            append=path.exists(),
        )
    return path


def make_index(
    name: str, scale: int, rows: Sequence[tuple[str, Any, Mapping[str, Any]]], issued: str = ""
) -> CellIndex:
    """Return an index made without a file; rows are (class, geometry in lon/lat, attributes)."""
    source = SourceFeatures(name, Path(f"{name}.gpkg"), scale=scale, issued=issued)
    for number, (cls, shape, given) in enumerate(rows):
        source.objects.append(cls)
        source.shapes.append(shape)
        source.rows.append(dict(given))
        source.identifiers.append(str(number))
        source.counts[cls] = source.counts.get(cls, 0) + 1
    return CellIndex(*build(source))


WATERS: dict[str, Rows] = {
    "DSID": [(None, {"DSPM_CSCL": 12000, "DSID_EDTN": "2", "DSID_UPDN": "1", "DSID_ISDT": "20300105"})],
    "M_COVR": [(box(-3000, -3000, 3000, 3000), {"CATCOV": 1})],
    "M_QUAL": [
        (box(-3000, -3000, 0, 3000), {"CATZOC": 2}),
        (box(0, -3000, 3000, 3000), {"CATZOC": 4}),
    ],
    "LNDARE": [(box(1000, -500, 2000, 500), {"OBJNAM": "Long Cay"}), (at(-1500, 1500), {"OBJNAM": "Bird Rock"})],
    "COALNE": [(lonlat(shapely.LinearRing([(1000, -500), (2000, -500), (2000, 500), (1000, 500)])), {})],
    "DEPARE": [
        (box(-3000, -3000, 0, 3000), {"DRVAL1": 5.0, "DRVAL2": 10.0}),
        (box(0, -3000, 1000, 3000), {"DRVAL1": 2.0, "DRVAL2": 5.0}),
        (box(1000, 500, 2000, 3000), {"DRVAL1": -1.0, "DRVAL2": 0.0}),
    ],
    "UNSARE": [(box(2000, -3000, 3000, 3000), {})],
    "SOUNDG": [(shapely.MultiPoint([(*at(-1000, -1000).coords[0], 6.2), (*at(-900, -1000).coords[0], 4.1)]), {})],
    "UWTROC": [(at(-2000, 0), {"WATLEV": 4}), (at(-2000, 100), {"WATLEV": 3})],
    "BCNLAT": [(at(500, 0), {"OBJNAM": "Channel Beacon 1", "COLOUR": "4", "HEIGHT": 5.0, "CATLAM": 1})],
    "LIGHTS": [
        (at(500, 0), {"COLOUR": "4", "LITCHR": 2, "SIGGRP": "(1)", "SIGPER": 4.0, "VALNMR": 4.0, "HEIGHT": 5.0}),
    ],
    "DAYMAR": [(at(500, 0), {"TOPSHP": 12})],
    "BOYSPP": [(at(-500, 0), {"COLOUR": "[6]", "VERLEN": 2.5})],
    "PILPNT": [(at(500, 300), {})],
    "SLCONS": [(lonlat(shapely.LineString([(1000, -100), (900, -100)])), {"CATSLC": 4, "WATLEV": 2})],
    "BRIDGE": [
        (box(900, 1000, 1000, 1010), {"OBJNAM": "Long Bridge", "CATBRG": "1", "VERCLR": 6.0}),
        (box(850, 1000, 900, 1010), {"CATBRG": "5", "VERCCL": 4.0, "VERCOP": 30.0, "HORCLR": 20.0}),
    ],
}
