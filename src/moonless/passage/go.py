"""Go or not: what speaks for and against, each with its figure and limit.  The decision stays the skipper's."""

from __future__ import annotations

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.passage.types import Plan, Point, Weight

# Below this the eye has next to nothing to steer by.  Common practice, no source.
POOR_VISIBILITY_M = 2.0 * NAUTICAL_MILE_M

READINESS = (
    "Crew told of the plan, of the night signals, and who looks out where",
    "Rested: no one steers who has been up more than a working day",
    "Life jackets on, with lights; harness or kill cord clipped",
    "Radio checked; a second radio or telephone in a dry bag",
    "Flares or electronic distress light in date and to hand",
    "Spotlight charged, and kept off the bow",
    "Engine, fuel, battery and bilge looked at in daylight",
    "Lights seen burning from outside the boat",
    "Radar and chart compared on a known mark before the last light of the harbour is lost",
    "Someone ashore has the float plan and knows when to call for help",
)


def points_for_and_against(plan: Plan, boat: Boat, visibility_m: float) -> tuple[Point, ...]:
    """Return what speaks for and against, the gravest first."""
    out: list[Point] = []
    for danger in plan.refused:
        out.append(Point("stops", f"Leg {danger.leg}: {danger.say}", "on the track", "none allowed"))
    for leg in plan.legs:
        for danger in leg.dangers:
            if danger.weight == "against":
                figure = "not charted" if danger.margin_m is None else f"{danger.margin_m:.1f} m left"
                out.append(Point("against", f"Leg {leg.number}: {danger.say}", figure, "look before you pass"))
        if leg.water.tide_m is None and any(d.kind in ("shoal", "dries") for d in leg.dangers):
            out.append(Point("against", f"Leg {leg.number}: the tide is not known", "-", leg.water.tide_how))
        if leg.speed_kn < 1.0:
            out.append(Point("stops", f"Leg {leg.number}: the stream is stronger than the boat", "-", "-"))
    darkest = min(plan.legs, key=lambda leg: leg.dark.lux)
    word = darkest.dark.word
    weight: Weight = "against" if word == "dark night" else "note"
    say = f"Darkest on leg {darkest.number}: {word}"
    out.append(Point(weight, say, f"{darkest.dark.lux:.2g} lux", "a full moon gives about 0.1 lux"))
    if visibility_m < POOR_VISIBILITY_M:
        miles = f"{visibility_m / NAUTICAL_MILE_M:.1f} NM"
        out.append(Point("against", "Visibility: Rule 19 and fog signals apply", miles, "2 NM"))
    if not boat.stopping:
        out.append(Point("against", "The boat file holds no stopping trials", "assumed", "measure them by day"))
    burnt = [leg.fuel_l for leg in plan.legs]
    if boat.fuel_lph_at_kn and all(b is not None for b in burnt):
        total = sum(b or 0.0 for b in burnt)
        reserve = "a third more in reserve: common practice"
        out.append(Point("note", "Fuel for the run, one way", f"{total:.0f} l", reserve))
    lit = sum(len(leg.lights) for leg in plan.legs)
    held = [u for leg in plan.legs for u in leg.unlit if u.radar_from_m is not None]
    if lit:
        out.append(Point("for", "Lights seen from the track", f"{lit}", "-"))
    if held:
        out.append(Point("for", "Unlit marks the radar should hold near the track", f"{len(held)}", "-"))
    order = {"stops": 0, "against": 1, "note": 2, "for": 3}
    return tuple(sorted(out, key=lambda p: order[p.weight]))
