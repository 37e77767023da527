"""Whether and how we meet each vessel, by the steering rules."""

from __future__ import annotations

from collections.abc import Sequence

from moonless.reading.contact import Passing
from moonless.reading.own import OwnPlane
from moonless.rules.steering import Encounter, Sight, encounters


def meetings(own: OwnPlane, passings: Sequence[Passing], sight: Sight) -> dict[int, tuple[Encounter, ...]]:
    """Return what the rules say of each moving vessel whose closest approach lies ahead in time."""
    ahead = own.ahead_rad
    if ahead is None or own.sog is None:
        return {}
    heading = own.heading_rad if own.heading_rad is not None else ahead
    out = {}
    for passing in passings:
        contact, course = passing.contact, passing.contact.course_rad
        if contact.kind != "vessel" or course is None or passing.tcpa_s is None or passing.tcpa_s <= 0.0:
            continue
        said = encounters(sight, heading, own.sog, contact.bearing_rad, course, contact.speed, contact.nav_status)
        if said:
            out[contact.id] = said
    return out
