"""Hidden water of one turn: the raster filled, and its polygons."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.constants import TAU
from moonless.echo.types import EchoPicture
from moonless.radar.link.detection import clutter_weight, required_snr
from moonless.reading import geojson
from moonless.reading.chart_around import Place
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.reading.own import OwnPlane
from moonless.reading.visibility import raster
from moonless.reading.visibility.outlines import outlines
from moonless.reading.visibility.raster import Waters
from moonless.reading.visibility.seeing import P_TURN_HELD, Curve, clutter_at
from moonless.reading.visibility.sight_lines import N_BEARINGS, crossings
from moonless.scan.types import Scan

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# A vessel this long, by AIS, stands higher than the antenna of a small boat and hides what is behind her.
SHADING_LENGTH_M = 20.0
# By radar alone she must be seen this long past what the beam makes of a point and past the doubt in her length, be
# held this often and be told a vessel with this confidence; her echo is far stronger than a crest's or a small boat's;
# and close aboard, where every crest is an echo, radar alone is not believed.  Own figures, no source.
SHADING_SEEN_M = 25.0
SHADING_HITS = 15
SHADING_CONFIDENCE = 0.8
SHADING_RCS_DB = 15.0
SHADING_FROM_M = 100.0
# A still echo of more than this, in dB over 1 m2, is no boat: a ship, a barge, an islet.  Own figures.
LAND_RCS_DB, LAND_WIDTH_M = 25.0, 40.0
# Shorter than this it is told as a vessel at anchor, longer as land.
ANCHORED_LENGTH_M = 45.0
# Height of hull and house above the water over length.  Common practice, no source.
HEIGHT_PER_LENGTH = 0.22
# Clutter hides where a small boat would show in less than this share of turns, though without clutter she would.
CLUTTER_P = 0.5
# How much wider than the strip a hidden polygon may be drawn, in share of range: keeps the polygons small.
TOLERANCE_SHARE = 0.0015
# Drawn half a bearing wider at both ends: the edge of a shadow may lie anywhere between two bearings, and hidden water
# must not be shown as seen.
PAD_ROWS = 0.5


def fill(
    boat: Boat,
    own: OwnPlane,
    place: Place,
    reach_m: float,
    evidence: Evidence,
    explained: list[Explained],
    shadow_height_m: Floats | None,
    curve: Curve,
    performance_db: float,
    scan: Scan | None,
    picture: EchoPicture | None,
    pulse_m: float,
) -> Waters:
    """Return the waters of one turn.

    ``shadow_height_m``: (N_BEARINGS, N_CELLS) on true bearings from the radar model: lower things are out of sight;
    None: no model, and land hides whatever lies behind it.
    """
    starts = bool(place.on_land(np.array([[own.east_m, own.north_m]]))[0])
    ranges, counts = crossings(place.land_edges, own.east_m, own.north_m, reach_m)
    water = raster.blank(ranges, counts, reach_m, starts)
    small = boat.skipper.smallest_height_m
    r = water.range_m
    horizon = raster.horizon_mask(boat.radar, r, small)
    behind = raster.behind_first_land(water.land)
    if shadow_height_m is not None:
        behind = (shadow_height_m > small) & ~horizon
    water.hide(behind, "land")
    _behind_vessels(water, evidence, explained, boat, small)
    _behind_uncharted(water, evidence, explained)
    if own.heading_rad is not None and boat.radar.blind_sectors_rad:
        water.hide(np.broadcast_to(raster.blind_mask(boat.radar, own.heading_rad), water.land.shape), "blind sector")
    water.hide(raster.near_mask(boat.radar, r, pulse_m), "near range")
    if picture is not None and scan is not None and own.heading_rad is not None:
        water.hide(_in_clutter(boat, own, water, curve, performance_db, scan, picture), "clutter")
    water.hide(horizon, "horizon")
    return water


def _behind_vessels(water: Waters, evidence: Evidence, explained: list[Explained], boat: Boat, small_m: float) -> None:
    antenna = boat.radar.height_m
    for i, track in enumerate(evidence.tracks):
        length = track.ais.length_m if track.ais is not None else None
        if length is None:
            length = _length_by_radar(evidence, explained, i)
        if length is None or length < SHADING_LENGTH_M:
            continue
        if evidence.shore_distance_m[i] < 30.0 or evidence.bridge_distance_m[i] < 30.0:
            continue
        height = HEIGHT_PER_LENGTH * length
        reach = float(evidence.range_m[i])
        if reach < 1.0:
            continue
        # The ray over her top comes down to the small boat's height, if ever, here.
        drop = antenna - height
        ends = math.inf if drop <= 0.0 else reach * (antenna - small_m) / drop if antenna > small_m else math.inf
        width = _seen_width(track.orientation_rad, length, float(evidence.bearing_rad[i]))
        rows, along = raster.sector_mask(
            water.range_m, float(evidence.bearing_rad[i]), math.atan2(0.5 * width, reach), reach + 0.5 * length, ends
        )
        mask = np.zeros_like(water.land)
        mask[rows] = along
        water.hide(mask, "vessel")


def _length_by_radar(evidence: Evidence, explained: list[Explained], i: int) -> float | None:
    """Return a vessel's length where radar alone is sure that she is long; None: not sure."""
    track, told = evidence.tracks[i], explained[i]
    if track.length_m is None or told.kind != "vessel" or told.confidence < SHADING_CONFIDENCE:
        return None
    if track.n_hits < SHADING_HITS or evidence.range_m[i] < SHADING_FROM_M or not evidence.rcs_db[i] > SHADING_RCS_DB:
        return None
    seen = track.length_m - 2.0 * evidence.beam_rad * float(evidence.range_m[i]) - 2.0 * (track.length_sigma_m or 0.0)
    return track.length_m if seen > SHADING_SEEN_M else None


