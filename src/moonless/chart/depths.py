"""The shallowest charted depth in a region, with what is not known of it kept apart."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from moonless.chart.overlay import common, joined, without
from moonless.chart.s57 import classes
from moonless.chart.types import Depths, Feature
from moonless.errors import NoCoverage

# A ten-thousandth of the region asked about.
_SLIVERS = 1e-4


def depths_of(region: shapely.Geometry, here: Sequence[Feature], covered_fraction: float) -> Depths:
    """Return the depths of a region from the features that touch it.

    Raises NoCoverage if nothing of it is covered.
    """
    if covered_fraction <= 0.0:
        raise NoCoverage(f"no chart covers any of the {shapely.area(region):.0f} m2 whose depth was asked for")
    depths: list[float] = []
    unknown_dangers = 0
    surveyed: list[shapely.Geometry] = []
    unsurveyed: list[shapely.Geometry] = []
    land: list[shapely.Geometry] = []
    for feature in here:
        depth = None
        area = shapely.get_dimensions(feature.shape) == 2
        if feature.object in classes.DEPTH_AREAS:
            depth = feature.number("DRVAL1")
            if area:
                (unsurveyed if depth is None else surveyed).append(feature.shape)
                if not _overlaps(region, feature.shape):
                    depth = None
        elif feature.object == "SOUNDG":
            depth = feature.number("DEPTH")
        elif feature.object in classes.DANGERS:
            depth = danger_depth_m(feature)
            unknown_dangers += depth is None
        elif feature.object == "UNSARE":
            unsurveyed.append(feature.shape)
        elif feature.object == "LNDARE":
            land.append(feature.shape)
            # Land is at its lowest where it just covers: no boat has water there.
            if not area or _overlaps(region, feature.shape):
                depth = 0.0
        elif area:
            surveyed.append(feature.shape)
        if depth is not None:
            depths.append(depth)
    return Depths(
        shallowest_m=min(depths, default=None),
        covered_fraction=covered_fraction,
        unsurveyed_fraction=_unsurveyed(region, covered_fraction, [*surveyed, *land], unsurveyed),
        land_fraction=_share(region, land),
        unknown_dangers=unknown_dangers,
    )


def danger_depth_m(feature: Feature) -> float | None:
    """Return the depth over a rock, wreck or obstruction; None if the chart does not give it.

    VALSOU where charted.  Else WATLEV tells the most that can be there: what is dry at some state of the tide
    (1, 2, 4) or awash at datum (5) has no water over it at chart datum.
    """
    depth = feature.number("VALSOU")
    if depth is not None:
        return depth
    if feature.attributes.get("WATLEV") in (1, 2, 4, 5):
        return 0.0
    if feature.object == "WRECKS" and feature.attributes.get("CATWRK") in (4, 5):
        return 0.0
    return None


def _overlaps(region: shapely.Geometry, shape: shapely.Geometry) -> bool:
    """Return whether two things share more than an edge; a region without area shares by touching."""
    return shapely.get_dimensions(region) < 2 or not shapely.touches(region, shape)


def _share(region: shapely.Geometry, shapes: Sequence[shapely.Geometry]) -> float:
    areas = [shape for shape in shapes if shapely.get_dimensions(shape) == 2]
    if not areas:
        return 0.0
    whole = joined(areas)
    if shapely.get_dimensions(region) == 2:
        return float(min(1.0, shapely.area(common(whole, region)) / shapely.area(region)))
    if shapely.get_dimensions(region) == 1:
        return float(min(1.0, shapely.length(common(whole, region)) / shapely.length(region)))
    return float(shapely.intersects(whole, region))


def _unsurveyed(
    region: shapely.Geometry,
    covered_fraction: float,
    known: Sequence[shapely.Geometry],
    unknown: Sequence[shapely.Geometry],
) -> float:
    areas = [shape for shape in known if shapely.get_dimensions(shape) == 2]
    whole = joined(areas)
    if unknown:
        whole = without(whole, joined(unknown))
    share = covered_fraction - _share(region, [whole])
    # Areas that meet along long edges leave slivers between them, not unsurveyed water; what the chart itself calls
    # unsurveyed counts however small it is.
    return float(share) if share > (1e-9 if unknown else _SLIVERS) else 0.0
