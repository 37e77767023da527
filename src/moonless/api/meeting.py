"""Two boats that meet, and the lights a boat must show."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from moonless.api.inputs import place_of
from moonless.errors import InputError
from moonless.frames import LocalFrame, geodesic
from moonless.rules.lights import Kind, NetSignal, Outfit, Vessel
from moonless.rules.required import required
from moonless.rules.steering import Encounter, Sight, encounters
from moonless.track.cpa import cpa
from moonless.units import kn_to_mps


class Moving(Protocol):
    """Whatever says where it is and how it moves: a `Mover`, a `TrackedEcho`."""

    @property
    def lat_deg(self) -> float: ...
    @property
    def lon_deg(self) -> float: ...
    @property
    def cog_deg(self) -> float: ...
    @property
    def sog_kn(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Mover:
    """A boat by place, course and speed over the ground."""

    lat_deg: float
    lon_deg: float
    cog_deg: float  # true
    sog_kn: float
    heading_deg: float | None = None  # true; None: she heads as she goes


@dataclass(frozen=True, slots=True, repr=False)
class Meeting:
    """How two boats meet if both hold course and speed."""

    range_m: float
    bearing_deg: float  # true, of the other from own boat
    relative_bearing_deg: float  # clockwise from the bow
    cpa_m: float
    tcpa_s: float  # negative: the closest approach is past
    rules: tuple[Encounter, ...]  # what the steering rules say; of Rules 13 to 15, of Rule 19, or both

    def __repr__(self) -> str:
        rules = ", ".join(f"Rule {one.rule}" + (f" {one.meeting}" if one.meeting else "") for one in self.rules)
        closest = f"CPA {self.cpa_m:.0f} m in {self.tcpa_s:.0f} s"
        return f"Meeting({closest}; {self.range_m:.0f} m on {self.bearing_deg:05.1f}°; {rules or 'no steering rule'})"


def encounter(own: Moving, other: Moving, *, sight: Sight = "unsure") -> Meeting:
    """Return how two boats meet: closest approach and what the rules of steering and sailing say.

    ``sight``: "in sight" (Rules 13 to 15), "radar only" (Rule 19) or "unsure" (both).  Taken for power-driven vessels.
    Raises InputError if a figure is no place or not finite.

    Examples
    --------
    >>> own = Mover(50.0, -1.0, cog_deg=0.0, sog_kn=10.0)
    >>> encounter(own, Mover(50.0167, -1.0, cog_deg=180.0, sog_kn=10.0), sight="in sight").rules[0].meeting
    'head-on'
    """
    for one in (own, other):
        place_of((one.lat_deg, one.lon_deg))
        if not (math.isfinite(one.cog_deg) and math.isfinite(one.sog_kn) and one.sog_kn >= 0.0):
            raise InputError(f"{one!r}: course and speed must be numbers, the speed not below zero")
    frame = LocalFrame(own.lat_deg, own.lon_deg)
    east, north = (float(v) for v in frame.to_plane(other.lat_deg, other.lon_deg))
    (own_e, own_n), (other_e, other_n) = _velocity(own), _velocity(other)
    met = cpa((east, north), (other_e - own_e, other_n - own_n))
    distance, bearing = geodesic(own.lat_deg, own.lon_deg, other.lat_deg, other.lon_deg)
    heading = getattr(own, "heading_deg", None)
    heading = own.cog_deg if heading is None else heading
    rules = encounters(
        sight,
        math.radians(heading),
        kn_to_mps(own.sog_kn),
        math.radians(bearing),
        math.radians(other.cog_deg),
        kn_to_mps(other.sog_kn),
    )
    relative = (float(bearing) - heading) % 360.0
    return Meeting(float(distance), float(bearing), relative, float(met.distance_m), float(met.time_s), rules)


def lights_required(
    kind: Kind,
    length_m: float,
    *,
    max_speed_kn: float | None = None,
    making_way: bool = True,
    inland: bool = False,
    under_sail_and_power: bool = False,
    at_anchor: bool = False,
    tow_m: float = 0.0,
    tow_restricts: bool = False,
    gear_m: float = 0.0,
    net_signal: NetSignal | None = None,
) -> tuple[Outfit, ...]:
    """Return the lawful sets of lights of a vessel, the usual one first (COLREGs Part C; ``inland``: US Inland Rules).

    ``kind``: "power", "sail", "anchored", ...; ``making_way``: moving through the water; ``tow_m``: from the
    towing vessel's stern; ``gear_m``: outlying fishing gear; the rest as `moonless.rules.lights.Vessel` has them.
    Raises InputError for a kind, a length or a speed that is none.

    Examples
    --------
    >>> [light.role for light in lights_required("power", 9.2)[0].lights]
    ['masthead', 'side', 'side', 'stern']
    """
    vessel = Vessel(
        kind,
        length_m,
        max_speed_kn,
        making_way,
        inland,
        tow_m,
        gear_m,
        under_sail_and_power=under_sail_and_power,
        at_anchor=at_anchor,
        tow_restricts=tow_restricts,
        net_signal=net_signal,
    )
    return tuple(required(vessel))


def _velocity(one: Moving) -> tuple[float, float]:
    speed, course = kn_to_mps(one.sog_kn), math.radians(one.cog_deg)
    return speed * math.sin(course), speed * math.cos(course)
