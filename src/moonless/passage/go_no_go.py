"""Go or not: what speaks for and against, each with its figure and limit.  The decision stays the skipper's."""

from __future__ import annotations

from collections.abc import Sequence

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.passage.night import Night
from moonless.passage.pace import least_seeing_m
from moonless.passage.types import LegDanger, LegPlan, Plan, Point, TideGate, Weight
from moonless.units import down, mps_to_kn, up

# Below this the eye has next to nothing to steer by.  Common practice, no source.
POOR_VISIBILITY_M = 2.0 * NAUTICAL_MILE_M
MOON_NEAR_S = 1800.0
# A tide gate that shuts sooner after her is one that a delay runs into.  Own choice.
GATE_SPARE_S = 3600.0
# Beaufort 6, strong breeze, is where warnings to small craft begin in most waters (from memory).
STRONG_FORCE = 6
# The highest of a thousand waves over the significant height: Rayleigh, sqrt(ln 1000 / 2).  Longuet-Higgins (1952).
HIGHEST_WAVE = 1.86
# A breaking wave of so much of her length can roll a yacht that lies beam on: tank tests of the Wolfson Unit after 1979
# (from memory).
ROLLING_SHARE = 0.3
# Nobody should run faster than 30 to 35 kn at night and most far slower: past this a speed wants to have been asked
# for.  Common practice, no source; the figure is our own.
USUAL_KN = 15.0

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


# Of one kind so many are named one by one; more of them are one matter with their number and the nearest.
NAMED_OF_A_KIND = 2
_KIND_WORDS = {
    "mark": "marks", "structure": "piles, works and other structures", "shoal": "shoals", "dries": "drying ground",
    "rock": "rocks", "wreck": "wrecks", "obstruction": "obstructions", "cable": "overhead cables", "bridge": "bridges",
    "restricted": "restricted areas", "caution": "caution areas",
    "berth": "things she lies at, the last of the way by eye",
}  # fmt: skip


def _is_shoaling(leg: LegPlan) -> bool:
    return any(d.kind in ("shoal", "dries") for d in leg.dangers)


def _legs_words(numbers: Sequence[int]) -> str:
    kept = sorted(set(numbers))
    words = ", ".join(str(n) for n in kept[:6]) + (f" and {len(kept) - 6} more" if len(kept) > 6 else "")
    return f"leg{'' if len(kept) == 1 else 's'} {words}"


def _dangers(plan: Plan, weight: Weight) -> list[Point]:
    """Return the dangers of one weight, each matter once: a thing met on three legs is one, many of a kind are one."""
    kinds: dict[str, dict[tuple[str, str, str], list[LegDanger]]] = {}
    for leg in plan.legs:
        for danger in leg.dangers:
            if danger.weight == weight:
                thing = (danger.object, danger.cell, danger.feature or danger.say)
                kinds.setdefault(danger.kind, {}).setdefault(thing, []).append(danger)
    out = []
    limit = "none allowed" if weight == "stops" else "look before you pass"
    for kind, things in kinds.items():
        nearest = [min(met, key=lambda d: (d.off_m, d.along_m)) for met in things.values()]
        if len(things) <= NAMED_OF_A_KIND:
            for first, met in zip(nearest, things.values(), strict=True):
                where = _legs_words([d.leg for d in met])
                also = f"; met on {where}" if len({d.leg for d in met}) > 1 else ""
                out.append(Point(weight, f"Leg {first.leg}: {first.say}{also}", _left_words(first), limit))
            continue
        first = min(nearest, key=lambda d: (d.margin_m if d.margin_m is not None else d.off_m, d.off_m))
        where = _legs_words([d.leg for met in things.values() for d in met])
        what = f"{len(things)} {_KIND_WORDS.get(kind, f'things ({kind})')} on {where}; worst: {first.say}"
        out.append(Point(weight, what, _left_words(first), limit))
    return out


def _left_words(danger: LegDanger) -> str:
    if danger.margin_m is not None:
        return f"{down(danger.margin_m)} m left" if danger.margin_m >= 0.0 else f"{up(-danger.margin_m)} m too little"
    return "on the track" if danger.side == "on" else f"{down(danger.off_m, 0)} m off"


def _moon_gates(plan: Plan) -> list[Point]:
    """Say when the moon rises or sets under way, or sets soon after: the light the run is made in changes."""
    out = []
    arrive_s = plan.legs[-1].end_s
    for time_s, what in plan.events:
        if what not in ("moonrise", "moonset"):
            continue
        if plan.depart_s <= time_s <= arrive_s:
            minutes = (time_s - plan.depart_s) / 60.0
            weight: Weight = "against" if what == "moonset" else "note"
            out.append(Point(weight, f"{what} under way", f"{minutes:.0f} min after leaving", "-"))
        elif arrive_s < time_s < arrive_s + MOON_NEAR_S and what == "moonset":
            late = (time_s - arrive_s) / 60.0
            out.append(Point("note", "moonset soon after arrival: a delay is run in the dark", f"{late:.0f} min", "-"))
    return out


def _gates(plan: Plan) -> list[Point]:
    """Say which tide gate shuts soonest after her.

    One that is shut when she is there stands among what refuses her already.
    """
    after: list[tuple[float, TideGate]] = []
    for leg in plan.legs:
        for begin, end in () if leg.gate is None else leg.gate.open:
            if leg.gate is not None and begin <= leg.start_s and leg.end_s <= end:
                after.append((end - leg.end_s, leg.gate))
    if not after:
        return []
    left_s, gate = min(after, key=lambda one: one[0])
    more = "" if len(plan.gates) == 1 else f", and {len(plan.gates) - 1} more of her way"
    weight: Weight = "against" if left_s < GATE_SPARE_S else "note"
    say = f"Low water closes leg {gate.leg}{more}: {gate.by}"
    limit = f"{up(gate.least_m)} m of tide over chart datum"
    return [Point(weight, say, f"shuts {down(left_s / 60.0, 0)} min after she is through", limit)]


