"""A speed for each leg that goes with what will be seen, and the times, fuel and turning back that follow."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.passage.night import Night
from moonless.reading.collision.safe_speed import advise
from moonless.reading.visibility.hidden_boats import HiddenAhead
from moonless.reading.visibility.seeing import curve_in
from moonless.units import mps_to_kn

Floats = NDArray[np.float64]

LOOK_M = 3.0 * NAUTICAL_MILE_M
# The range scales a small boat is steered by at night.  Common practice, no source.
SCALES_NM = (0.75, 1.5, 3.0, 6.0)
# No leg is timed with less than steerage way.  Common practice, no source.
LEAST_KN = 0.5
# No leg is run through in less: a turn, a look and the next turn.  Common practice, no source.
STEADY_S = 10.0
# A short leg on which she comes or goes alongside.  Common practice, no source.
BERTH_KN, BERTH_LEG_M = 5.0, 0.25 * NAUTICAL_MILE_M


def expected_seeing_m(boat: Boat, night: Night, course_deg: float) -> float | None:
    """Return how far ahead the smallest thing cared about should be held tonight; None: not at all.

    By the radar model in the night's sea, wind and rain, looking along a course, without a gap from the boat outwards,
    on the range scale that does best.
    """
    skipper = boat.skipper
    reaches = []
    for scale in SCALES_NM:
        look_m = min(scale * NAUTICAL_MILE_M, LOOK_M)
        curve = curve_in(boat.radar, look_m, skipper.smallest_height_m, night.weather, night.off_wind_rad(course_deg))
        reaches.append(curve.held_to_m(skipper.smallest_rcs_m2, 0.0, boat.radar.min_range_m))
    return max((reach for reach in reaches if reach is not None), default=None)


def least_seeing_m(boat: Boat, night: Night, courses_deg: Sequence[float]) -> float | None:
    """Return the least of that over some courses; None where on one of them nothing is held."""
    least: float | None = LOOK_M
    for course in courses_deg:
        seen = expected_seeing_m(boat, night, course)
        least = None if seen is None or least is None else min(least, seen)
    return least


def held_at(
    boat: Boat, night: Night, bearing_deg: float, rcs_m2: float, height_m: float, distance_m: Floats
) -> NDArray[np.bool_]:
    """Return at which distances on a bearing a thing of this cross-section and height should be held tonight.

    On whichever range scale shows it there: close in a short pulse gathers less of the sea.
    """
    held = np.zeros(distance_m.shape, dtype=np.bool_)
    for scale in SCALES_NM:
        curve = curve_in(boat.radar, scale * NAUTICAL_MILE_M, height_m, night.weather, night.off_wind_rad(bearing_deg))
        shows = curve.held(rcs_m2, 0.0)
        nearest = np.minimum(np.searchsorted(curve.range_m, distance_m), curve.range_m.size - 1)
        held |= shows[nearest] & (distance_m <= curve.range_m[-1]) & (distance_m >= boat.radar.min_range_m)
    return held


def leg_speed_kn(boat: Boat, night: Night, course_deg: float, opens_at_m: float | None) -> tuple[float, str]:
    """Return (knots through the water, why) for a leg.

    ``opens_at_m``: how close the nearest water hidden from the leg is when it opens; None: none opens near.
    """
    hidden = [] if opens_at_m is None else [HiddenAhead(opens_at_m, 0.0)]
    seeing = expected_seeing_m(boat, night, course_deg)
    # Times need some speed.  Where nothing is held it is one that stops within the radar's least range, so that nothing
    # held is never planned faster than little held; that it goes with nothing seen is said with it.
    reach = boat.radar.min_range_m if seeing is None else seeing
    advice = advise(boat, reach, hidden, visibility_m=night.seen_through_m)
    speed = max(advice.advised_kn or 0.0, LEAST_KN)
    if seeing is None:
        speed = min(speed, night.wanted_kn or speed)
        nothing = "Small things are not expected to be held at all in this sea and rain, so no speed can be said."
        return speed, f"{nothing} {speed:g} kn is put down for the times alone."
    if night.wanted_kn is not None and night.wanted_kn < speed:
        return night.wanted_kn, "The speed asked for; what should be seen would bear more."
    return speed, advice.because


def steadied(speed_kn: float, because: str, length_m: float, is_berthing: bool = False) -> tuple[float, str]:
    """Return a leg's speed and reason, no faster than leaves time to steady on the leg before the next turn comes.

    ``is_berthing``: the leg leads alongside or away from there.
    """
    if is_berthing and length_m <= BERTH_LEG_M and speed_kn > BERTH_KN:
        return BERTH_KN, f"She lies alongside at one end of it: {BERTH_KN:.0f} kn is put down, the last of it by eye."
    most = max(mps_to_kn(length_m / STEADY_S), LEAST_KN)
    if speed_kn <= most:
        return speed_kn, because
    return most, f"The next turn comes after {length_m:.0f} m, and {STEADY_S:.0f} s are the least to steady on a leg."


def fuel_l(boat: Boat, speed_kn: float, hours: float) -> float | None:
    """Return litres burnt, straight between the boat file's readings; None outside them."""
    if len(boat.fuel_lph_at_kn) < 2:
        return None
    rows = sorted(boat.fuel_lph_at_kn)
    speeds, burns = [r[0] for r in rows], [r[1] for r in rows]
    if not speeds[0] <= speed_kn <= speeds[-1]:
        return None
    return float(np.interp(speed_kn, speeds, burns)) * hours
