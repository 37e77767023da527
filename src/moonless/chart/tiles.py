"""The chart as layers to draw: GeoJSON in longitude and latitude, simplified to what a screen can show.

`layers_around` gives everything a helm draws around a place.  Each feature carries its object class and the few
attributes that decide how it looks; what is not charted is left out of the properties, never given as zero.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart import classes
from moonless.chart.library import Chart
from moonless.chart.lights import COLOURS, lights_of_mark
from moonless.chart.local import LocalChart
from moonless.constants import EARTH_MEAN_RADIUS_M

FeatureCollection = dict[str, Any]

# A screen about 2000 pixels across, drawn to half a pixel: finer detail cannot be seen.
_STEPS_ACROSS = 4000.0
# Vertices further apart than this many steps on the average are left as they are.
_CROWDED_STEPS = 3.0
# About a centimetre: more digits only make the message longer.
_DIGITS_DEG = 7

_LAND = ("LNDARE", "BUAARE", "LAKARE", "RIVERS", "BUISGL")
_RESTRICTED = ("RESARE", "ACHARE", "CTNARE", "PRCARE", "MIPARE", "CBLARE", "PIPARE", "DMPGRD", "MARCUL", "SPLARE")
_BUILT = ("SLCONS", "PONTON", "MORFAC", "PILPNT", "CAUSWY", "DAMCON", "OFSPLF", "HULKES", "FLODOC", "DYKCON", "GATCON",
          "OILBAR", "LOGPON", "CRANES", "CONVYR", "PYLONS", "FSHFAC")  # fmt: skip
_LAYERS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "land": (_LAND, ("OBJNAM", "CATLND")),
    "shoreline": (("COALNE",), ("CATCOA",)),
    "depth_areas": ((*classes.DEPTH_AREAS, "UNSARE"), ("DRVAL1", "DRVAL2")),
    "depth_contours": (("DEPCNT",), ("VALDCO",)),
    "soundings": (("SOUNDG",), ("DEPTH", "QUASOU")),
    "bridges": (("BRIDGE",), ("OBJNAM", "CATBRG", "VERCLR", "VERCCL", "VERCOP", "HORCLR")),
    "cables": (("CBLOHD", "CBLSUB", "PIPOHD", "PIPSOL"), ("OBJNAM", "VERCLR", "VERCSA", "CATCBL")),
    "structures": (_BUILT, ("OBJNAM", "CATSLC", "CATMOR", "WATLEV", "HEIGHT")),
    "restricted": (_RESTRICTED, ("OBJNAM", "CATREA", "RESTRN", "CATMFA", "INFORM")),
    "dangers": (classes.DANGERS, ("OBJNAM", "VALSOU", "WATLEV", "CATWRK", "CATOBS", "QUASOU")),
    "fairways": (("FAIRWY", "RECTRC", "NAVLNE", "DWRTPT", "TSSLPT"), ("OBJNAM", "ORIENT", "TRAFIC")),
}


def layers_around(chart: Chart, lat_deg: float, lon_deg: float, radius_m: float) -> dict[str, FeatureCollection]:
    """Return the layers a helm draws around a place.

    Keys: land, shoreline, depth_areas, depth_contours, soundings, marks, lights, bridges, cables, structures,
    restricted, dangers, fairways, coverage.  Every key is present.  Coordinates (lon, lat) degrees.

    Raises NoCoverage if no cell covers any of it.
    """
    return layers_of(chart.around(lat_deg, lon_deg, radius_m))


def layers_of(local: LocalChart) -> dict[str, FeatureCollection]:
    """Return the layers of a part of the chart already cut."""
    step_deg = math.degrees(2.0 * local.radius_m / _STEPS_ACROSS / EARTH_MEAN_RADIUS_M)
    table, lonlat = local.table, local.lonlat
    out: dict[str, FeatureCollection] = {}
    for layer, (wanted, kept) in _LAYERS.items():
        rows = np.flatnonzero(np.isin(table.objects, wanted))
        properties = []
        for row in rows:
            feature = table.features[row]
            given = feature.attributes
            properties.append(
                {"object": feature.object, "cell": feature.cell, "feature": feature.feature}
                | {name: given[name] for name in kept if name in given}
            )
        out[layer] = _collection(_simplified(lonlat[rows], step_deg), properties)
    out["marks"] = _marks(local)
    out["lights"] = _lights(local)
    coverage = _simplified(np.array([local.coverage_lonlat], dtype=object), step_deg)
    out["coverage"] = _collection(coverage, [{"object": "M_COVR"}])
    return out


def _marks(local: LocalChart) -> FeatureCollection:
    marks = local.marks
    properties = []
    for mark in marks:
        known: dict[str, Any] = {
            "object": mark.object,
            "cell": mark.cell,
            "feature": mark.feature,
            "lit": mark.lit,
            "floating": mark.floating,
            "racon": mark.has_racon,
            "name": mark.name,
            "height": mark.height_m,
            "colour": mark.attributes.get("COLOUR"),
            "light": "; ".join(light.text for light in lights_of_mark(mark)) or None,
        }
        shape = next((mark.attributes[name] for name in ("BOYSHP", "BCNSHP") if name in mark.attributes), None)
        side = next((mark.attributes[name] for name in ("CATLAM", "CATCAM") if name in mark.attributes), None)
        properties.append({k: v for k, v in (known | {"shape": shape, "category": side}).items() if v is not None})
    return _collection(_points(local, [(m.east_m, m.north_m) for m in marks]), properties)


def _lights(local: LocalChart) -> FeatureCollection:
    lights = local.lights
    properties = []
    for light in lights:
        sectors = [
            {
                "start_deg": sector.start_deg,
                "end_deg": sector.end_deg,
                "colour": [COLOURS[code] for code in sector.colours if code in COLOURS],
                "range_nm": sector.range_nm,
            }
            for sector in light.sectors
        ]
        known = {"object": "LIGHTS", "text": light.text, "name": light.name, "at_night": light.at_night}
        properties.append({k: v for k, v in known.items() if v is not None} | {"sectors": sectors})
    return _collection(_points(local, [(li.east_m, li.north_m) for li in lights]), properties)


def _points(local: LocalChart, places: Sequence[tuple[float, float]]) -> NDArray[np.object_]:
    if not places:
        return np.empty(0, dtype=object)
    plane = np.array(places, dtype=np.float64)
    lat, lon = local.frame.to_geographic(plane[:, 0], plane[:, 1])
    out: NDArray[np.object_] = shapely.points(np.column_stack([lon, lat]))
    return out


def _simplified(shapes: NDArray[np.object_], step_deg: float) -> NDArray[np.object_]:
    """Drop vertices nobody could see, keeping shapes valid and never losing a whole one."""
    count = shapely.get_num_coordinates(shapes)
    # Where vertices lie further apart than a few steps there is next to nothing to drop, and looking costs most.
    crowded = (count > 8) & (shapely.length(shapes) < _CROWDED_STEPS * step_deg * count)
    if not crowded.any():
        return shapes
    out = shapes.copy()
    out[crowded] = shapely.simplify(shapes[crowded], step_deg, preserve_topology=True)
    return np.where(shapely.is_empty(out), shapes, out)


def _collection(shapes: NDArray[np.object_], properties: Sequence[dict[str, Any]]) -> FeatureCollection:
    rounded = shapely.transform(shapes, lambda xy: np.round(xy, _DIGITS_DEG)) if len(shapes) else shapes
    features = [
        {"type": "Feature", "geometry": shapely.geometry.mapping(shape), "properties": given}
        for shape, given in zip(rounded, properties, strict=True)
    ]
    return {"type": "FeatureCollection", "features": features}
