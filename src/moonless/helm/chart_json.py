"""The chart around the boat in the form the screens draw: shapes by kind, and the few points that ink writes."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

import shapely

from moonless.chart.library import Chart
from moonless.chart.tiles import layers_around
from moonless.helm.events import ChartReady

# As far as the longest range that a small boat's helm is left on; asked for afresh well before the edge is near.
RADIUS_M = 15_000.0
ASK_AGAIN_M = 6_000.0
# Which layer is drawn as which kind of stroke.
_KIND = {
    "land": "land",
    "shoreline": "coast",
    "depth_areas": "depth",
    "depth_contours": "contour",
    "bridges": "bridge",
    "cables": "cable",
    "structures": "works",
    "restricted": "area",
    "fairways": "fairway",
    "coverage": "coverage",
}


def chart_ready(chart: Chart, lat_deg: float, lon_deg: float, radius_m: float = RADIUS_M) -> ChartReady:
    """Return the chart around a place, keyed by its content.

    Raises NoCoverage if no cell touches it.
    """
    layers = layers_around(chart, lat_deg, lon_deg, radius_m)
    body = {
        "cells": [
            {
                "name": cell.name,
                "scale": cell.scale,
                "issued": cell.issued,
                "not_for_navigation": cell.not_for_navigation,
            }
            for cell in chart.cells
        ],
        "shapes": {"type": "FeatureCollection", "features": list(_shapes(layers))},
        "marks": list(_marks(layers)),
        "bridges": list(_bridges(layers["bridges"]["features"])),
        "dangers": list(_dangers(layers["dangers"]["features"])),
        "soundings": list(_soundings(layers["soundings"]["features"])),
    }
    text = json.dumps(body, separators=(",", ":"), ensure_ascii=False, default=float).encode()
    key = hashlib.sha256(text).hexdigest()[:16]
    return ChartReady(key, b'{"key":"' + key.encode() + b'",' + text[1:])


def _shapes(layers: Mapping[str, Any]) -> Iterable[dict[str, Any]]:
    for layer, kind in _KIND.items():
        for feature in layers[layer]["features"]:
            properties: dict[str, Any] = {"k": kind}
            if kind == "depth":
                properties["d"] = _number(feature["properties"].get("DRVAL1"))
            yield {"type": "Feature", "geometry": feature["geometry"], "properties": properties}


def _marks(layers: Mapping[str, Any]) -> Iterable[dict[str, Any]]:
    for feature in layers["marks"]["features"]:
        lon, lat = feature["geometry"]["coordinates"][:2]
        given = feature["properties"]
        yield {
            "o": given["object"],
            "n": given.get("name"),
            "f": f"{given['cell']}/{given['feature']}",
            "lat": lat,
            "lon": lon,
            "lit": bool(given.get("lit")),
            "light": given.get("light"),
        }


def _bridges(features: Iterable[Mapping[str, Any]]) -> Iterable[dict[str, Any]]:
    for feature in features:
        shape = shapely.geometry.shape(feature["geometry"])
        if shape.is_empty:
            continue
        middle = shapely.point_on_surface(shape)
        given = feature["properties"]
        opening = _number(given.get("VERCOP"))
        closed = _number(given.get("VERCLR"))
        if closed is None:
            closed = _number(given.get("VERCCL"))
        yield {
            "n": given.get("OBJNAM"),
            "lat": middle.y,
            "lon": middle.x,
            "clear_m": closed,
            "opens": opening is not None,
        }


def _dangers(features: Iterable[Mapping[str, Any]]) -> Iterable[dict[str, Any]]:
    for feature in features:
        shape = shapely.geometry.shape(feature["geometry"])
        if shape.is_empty:
            continue
        middle = shapely.point_on_surface(shape)
        given = feature["properties"]
        yield {
            "o": given["object"],
            "n": given.get("OBJNAM"),
            "lat": middle.y,
            "lon": middle.x,
            "d": _number(given.get("VALSOU")),
        }


def _soundings(features: Iterable[Mapping[str, Any]]) -> Iterable[list[float]]:
    for feature in features:
        depth = _number(feature["properties"].get("DEPTH"))
        geometry = feature["geometry"]
        points = [geometry["coordinates"]] if geometry["type"] == "Point" else geometry["coordinates"]
        for point in points:
            value = depth if depth is not None else (_number(point[2]) if len(point) > 2 else None)
            if value is not None:
                yield [point[1], point[0], round(value, 1)]


def _number(value: Any) -> float | None:
    """Return a finite number; None where the chart gives none."""
    if value is None or value == "":
        return None
    number = float(value)
    return number if math.isfinite(number) else None
