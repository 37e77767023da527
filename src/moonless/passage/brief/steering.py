"""What stands under the table that is steered by: water under the keel, courses, where to break off."""

from __future__ import annotations

import math

from moonless.passage.brief.selection import and_more
from moonless.passage.types import LegPlan, Plan
from moonless.passage.words import variation_words


def courses_words(plan: Plan) -> str:
    """Return what the courses are and what is in them."""
    start = plan.legs[0].leg.start
    variation = variation_words(start.lat_deg, start.lon_deg, plan.depart_s)
    words = f"Track and steer are true. Variation {variation} by the World Magnetic Model; "
    if plan.boat is not None and plan.boat.deviation:
        words += "compass is by the deviation card."
    else:
        words += "no deviation card is in the boat file, so no course is by compass."
    if any(leg.steer_deg is None for leg in plan.legs):
        words += " Where no stream is known, the track itself is to be steered."
    return words


def break_off_words(plan: Plan) -> str:
    """Return where one breaks off to, legs with the same answer together, and the charted anchorages met."""
    out: list[str] = []
    whole = plan.route.length_m
    done, back = 0.0, 0
    for leg in plan.legs:
        if done + leg.leg.length_m / 2 <= whole / 2:
            back = leg.number
        done += leg.leg.length_m
    first, last = plan.legs[0].leg.start.name, plan.legs[-1].leg.end.name
    if back:
        out.append(f"back to {first} on leg{'s 1 to ' + str(back) if back > 1 else ' 1'}")
    if back < len(plan.legs):
        which = f"legs {back + 1} to {len(plan.legs)}" if back + 1 < len(plan.legs) else f"leg {len(plan.legs)}"
        out.append(f"on to {last} on {which}")
    anchorages: dict[str, str] = {}
    for leg in plan.legs:
        for danger in leg.dangers:
            if danger.kind == "anchorage":
                name = danger.name or "charted anchorage without a name"
                anchorages.setdefault(danger.feature, f"{name} by leg {leg.number}")
    if anchorages:
        out.append("anchorages: " + ", ".join(and_more(list(anchorages.values()), 4, "leg by leg behind")))
    else:
        out.append("no anchorage is charted on the way")
    return "; ".join(out)


def under_keel_words(leg: LegPlan, plan: Plan) -> str:
    """Return the least water under the keel on a leg, at its lowest tide; what is not known is said."""
    if leg.least_depth_m is None or plan.boat is None:
        return "not charted"
    tide = leg.water.lowest_m
    left = leg.least_depth_m + (tide or 0.0) - plan.boat.draught_m
    # Down to a tenth: more water than there is must not be printed.
    words = f"{math.floor(left * 10.0 + 1e-6) / 10.0:.1f} m"
    return words if tide is not None else f"{words}, no tide"
