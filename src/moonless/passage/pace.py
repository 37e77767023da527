"""A speed for each leg that goes with what will be seen, and the times, fuel and turning back that follow."""

from __future__ import annotations

import numpy as np

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.reading.collision.safe_speed import advise
from moonless.reading.visibility.hidden_boats import HiddenAhead
from moonless.reading.visibility.seeing import curve_for

RECKONED_KN = 5.0
LOOK_M = 3.0 * NAUTICAL_MILE_M


def expected_seeing_m(boat: Boat, wave_height_m: float) -> float | None:
    """Return how far the smallest thing cared about should be held tonight, by the radar model; None: not at all.

    Rain is not in it: nobody plans to run through a shower blind.
    """
    skipper = boat.skipper
    curve = curve_for(boat.radar, LOOK_M, skipper.smallest_height_m, wave_height_m)
    return curve.held_to_m(skipper.smallest_rcs_m2, 0.0, boat.radar.min_range_m)


def leg_speed_kn(
    boat: Boat, wave_height_m: float, wanted_kn: float | None, opens_at_m: float | None
) -> tuple[float, str]:
    """Return (knots through the water, why) for a leg.

    ``opens_at_m``: how close the nearest water hidden from the leg is when it opens; None: none opens near.
    """
    hidden = [] if opens_at_m is None else [HiddenAhead(opens_at_m, 0.0)]
    advice = advise(boat, expected_seeing_m(boat, wave_height_m), hidden)
    if advice.advised_kn is None:
        # Times need some speed; that it is not one that goes with what is seen is said with it.
        reckoned = min(wanted_kn, RECKONED_KN) if wanted_kn else RECKONED_KN
        return reckoned, f"{advice.because} {reckoned:g} kn is put down for the times alone."
    if wanted_kn is not None and wanted_kn < advice.advised_kn:
        return wanted_kn, "The speed asked for; what should be seen would bear more."
    return advice.advised_kn, advice.because


def fuel_l(boat: Boat, speed_kn: float, hours: float) -> float | None:
    """Return litres burnt, straight between the boat file's readings; None outside them."""
    if len(boat.fuel_lph_at_kn) < 2:
        return None
    rows = sorted(boat.fuel_lph_at_kn)
    speeds, burns = [r[0] for r in rows], [r[1] for r in rows]
    if not speeds[0] <= speed_kn <= speeds[-1]:
        return None
    return float(np.interp(speed_kn, speeds, burns)) * hours
