"""Which of the echoes hide the water behind them: long vessels, and what is too strong for a boat and not charted."""

from __future__ import annotations

import math

import numpy as np

from moonless.reading.chart_around import Place
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.reading.line import HiddenBy
from moonless.reading.own import OwnPlane
from moonless.reading.situation import Situation
from moonless.reading.visibility.hidden_water import Obstruction
from moonless.track.types import AisTarget
from moonless.units import NS_PER_S

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
# What lies this near to shore or bridge is a piece of it.
NEAR_SHORE_M = 30.0
# A still echo of more than this, in dB over 1 m2, is no boat: a ship, a barge, an islet.  Own figures.
LAND_RCS_DB, LAND_WIDTH_M = 25.0, 40.0
# Shorter than this it is told as a vessel at anchor, longer as land.
ANCHORED_LENGTH_M = 45.0
# Height of hull and house above the water over length.  Common practice, no source.
HEIGHT_PER_LENGTH = 0.22
# A ship of which AIS spoke within this, carried on by her course and speed, stands there though no echo has been given
# her: a hull close by answers in pieces, none of which lies where AIS has her middle.  Own figure.
SPOKE_S = 30.0


def obstructions_of(evidence: Evidence, explained: list[Explained], is_cut: bool = False) -> list[Obstruction]:
    """Return the bodies that hide water: vessels first, then what stands where the chart has nothing.

    ``is_cut``: the set has cut the picture flat; a strong echo is as wide there as its side lobes reach.
    """
    return [*_vessels(evidence, explained, is_cut), *_uncharted(evidence, explained, is_cut)]


def _vessels(evidence: Evidence, explained: list[Explained], is_cut: bool) -> list[Obstruction]:
    out = []
    for i, track in enumerate(evidence.tracks):
        length = track.ais.length_m if track.ais is not None else None
        if length is None:
            length = _length_by_radar(evidence, explained, i, is_cut)
        if length is None or length < SHADING_LENGTH_M:
            continue
        if evidence.shore_distance_m[i] < NEAR_SHORE_M or evidence.bridge_distance_m[i] < NEAR_SHORE_M:
            continue
        reach, bearing = float(evidence.range_m[i]), float(evidence.bearing_rad[i])
        width = _seen_width(track.orientation_rad, length, bearing)
        out.append(Obstruction(bearing, reach, width, 0.5 * length, HEIGHT_PER_LENGTH * length, "vessel"))
    return out


def unanswered_hulls(situation: Situation, evidence: Evidence, own: OwnPlane, place: Place | None) -> list[Obstruction]:
    """Return the ships that AIS tells of and that no echo has been given to; they hide water all the same."""
    answered = {track.ais.mmsi for track in evidence.tracks if track.ais is not None}
    out = []
    for ship in situation.ais:
        length = ship.length_m
        age_s = (situation.time_ns - ship.time_ns) / NS_PER_S
        if ship.mmsi in answered or ship.is_aid or ship.is_own or length is None or length < SHADING_LENGTH_M:
            continue
        if not -SPOKE_S < age_s < SPOKE_S:
            continue
        east, north = _carried_on(ship, own, age_s)
        at = np.array([[east, north]])
        if place is not None and (place.on_land(at)[0] or place.shore.distance(at)[0] < NEAR_SHORE_M):
            continue
        bearing = math.atan2(east - own.east_m, north - own.north_m)
        reach = math.hypot(east - own.east_m, north - own.north_m)
        if reach < SHADING_FROM_M:
            # So near without an echo she is not there: our own transponder heard again, or one gone wrong.
            continue
        width = _seen_width(ship.heading_rad if ship.heading_rad is not None else ship.cog_rad, length, bearing)
        out.append(Obstruction(bearing, reach, width, 0.5 * length, HEIGHT_PER_LENGTH * length, "vessel"))
    return out


def _carried_on(ship: AisTarget, own: OwnPlane, age_s: float) -> tuple[float, float]:
    east, north = own.frame.to_plane(ship.lat_deg, ship.lon_deg)
    away = 0.0 if ship.sog is None or ship.cog_rad is None else ship.sog * age_s
    course = ship.cog_rad or 0.0
    return float(east) + away * math.sin(course), float(north) + away * math.cos(course)


def _length_by_radar(evidence: Evidence, explained: list[Explained], i: int, is_cut: bool) -> float | None:
    """Return a vessel's length where radar alone is sure that she is long; None: not sure."""
    told = explained[i]
    if told.kind != "vessel" or told.confidence < SHADING_CONFIDENCE or not _is_surely_long(evidence, i, is_cut):
        return None
    return evidence.tracks[i].length_m


def _is_surely_long(evidence: Evidence, i: int, is_cut: bool) -> bool:
    """Return whether radar alone is sure that a thing is longer than any boat, and as strong.

    Where no scale is learnt, and no strength tells a cross-section, the top of the scale is strong; but in a cut
    picture everything stands there.
    """
    track = evidence.tracks[i]
    is_strong = evidence.rcs_db[i] > SHADING_RCS_DB
    if math.isnan(evidence.rcs_db[i]):
        is_strong = evidence.clipped[i] and not is_cut
    if track.length_m is None or track.n_hits < SHADING_HITS or evidence.range_m[i] < SHADING_FROM_M or not is_strong:
        return False
    seen = track.length_m - 2.0 * evidence.beam_rad * float(evidence.range_m[i]) - 2.0 * (track.length_sigma_m or 0.0)
    return seen > SHADING_SEEN_M


def _uncharted(evidence: Evidence, explained: list[Explained], is_cut: bool) -> list[Obstruction]:
    """Return the still echoes that no chart knows, too strong or too long for a boat: land, or as good."""
    out = []
    for i, told in enumerate(explained):
        if told.kind != "uncharted" or evidence.tracks[i].n_hits < SHADING_HITS:
            continue
        if not evidence.rcs_db[i] > LAND_RCS_DB and not _is_surely_long(evidence, i, is_cut):
            continue
        reach = float(evidence.range_m[i])
        if reach < SHADING_FROM_M:
            continue
        length = evidence.tracks[i].length_m
        is_vessel = length is not None and length < ANCHORED_LENGTH_M
        width = length if length is not None and is_vessel else max(length or 0.0, LAND_WIDTH_M)
        by: HiddenBy = "vessel" if is_vessel else "land"
        out.append(Obstruction(float(evidence.bearing_rad[i]), reach, width, 0.5 * width, math.inf, by))
    return out


def _seen_width(orientation_rad: float | None, length_m: float, bearing_rad: float) -> float:
    if orientation_rad is None:
        return length_m
    return max(0.25 * length_m, length_m * abs(math.sin(orientation_rad - bearing_rad)))
