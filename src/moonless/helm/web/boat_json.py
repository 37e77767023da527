"""The boat as the screens are told of her, in the first frame."""

from __future__ import annotations

import math

from moonless.boat.types import Boat
from moonless.helm.bodies.sheet import BoatFactsBody
from moonless.units import mps_to_kn


def boat_json(boat: Boat) -> BoatFactsBody:
    """Return what the front end needs of the boat: lengths in metres, angles in degrees, speeds in knots."""
    skipper = boat.skipper
    return {
        "name": boat.name,
        "length_m": boat.length_m,
        "beam_m": boat.beam_m,
        "keep_off_m": skipper.keep_off_m,
        "draught_m": boat.draught_m,
        "air_draught_m": boat.air_draught_m,
        "depth_margin_m": skipper.depth_margin_m,
        "distance_unit": skipper.distance_unit,
        "free_hand": skipper.free_hand,
        "night_limit_kn": None if skipper.night_limit is None else round(mps_to_kn(skipper.night_limit), 2),
        "stopping_measured": bool(boat.stopping),
        "local_time_zone": skipper.local_time_zone,
        "bow_offset_deg": round(math.degrees(boat.radar.bow_offset_rad), 4),
        "assumed": list(boat.assumed),
        "blind_sectors_deg": [(math.degrees(a), math.degrees(b)) for a, b in boat.radar.blind_sectors_rad],
        "deviation": list(boat.deviation),
    }
