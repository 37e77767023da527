"""The plan as plain data, for JSON and for the page."""

from __future__ import annotations

import base64
from dataclasses import asdict

from moonless.passage.types import LegDanger, Plan, TideGate
from moonless.units import iso_utc


def plan_dict(plan: Plan, *, pictures: bool = True) -> dict[str, object]:
    """Return the plan as JSON-ready data; times are ISO 8601 UTC, unknown is null."""

    def iso(time_s: float) -> str:
        return iso_utc(round(time_s * 1e9))

    def danger(found: LegDanger) -> dict[str, object]:
        spans = None if found.enough is None else [[iso(a), iso(b)] for a, b in found.enough]
        return {**asdict(found), "enough": spans}

    def gate(found: TideGate | None) -> dict[str, object] | None:
        if found is None:
            return None
        spans = [[iso(a), iso(b)] for a, b in found.open]
        return {**asdict(found), "open": spans, "seen": [iso(t) for t in found.seen]}

    legs = []
    for leg in plan.legs:
        legs.append(
            {
                "number": leg.number,
                "from": leg.leg.start.name,
                "to": leg.leg.end.name,
                "course_deg": leg.leg.course_deg,
                "steer_deg": leg.steer_deg,
                "length_m": leg.leg.length_m,
                "speed_kn": leg.speed_kn,
                "because": leg.because,
                "start": iso(leg.start_s),
                "end": iso(leg.end_s),
                "fuel_l": leg.fuel_l,
                "dark": {**asdict(leg.dark), "time_s": iso(leg.dark.time_s)},
                "water": {**asdict(leg.water), "time_s": iso(leg.water.time_s)},
                "dangers": [danger(d) for d in leg.dangers],
                "lights": [asdict(x) for x in leg.lights],
                "unranged": [asdict(x) for x in leg.unranged],
                "unlit": [asdict(x) for x in leg.unlit],
                "opens": [asdict(o) for o in leg.opens],
                "index": list(leg.index),
                "least_depth_m": leg.least_depth_m,
                "bailout": leg.bailout,
                "calls": list(leg.calls),
                "refuges": [asdict(r) for r in leg.refuges],
                "gate": gate(leg.gate),
            }
        )
    out = {
        "route": plan.route.name,
        "boat": plan.boat_name,
        "depart": iso(plan.depart_s),
        "arrive": iso(plan.legs[-1].end_s),
        "length_m": plan.route.length_m,
        "notes": list(plan.notes),
        "chart_faults": list(plan.chart_faults),
        "refused": [danger(d) for d in plan.refused],
        "waypoints": [{"name": w.name, "lat": w.lat_deg, "lon": w.lon_deg} for w in plan.route.waypoints],
        "legs": legs,
        "events": [{"time": iso(t), "what": w} for t, w in plan.events],
        "points": [asdict(p) for p in plan.points],
        "departures": [{**asdict(d), "time_s": iso(d.time_s), "arrival_s": iso(d.arrival_s)} for d in plan.departures],
        "leave": None if plan.leave is None else [[iso(a), iso(b)] for a, b in plan.leave],
        "assumptions": list(plan.assumptions),
        "chart_cells": list(plan.chart_cells),
        "caution": "An aid, not a look-out: Rule 5 stays the skipper's. Not for navigation.",
    }
    if pictures:
        out["pictures"] = [{**asdict(p), "png": base64.b64encode(p.png).decode("ascii")} for p in plan.pictures]
    return out
