"""The public reading of a turn, from what its stages made of it."""

from __future__ import annotations

import math

import numpy as np

from moonless.frames import wrap_180, wrap_360
from moonless.reading.alerts.stage import TurnAlerts
from moonless.reading.collision.safe_speed import SafeSpeed
from moonless.reading.collision.stage import Risks
from moonless.reading.contact import Passing
from moonless.reading.identify.mark_watch import MissingMark
from moonless.reading.identify.stage import Identified
from moonless.reading.own import OwnPlane
from moonless.reading.publish.manoeuvres import manoeuvres_of
from moonless.reading.publish.polygons import hidden_polygons, seeing_polygon
from moonless.reading.registration.registrar import Agreement
from moonless.reading.registration.stage import Placed, Unplaced
from moonless.reading.situation import Situation
from moonless.reading.types import Echo, Missing, Own, Reading, Registration, Seeing, SpeedAdvice
from moonless.reading.visibility.stage import View
from moonless.units import DistanceUnit, mps_to_kn

NOTHING_KNOWN = Registration(None, None, None, None, None)
WITHDRAWN = SafeSpeed(None, "The radar picture or own position is withdrawn, so no speed can be said.")


def reading_of(
    placed: Placed, identified: Identified, view: View, risks: Risks, said: TurnAlerts, unit: DistanceUnit
) -> Reading:
    """Return the reading of a turn from what its stages made of it; ``unit``: the skipper's, for its words."""
    situation, own, has_scan = placed.situation, placed.own, placed.situation.scan is not None
    return Reading(
        time_ns=situation.time_ns,
        own=_own(situation, own, placed.agreement, placed.carried_age_s),
        echoes=_echoes(own, risks.passings),
        missing=tuple(_missing(own, mark) for mark in identified.missing),
        hidden=None if view.raster is None else hidden_polygons(view.raster),
        seeing=tuple(Seeing(size, held_m) for size, held_m in view.seeing_m),
        seeing_line=None if view.seeing_line_m is None else seeing_polygon(own, view.seeing_line_m),
        stopping_m=risks.stopping_m,
        registration=_registration(placed.agreement, situation.held is not None),
        speed=_speed(risks.speed),
        faults=situation.faults,
        calls=said.calls,
        instruction=said.instruction,
        alerts=said.alerts,
        performance_db=identified.performance.offset_db if has_scan else None,
        performance_sigma_db=identified.performance.sigma_db if has_scan else None,
        manoeuvres=manoeuvres_of(risks.clearing, unit),
    )


def reading_withdrawn(unplaced: Unplaced, stopping_m: float | None, said: TurnAlerts) -> Reading:
    """Return the reading of a turn whose picture or position a fault withdraws: what is left of it."""
    situation, carried = unplaced.situation, unplaced.carried
    registration = NOTHING_KNOWN
    if carried is not None:
        bias = None if carried.heading_bias is None else math.degrees(carried.heading_bias)
        registration = Registration(bias, None, None, carried.sigma_m, None)
    return Reading(
        time_ns=situation.time_ns,
        own=_own(situation, unplaced.own),
        echoes=(),
        missing=(),
        hidden=None,
        seeing=(),
        seeing_line=None,
        stopping_m=stopping_m,
        registration=registration,
        speed=_speed(WITHDRAWN),
        faults=situation.faults,
        calls=said.calls,
        instruction=said.instruction,
        alerts=said.alerts,
    )


def _own(
    situation: Situation, own: OwnPlane | None, agreement: Agreement | None = None, held_age_s: float | None = None
) -> Own:
    """Return the boat as put right by the registration; None where a fault withdraws it."""
    gone = {f.what for f in situation.faults if f.state != "disagrees"}
    told, held = situation.own, situation.held
    if held is not None:
        gone.discard("position")
    lost = own is None or "position" in gone or "clock" in gone
    lat = lon = None
    heading = None if "heading" in gone else told.heading_true_rad
    if own is not None and not lost:
        lat, lon = (float(v) for v in own.frame.to_geographic(own.east_m, own.north_m))
        heading = own.heading_rad
    sigma = None if lost or agreement is None or not agreement.is_known else agreement.position_sigma_m
    return Own(
        lat=lat,
        lon=lon,
        cog_deg=None if told.cog_rad is None or lost else _bearing_deg(told.cog_rad),
        sog_kn=None if told.sog is None or lost else mps_to_kn(told.sog),
        heading_deg=None if heading is None else _bearing_deg(heading),
        position_from=None if lost else "receiver" if held is None else "radar and chart",
        position_sigma_m=sigma,
        position_age_s=None if lost else told.position_age if held is None else held_age_s,
    )


def _echoes(own: OwnPlane, passings: tuple[Passing, ...]) -> tuple[Echo, ...]:
    if not passings:
        return ()
    place = np.array([p.contact.position_en for p in passings])
    lat, lon = own.frame.to_geographic(place[:, 0], place[:, 1])
    return tuple(_echo(own, one, float(lat[i]), float(lon[i])) for i, one in enumerate(passings))


def _echo(own: OwnPlane, passing: Passing, lat: float, lon: float) -> Echo:
    one, course = passing.contact, passing.contact.course_rad
    bearing = _bearing_deg(one.bearing_rad)
    return Echo(
        id=one.id,
        lat=lat,
        lon=lon,
        range_m=one.range_m,
        bearing_deg=bearing,
        relative_bearing_deg=None if own.heading_rad is None else wrap_180(bearing - math.degrees(own.heading_rad)),
        cog_deg=None if course is None else _bearing_deg(course),
        sog_kn=mps_to_kn(one.speed),
        length_m=one.length_m,
        kind=one.kind,
        confidence=one.confidence,
        p_moving=one.p_moving,
        charted_as=one.charted_as,
        ais=one.ais,
        cpa_m=passing.cpa_m,
        tcpa_s=passing.tcpa_s,
        cpa_sigma_m=passing.cpa_sigma_m,
        why=one.why,
        coasting=one.is_coasting,
        nav_status=one.nav_status,
    )


def _missing(own: OwnPlane, one: MissingMark) -> Missing:
    lat, lon = own.frame.to_geographic(one.mark.east_m, one.mark.north_m)
    return Missing(one.mark.object, one.mark.name, float(lat), float(lon), round(one.p_seen_if_there, 3), one.looks)


def _registration(agreement: Agreement, is_held: bool) -> Registration:
    if not agreement.is_known:
        # An offset that is not known cannot be said to agree.
        agrees = False if agreement.agrees is False else None
        if agreement.bearing is not None:
            bias, sigma = math.degrees(agreement.bearing.bias), math.degrees(agreement.bearing.sigma)
            return Registration(bias, None, None, None, agrees, heading_sigma_deg=sigma)
        return Registration(None, None, None, None, agrees)
    return Registration(
        heading_bias_deg=math.degrees(agreement.heading_bias),
        # While the receiver is silent there is nothing that an offset would be from.
        east_m=None if is_held else float(agreement.state[1]),
        north_m=None if is_held else float(agreement.state[2]),
        sigma_m=agreement.position_sigma_m,
        agrees=agreement.agrees is not False,
        heading_sigma_deg=math.degrees(agreement.heading_sigma),
    )


def _speed(advice: SafeSpeed) -> SpeedAdvice:
    return SpeedAdvice(advice.advised_kn, advice.because)


def _bearing_deg(angle_rad: float) -> float:
    return wrap_360(math.degrees(angle_rad))