def _no_return(plan: Plan) -> Point:
    """Say from where on it is sooner to go on than back, at the planned speeds."""
    half_s = (plan.legs[-1].end_s - plan.depart_s) / 2.0
    at_s = plan.depart_s + half_s
    leg = next((x for x in plan.legs if x.end_s >= at_s), plan.legs[-1])
    along = leg.leg.length_m * (at_s - leg.start_s) / max(leg.end_s - leg.start_s, 1.0)
    where = f"leg {leg.number}, {along / NAUTICAL_MILE_M:.2f} NM along"
    return Point("note", "From here on it is sooner to go on than back", f"{half_s / 60.0:.0f} min out", where)


def _weather(plan: Plan, boat: Boat, night: Night) -> list[Point]:
    """Return what of visibility, wind, sea and rain speaks against."""
    out = []
    seen = night.seen_through_m
    if seen < POOR_VISIBILITY_M:
        through = " (through this rain)" if seen < night.visibility_m else ""
        miles = f"{float(down(seen / NAUTICAL_MILE_M, 2)):g} NM{through}"
        out.append(Point("against", "Visibility: Rule 19 and fog signals apply", miles, "2 NM"))
    if night.beaufort >= STRONG_FORCE:
        figure = f"{mps_to_kn(night.wind):.0f} kn, force {night.beaufort}"
        out.append(Point("against", "Wind: small-craft warnings begin about here", figure, "force 6, 22 kn"))
    highest, limit = HIGHEST_WAVE * night.waves_m, ROLLING_SHARE * boat.length_m
    if highest > limit:
        say = "Sea: the highest of a thousand waves, breaking on the beam, can roll her over"
        out.append(Point("against", say, f"{up(highest)} m", f"{down(limit)} m, {ROLLING_SHARE:.0%} of her length"))
    if least_seeing_m(boat, night, [leg.leg.course_deg for leg in plan.legs]) is None:
        # The legs have a speed for their times alone; that it goes with nothing seen must not be read past.
        smallest = f"{boat.skipper.smallest_rcs_m2:g} m²"
        rain = f" and rain of {night.rain_mmh:g} mm/h" if night.rain_mmh > 0.0 else ""
        where = f"waves of {up(night.waves_m)} m{rain}"
        say = f"No speed goes with what will be seen: in {where} {smallest} is not expected to be held"
        out.append(Point("against", say, "not known", "the planned speeds are for the times alone"))
    return out


def _unasked_speed(plan: Plan, boat: Boat) -> Point:
    """Say that a speed nobody asked for is a bound, so that it is not read as advice."""
    fastest = max(leg.speed_kn for leg in plan.legs)
    weight: Weight = "against" if boat.skipper.night_limit is None and fastest > USUAL_KN else "note"
    say = "No speed was asked for: legs are timed at the most that goes with what should be seen, no advice to run so"
    limit = "most run far slower at night; ask for a speed, or set a night limit"
    return Point(weight, say, f"{fastest:.0f} kn", limit)


def points_for_and_against(plan: Plan, boat: Boat, night: Night) -> tuple[Point, ...]:
    """Return what speaks for and against, the gravest first."""
    out: list[Point] = []
    out += [Point("against", f"Chart: {fault}", "-", "whole, and issued within a year") for fault in plan.chart_faults]
    out += _dangers(plan, "stops") + _dangers(plan, "against")
    unknown = [leg for leg in plan.legs if leg.water.tide_m is None and _is_shoaling(leg)]
    if unknown:
        where = _legs_words([leg.number for leg in unknown])
        out.append(
            Point("against", f"The tide is not known where it is shoal: {where}", "-", unknown[0].water.tide_how)
        )
    # Not only where a shoal is told: one may pass unseen because the sum came out too deep.
    for doubt in dict.fromkeys(leg.water.datum_doubt for leg in plan.legs if leg.water.datum_doubt):
        out.append(Point("against", f"Tide and chart: {doubt}", "-", "one datum for both"))
    darkest = min(plan.legs, key=lambda leg: leg.dark.lux)
    word = darkest.dark.word
    weight: Weight = "against" if word == "dark night" else "note"
    say = f"Darkest on leg {darkest.number}: {word}"
    out.append(Point(weight, say, f"{darkest.dark.lux:.2g} lux", "a full moon gives about 0.1 lux"))
    out += _moon_gates(plan) + _gates(plan)
    out.append(_no_return(plan))
    out += _weather(plan, boat, night)
    if night.wanted_kn is None:
        out.append(_unasked_speed(plan, boat))
    if not boat.stopping:
        out.append(Point("against", "The boat file holds no stopping trials", "assumed", "measure them by day"))
    burnt = [leg.fuel_l for leg in plan.legs]
    if boat.fuel_lph_at_kn and all(b is not None for b in burnt):
        total = sum(b or 0.0 for b in burnt)
        reserve = "a third more in reserve: common practice"
        out.append(Point("note", "Fuel for the run, one way", f"{up(total, 0)} l", reserve))
    lit = len({light.place for leg in plan.legs for light in leg.lights})
    held = {mark.thing for leg in plan.legs for mark in leg.unlit if mark.radar_from_m is not None}
    if lit:
        out.append(Point("for", "Lights seen from the track", f"{lit}", "-"))
    if held:
        out.append(Point("for", "Unlit marks the radar should hold near the track", f"{len(held)}", "-"))
    order = {"stops": 0, "against": 1, "note": 2, "for": 3}
    return tuple(sorted(out, key=lambda p: order[p.weight]))
