"""Which departure tonight is best: the window searched in steps, every one a whole plan without pictures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.errors import InputError
from moonless.passage.night import Night
from moonless.passage.plan import LegGround, Progress, make_plan, survey
from moonless.passage.types import Departure, Plan
from moonless.passage.water import Water
from moonless.passage.way.gates import departures_through, proved
from moonless.passage.way.route import Route
from moonless.sea.stations import Stations

STEP_S = 1800.0
MOST_STEPS = 96


def search(
    chart: Chart,
    route: Route,
    boat: Boat,
    start_s: float,
    hours: float,
    night: Night,
    stations: Stations | None = None,
    *,
    ground: list[LegGround] | None = None,
    step_s: float = STEP_S,
    progress: Progress | None = None,
) -> tuple[Departure, ...]:
    """Return what each departure of the window gives.

    Raises InputError for a window without steps or with too many.
    """
    if not 0.0 < hours * 3600.0 / step_s < MOST_STEPS:
        asked = f"a window of {hours:g} h in steps of {step_s / 60:g} min"
        raise InputError(f"{asked} is not one to {MOST_STEPS} departures, which is what can be searched")
    steps = int(hours * 3600.0 / step_s) + 1
    ground = survey(chart, route, boat, night) if ground is None else ground
    make = _maker(chart, route, boat, night, stations, ground)
    out = []
    for k in range(steps):
        if progress:
            progress(f"departure {k + 1} of {steps}", k / steps)
        out.append(_weigh(make(start_s + k * step_s)))
    return tuple(out)


def _maker(
    chart: Chart, route: Route, boat: Boat, night: Night, stations: Stations | None, ground: list[LegGround]
) -> Callable[[float], Plan]:
    """Return what makes the plan of a departure, bare of what no choice between departures hangs on."""
    water = Water(stations)
    bare = partial(make_plan, chart, route, boat, night=night, stations=stations, ground=ground, water=water)
    return lambda at_s: bare(at_s, events=False, gates=False)


def with_leaving(
    plan: Plan, chart: Chart, boat: Boat, night: Night, stations: Stations | None, ground: list[LegGround]
) -> Plan:
    """Return a plan with the times to leave at so that every tide gate is passed, where it has any.

    Not asked where something else refuses the route: no hour lets her through that.
    """
    if not plan.gates or any(d.weight == "stops" for leg in plan.legs if leg.gate is None for d in leg.dangers):
        return plan
    make = _maker(chart, plan.route, boat, night, stations, ground)

    def is_let_through(at_s: float) -> bool:
        return not make(at_s).refused

    return replace(plan, leave=proved(departures_through(plan.legs, plan.depart_s), is_let_through))


def _weigh(plan: Plan) -> Departure:
    shoals = [d.margin_m for leg in plan.legs for d in leg.dangers if d.kind in ("shoal", "dries")]
    margins = [margin for margin in shoals if margin is not None]
    lux = [leg.dark.lux for leg in plan.legs]
    tides = [leg.water.lowest_m for leg in plan.legs]
    known = [t for t in tides if t is not None]
    return Departure(
        time_s=plan.depart_s,
        stops=len(plan.refused),
        against=sum(d.weight == "against" for leg in plan.legs for d in leg.dangers)
        + sum(p.weight == "against" for p in plan.points),
        darkest_lux=min(lux),
        mean_lux=float(np.mean(lux)),
        least_depth_margin_m=min(margins, default=None),
        tide_at_least_m=min(known) if len(known) == len(tides) else None,
        arrival_s=plan.legs[-1].end_s,
    )


def best_of(departures: tuple[Departure, ...]) -> Departure | None:
    """Return the departure with the fewest things against it, then the most light; None where every one is refused."""
    allowed = [d for d in departures if not d.stops]
    return min(allowed, key=lambda d: (d.against, -d.mean_lux), default=None)
