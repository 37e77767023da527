"""Tracks explained, put into the words and units of the reading."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.frames import wrap_180, wrap_360
from moonless.reading.chart_around import Place
from moonless.reading.collision.encounter import Encounter, encounters
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.reading.identify.reasons import why
from moonless.reading.own import OwnPlane
from moonless.reading.situation import Sight
from moonless.reading.types import AisLabel, ChartedAs, Echo
from moonless.track.cpa import cpa, cpa_sigma
from moonless.units import mps_to_kn

Floats = NDArray[np.float64]

# Own speed over ground is not exact: a tenth of a knot and a degree or two.  Common practice, no source.
OWN_SPEED_SIGMA = 0.1


def tell(
    own: OwnPlane,
    evidence: Evidence,
    explained: list[Explained],
    place: Place | None,
) -> tuple[Echo, ...]:
    """Return the echoes of one turn, in the order of the evidence.  ``own`` and the tracks are put right already."""
    n = len(explained)
    if n == 0:
        return ()
    moves = moving(evidence)
    velocity = np.array([(t.velocity_east, t.velocity_north) for t in evidence.tracks])
    relative_velocity = np.where(moves[:, None], velocity, 0.0) - np.array(own.velocity)
    relative = evidence.position_en - np.array([own.east_m, own.north_m])
    covariance = relative_covariance(evidence)
    meet = cpa(relative, relative_velocity)
    sigma = cpa_sigma(relative, relative_velocity, covariance).distance_m
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
                cog_deg=wrap_360(math.degrees(track.course_rad)) if moves[i] else None,
                sog_kn=mps_to_kn(track.speed) if moves[i] else 0.0,
                length_m=track.length_m,
                kind=told.kind,
                confidence=min(1.0, max(0.0, told.confidence)),
                p_moving=min(1.0, max(0.0, float(evidence.p_moving[i]))),
                charted_as=charted,
                ais=None if track.ais is None else AisLabel(track.ais.mmsi, track.ais.name),
                cpa_m=float(meet.distance_m[i]) if known_motion else None,
                tcpa_s=float(meet.time_s[i]) if known_motion else None,
                cpa_sigma_m=float(sigma[i]) if known_motion else None,
                why=why(i, evidence, told, place),
                coasting=track.state == "coasting",
                nav_status=None if track.ais is None else track.ais.nav_status,
            )
        )
    return tuple(out)


def moving(evidence: Evidence) -> NDArray[np.bool_]:
    """Return (n,) which tracks are told as moving."""
    return np.asarray(evidence.p_moving > 0.5)


def relative_covariance(evidence: Evidence) -> Floats:
    """Return (n, 4, 4) of place and motion relative to the boat; what is told as still has no motion of its own."""
    moves = moving(evidence)
    out = np.zeros((len(evidence.tracks), 4, 4))
    if not len(out):
        return out
    out[:, :2, :2] = evidence.covariance
    full = np.array([t.covariance for t in evidence.tracks])
    out[moves, 2:, 2:] = full[moves, 2:, 2:]
    out[moves, :2, 2:] = full[moves, :2, 2:]
    out[moves, 2:, :2] = full[moves, 2:, :2]
    out[:, 2, 2] += OWN_SPEED_SIGMA**2
    out[:, 3, 3] += OWN_SPEED_SIGMA**2
    return out


def _relative(bearing_deg: float, own: OwnPlane) -> float | None:
    return None if own.heading_rad is None else wrap_180(bearing_deg - math.degrees(own.heading_rad))


def meetings(own: OwnPlane, echoes: tuple[Echo, ...], sight: Sight) -> dict[int, tuple[Encounter, ...]]:
    """Return what the rules say of each moving vessel whose closest approach lies ahead in time."""
    ahead = own.ahead_rad
    if ahead is None or own.sog is None:
        return {}
    out = {}
    for echo in echoes:
        if echo.kind != "vessel" or echo.cog_deg is None or echo.tcpa_s is None or echo.tcpa_s <= 0.0:
            continue
        heading = own.heading_rad if own.heading_rad is not None else ahead
        said = encounters(
            sight,
            heading,
            own.sog,
            math.radians(echo.bearing_deg),
            math.radians(echo.cog_deg),
            echo.sog_kn * 1852.0 / 3600.0,
            echo.nav_status,
        )
        if said:
            out[echo.id] = said
    return out
