"""The judge: one situation in, one reading out."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.constants import TAU
from moonless.frames import wrap_180, wrap_360
from moonless.reading import geojson, hidden
from moonless.reading.approach import closest_approach
from moonless.reading.evidence import Evidence, PoseSigma, gather
from moonless.reading.explain import Explained, explain
from moonless.reading.own import OwnPlane, own_in_plane
from moonless.reading.place import Place, lay_out
from moonless.reading.situation import Situation
from moonless.reading.speed import HiddenAhead, advise, stopping_line_m
from moonless.reading.strips import Interval, join, ring_of
from moonless.reading.types import (
    AisLabel,
    Call,
    ChartedAs,
    Echo,
    Own,
    Reading,
    Registration,
    SpeedAdvice,
)
from moonless.reading.why import why
from moonless.units import mps_to_kn

Floats = NDArray[np.float64]

# How far the chart is laid out when no scan says how far the radar looks.
LOOK_M = 5556.0


class Judge:
    """Turns situations into readings, one each turn, remembering what it must between them."""

    def __init__(self, boat: Boat, chart: Any = None, knowledge: Any = None) -> None:
        self._boat = boat
        self._chart = chart
        self._knowledge = knowledge
        self._place: Place | None = None
        self._place_asked: tuple[Any, float, float, float] | None = None

    def acknowledge(self, call: Call) -> None:
        """Say no more of a call until what it tells changes."""

    def read(self, situation: Situation) -> Reading:
        """Return what the skipper is told about this turn."""
        told_own = _own(situation)
        own = own_in_plane(situation)
        if own is None or any(f.what == "radar" and f.state != "disagrees" for f in situation.faults):
            return self._withdrawn(situation, told_own, own)
        reach = situation.scan.max_range_m if situation.scan is not None else LOOK_M
        place = self._place_for(own, reach)
        tracks = () if own.heading_rad is None else tuple(t for t in situation.tracks if t.state != "tentative")
        pose = PoseSigma(self._boat.position_sigma_m, self._boat.heading_sigma_rad)
        evidence = gather(tracks, own, place, self._boat, pose)
        explained = explain(evidence, place, None)
        echoes = self._echoes(own, evidence, explained, place)
        shadows = None
        ahead: list[HiddenAhead] = []
        if place is not None and own.heading_rad is not None:
            shadows, ahead = self._hidden(own, place, reach)
        return Reading(
            time_ns=situation.time_ns,
            own=told_own,
            echoes=echoes,
            missing=(),
            hidden=shadows,
            seeing=(),
            seeing_line=None,
            stopping_m=None if own.sog is None else stopping_line_m(own.sog, self._boat),
            registration=Registration(None, None, None, None, None),
            speed=advise(self._boat, None, ahead),
            faults=situation.faults,
        )

    def _withdrawn(self, situation: Situation, told_own: Own, own: OwnPlane | None) -> Reading:
        return Reading(
            time_ns=situation.time_ns,
            own=told_own,
            echoes=(),
            missing=(),
            hidden=None,
            seeing=(),
            seeing_line=None,
            stopping_m=stopping_line_m(own.sog, self._boat) if own is not None and own.sog is not None else None,
            registration=Registration(None, None, None, None, None),
            speed=SpeedAdvice(None, "The radar picture or own position is withdrawn, so no speed can be said."),
            faults=situation.faults,
        )

    def _place_for(self, own: OwnPlane, reach_m: float) -> Place | None:
        if self._chart is None:
            return None
        if self._place is not None and self._place.serves(own.frame, own.east_m, own.north_m, reach_m):
            return self._place
        asked = (own.frame, round(own.east_m, -2), round(own.north_m, -2), reach_m)
        if self._place is None and asked == self._place_asked:
            return None
        self._place_asked = asked
        self._place = lay_out(self._chart, own.frame, own.east_m, own.north_m, reach_m)
        return self._place

    def _hidden(self, own: OwnPlane, place: Place, reach: float) -> tuple[dict[str, Any], list[HiddenAhead]]:
        starts = bool(place.on_land(np.array([[own.east_m, own.north_m]]))[0])
        rows = hidden.behind_land(place.land_edges, own.east_m, own.north_m, reach, starts)
        strips = join(rows)
        step = TAU / hidden.N_BEARINGS
        rings = [ring_of(s, step, own.east_m, own.north_m, tolerance_m=5.0) for s in strips]
        lonlat = geojson.rings_lonlat(own.frame, rings)
        features = [
            geojson.feature(geojson.polygon([ring]), by=strip.cause) for strip, ring in zip(strips, lonlat, strict=True)
        ]
        return geojson.collection(features), _ahead(own, rows)

    def _echoes(
        self, own: OwnPlane, evidence: Evidence, explained: list[Explained], place: Place | None
    ) -> tuple[Echo, ...]:
        if not explained:
            return ()
        moving = evidence.p_moving > 0.5
        velocity = np.array([(t.velocity_east, t.velocity_north) for t in evidence.tracks])
        relative = np.where(moving[:, None], velocity, 0.0) - np.array(own.velocity)
        covariance = np.zeros((len(explained), 4, 4))
        covariance[:, :2, :2] = evidence.covariance
        full = np.array([t.covariance for t in evidence.tracks])
        covariance[moving, 2:, 2:] = full[moving, 2:, 2:]
        covariance[moving, :2, 2:] = full[moving, :2, 2:]
        covariance[moving, 2:, :2] = full[moving, 2:, :2]
        meet = closest_approach(evidence.position_en - np.array([own.east_m, own.north_m]), relative, covariance)
        lat, lon = own.frame.to_geographic(evidence.position_en[:, 0], evidence.position_en[:, 1])
        known_motion = own.sog is not None and own.cog_rad is not None
        out = []
        for i, told in enumerate(explained):
            track = evidence.tracks[i]
            bearing = wrap_360(math.degrees(evidence.bearing_rad[i]))
            charted = None
            if told.mark is not None and place is not None:
                mark = place.marks[told.mark]
                charted = ChartedAs(mark.object, mark.name, mark.cell, mark.feature, float(told.offset_m or 0.0))
            out.append(
                Echo(
                    id=track.id,
                    lat=float(lat[i]),
                    lon=float(lon[i]),
                    range_m=float(evidence.range_m[i]),
                    bearing_deg=bearing,
                    relative_bearing_deg=_relative(bearing, own),
                    cog_deg=wrap_360(math.degrees(track.course_rad)) if moving[i] else None,
                    sog_kn=mps_to_kn(track.speed),
                    length_m=track.length_m,
                    kind=told.kind,
                    confidence=min(1.0, max(0.0, told.confidence)),
                    p_moving=track.p_moving,
                    charted_as=charted,
                    ais=None if track.ais is None else AisLabel(track.ais.mmsi, track.ais.name),
                    cpa_m=float(meet.distance_m[i]) if known_motion else None,
                    tcpa_s=float(meet.time_s[i]) if known_motion else None,
                    cpa_sigma_m=float(meet.sigma_m[i]) if known_motion else None,
                    why=why(i, evidence, told, place),
                    coasting=track.state == "coasting",
                )
            )
        return tuple(out)


def _ahead(own: OwnPlane, rows: list[list[Interval]]) -> list[HiddenAhead]:
    """Return the nearest hidden water on each bearing within sixty degrees of the way ahead."""
    ahead = own.ahead_rad
    if ahead is None:
        return []
    out = []
    middle = hidden.bearing_index(ahead)
    span = hidden.N_BEARINGS // 6
    for k in range(-span, span + 1, 4):
        row = rows[(middle + k) % hidden.N_BEARINGS]
        if row:
            out.append(HiddenAhead(row[0][0], k * TAU / hidden.N_BEARINGS))
    return out


def _relative(bearing_deg: float, own: OwnPlane) -> float | None:
    return None if own.heading_rad is None else wrap_180(bearing_deg - math.degrees(own.heading_rad))


def _own(situation: Situation) -> Own:
    own = situation.own
    gone = {f.what for f in situation.faults if f.state != "disagrees"}
    lost = "position" in gone or "clock" in gone
    return Own(
        lat=None if lost else own.lat_deg,
        lon=None if lost else own.lon_deg,
        cog_deg=None if own.cog_rad is None or lost else wrap_360(math.degrees(own.cog_rad)),
        sog_kn=None if own.sog is None or lost else mps_to_kn(own.sog),
        heading_deg=None
        if own.heading_true_rad is None or "heading" in gone
        else wrap_360(math.degrees(own.heading_true_rad)),
    )
