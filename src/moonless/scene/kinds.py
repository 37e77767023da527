"""Kinds of things a scene may hold, by what they return and how large they are.

Cross-section, height and fluctuation are those of `moonless.radar.targets`, whose sources stand there; lengths and
beams are ordinary for their kind (from memory).  ``casts_shadow`` marks what is large enough to hide what lies behind.
"""

from __future__ import annotations

from dataclasses import dataclass

from moonless.radar.targets import KINDS as RADAR_KINDS
from moonless.radar.types import Swerling


@dataclass(frozen=True, slots=True)
class ObjectKind:
    """What a kind is unless its table in the scene file says otherwise."""

    rcs_m2: float
    height_m: float
    swerling: Swerling
    length_m: float
    beam_m: float
    casts_shadow: bool = False


def _of(radar_kind: str, length_m: float, beam_m: float, casts_shadow: bool = False) -> ObjectKind:
    base = RADAR_KINDS[radar_kind]
    return ObjectKind(base.rcs_m2, base.height_m, base.swerling, length_m, beam_m, casts_shadow)


OBJECT_KINDS: dict[str, ObjectKind] = {
    "kayak": _of("kayak", 4.5, 0.6),
    "rowing boat": _of("small open boat", 4.0, 1.5),
    "open boat": _of("small open boat", 5.0, 1.8),
    "rib": _of("RIB", 5.0, 2.2),
    "launch": _of("10 m vessel", 9.0, 3.0),
    "motor yacht": _of("cabin cruiser", 12.0, 4.0),
    "sailing yacht": _of("sailing yacht", 11.0, 3.4),
    "yacht with reflector": _of("small vessel with reflector", 11.0, 3.4),
    "fishing boat": ObjectKind(25.0, 3.5, 1, 14.0, 4.5),
    "barge": ObjectKind(120.0, 3.5, 1, 35.0, 9.0, True),
    "coaster": ObjectKind(900.0, 5.0, 1, 60.0, 10.0, True),
    "ship": _of("ship over 500 gt", 95.0, 16.0, True),
    "buoy": _of("navigation buoy", 0.0, 0.0),
    "mooring buoy": _of("mooring buoy", 0.0, 0.0),
    "beacon": _of("beacon", 0.0, 0.0),
    "pile": _of("pile", 0.0, 0.0),
    "float": ObjectKind(0.5, 0.7, 1, 0.0, 0.0),
    "pot float": _of("pot float", 0.0, 0.0),
    "log": _of("drifting log", 0.0, 0.0),
    "birds": ObjectKind(0.05, 4.0, 1, 0.0, 0.0),
}