def _behind_uncharted(water: Waters, evidence: Evidence, explained: list[Explained]) -> None:
    """Hide what lies behind a still echo that no chart knows and that is too strong for a boat: land, or as good."""
    for i, told in enumerate(explained):
        if told.kind != "uncharted" or not evidence.rcs_db[i] > LAND_RCS_DB or evidence.tracks[i].n_hits < SHADING_HITS:
            continue
        reach = float(evidence.range_m[i])
        if reach < SHADING_FROM_M:
            continue
        length = evidence.tracks[i].length_m
        is_vessel = length is not None and length < ANCHORED_LENGTH_M
        width = length if length is not None and is_vessel else max(length or 0.0, LAND_WIDTH_M)
        rows, along = raster.sector_mask(
            water.range_m, float(evidence.bearing_rad[i]), math.atan2(0.5 * width, reach), reach + 0.5 * width, math.inf
        )
        mask = np.zeros_like(water.land)
        mask[rows] = along
        water.hide(mask, "vessel" if is_vessel else "land")


def _seen_width(orientation_rad: float | None, length_m: float, bearing_rad: float) -> float:
    if orientation_rad is None:
        return length_m
    return max(0.25 * length_m, length_m * abs(math.sin(orientation_rad - bearing_rad)))


def _in_clutter(
    boat: Boat, own: OwnPlane, water: Waters, curve: Curve, performance_db: float, scan: Scan, picture: EchoPicture
) -> Bools:
    assert own.heading_rad is not None
    clutter = clutter_at(picture.clutter_db, scan.first_cell_m, scan.cell_m, own.heading_rad, water.range_m, N_BEARINGS)
    smooth = _smoothed(np.where(np.isfinite(clutter), clutter, 0.0), water.land)
    snr = np.interp(water.range_m, curve.range_m, curve.snr) * boat.skipper.smallest_rcs_m2
    level = snr * 10.0 ** (performance_db / 10.0)
    clear = level >= required_snr(P_TURN_HELD, curve.hits)
    drowned = level / (1.0 + clutter_weight(curve.hits) * smooth) < required_snr(CLUTTER_P, curve.hits)
    return np.asarray(clear[None, :] & drowned)


def _smoothed(clutter: Floats, land: Bools) -> Floats:
    """Return the clutter averaged over five bearings and cells, without what land and its skirts give."""
    kept = np.where(land, 0.0, clutter)
    total = kept.copy()
    for k in (1, 2):
        total += np.roll(kept, k, axis=0) + np.roll(kept, -k, axis=0)
    return total / 5.0


def polygons(own: OwnPlane, water: Waters, reach_m: float) -> dict[str, Any]:
    """Return the hidden water as a GeoJSON FeatureCollection, each feature with its cause in ``by``."""
    least = max(1, math.ceil(raster.LEAST_DEPTH_M / water.cell_m))
    rings, causes = outlines(
        water.cause, water.cell_m, TAU / N_BEARINGS, own.east_m, own.north_m, TOLERANCE_SHARE * reach_m, PAD_ROWS, least
    )
    lonlat = geojson.rings_lonlat(own.frame, rings)
    return geojson.collection(
        geojson.feature(geojson.polygon([ring]), by=raster.CAUSES[number - 1])
        for number, ring in zip(causes, lonlat, strict=True)
    )
