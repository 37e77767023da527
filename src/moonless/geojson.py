"""GeoJSON (RFC 7946) as types, and the few objects that are written in it.  Longitude first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, TypedDict

Position = Sequence[float]
"""Longitude, latitude."""


class GeoPoint(TypedDict):
    """One place."""

    type: Literal["Point"]
    coordinates: Position


class LineString(TypedDict):
    """A line of two places or more."""

    type: Literal["LineString"]
    coordinates: Sequence[Position]


class Polygon(TypedDict):
    """The outer ring first, then holes; every ring ends where it begins."""

    type: Literal["Polygon"]
    coordinates: Sequence[Sequence[Position]]


class MultiPolygon(TypedDict):
    """Several polygons as one thing."""

    type: Literal["MultiPolygon"]
    coordinates: Sequence[Sequence[Sequence[Position]]]


class Surface(TypedDict):
    """A polygon or several, whichever it is."""

    type: Literal["Polygon", "MultiPolygon"]
    coordinates: Sequence[Sequence[Sequence[object]]]


Geometry = GeoPoint | LineString | Polygon | MultiPolygon


class GeoFeature(TypedDict):
    """A shape with what is said of it."""

    type: Literal["Feature"]
    geometry: Geometry | None
    properties: Mapping[str, object]


class FeatureCollection(TypedDict):
    """Several features."""

    type: Literal["FeatureCollection"]
    features: Sequence[GeoFeature]


def polygon(rings: Sequence[Sequence[Position]]) -> Polygon:
    """Return a polygon: the outer ring first, then holes."""
    return {"type": "Polygon", "coordinates": rings}


def feature(geometry: Geometry | None, **properties: object) -> GeoFeature:
    """Return a feature."""
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def collection(features: Iterable[GeoFeature]) -> FeatureCollection:
    """Return a collection of features."""
    return {"type": "FeatureCollection", "features": list(features)}
