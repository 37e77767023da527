"""The plan at the helm: the route drawn, and the next thing on it told with every reading.

The plan itself (lights, unlit marks, points that open) takes seconds over a real chart, so it is made in a thread of
its own while the route is already followed by its turns.
"""

from __future__ import annotations

import logging
import threading
from typing import Any

from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError, MoonlessError
from moonless.helm.bodies.routes import LegPicturesBody, PlanLegBody, PlanNowBody, TideGateBody
from moonless.helm.routes.leg_pictures import leg_pictures
from moonless.passage.brief.selection import worth_telling
from moonless.passage.night import Night
from moonless.passage.plan import LegGround, make_plan, survey
from moonless.passage.types import LegPlan, TideGate
from moonless.passage.way.follow import Follower
from moonless.passage.way.route import Route
from moonless.passage.words import object_words
from moonless.reading.types import Reading
from moonless.sea.stations import Stations
from moonless.units import NS_PER_S, kn_to_mps, mps_to_kn

_log = logging.getLogger(__name__)
# Things ahead that are told; the screen shows the first one or two.
COMING = 4


class FollowedRoute:
    """Follows one route for the screens."""

    def __init__(
        self, route: Route, chart: Any, boat: Any, night: Night | None = None, stations: Stations | None = None,
        knowledge: Knowledge | None = None,
    ) -> None:  # fmt: skip
        """Follow a route; ``night`` and ``stations`` are the weather and tides its plan is made from, where known;
        ``knowledge`` has the skipper's own water to keep out of."""
        self._night = night
        self._stations = stations
        self._knowledge = knowledge
        self._route = route
        self._chart = chart
        self._boat = boat
        self._follower = Follower(route)
        self._better: Follower | None = None
        self._thread: threading.Thread | None = None
        self._ground: list[LegGround] = []
        self._legs: list[PlanLegBody] = []
        self._points = [(round(w.lat_deg, 6), round(w.lon_deg, 6), w.name) for w in route.waypoints]

    def at(self, reading: Reading) -> PlanNowBody:
        """Return what the screens are told of the plan with this reading.

        ``now`` is None where the boat is not on it, or nobody knows where she is.
        """
        if self._thread is None and self._chart is not None:
            self._thread = threading.Thread(target=self._make, args=(reading.time_ns / NS_PER_S,), daemon=True)
            self._thread.start()
        if self._better is not None:
            self._follower, self._better = self._better, None
        own = reading.own
        body: PlanNowBody = {"route": self._points, "legs": self._legs, "now": None}
        if own.lat is None or own.lon is None:
            return body
        sog = None if own.sog_kn is None else kn_to_mps(own.sog_kn)
        here = self._follower.at(own.lat, own.lon, sog, reading.time_ns / NS_PER_S)
        if here is None:
            return body
        return {
            **body,
            "now": {
                "leg": here.leg,
                "course_deg": round(here.course_deg, 1),
                "off_track_m": round(here.off_track_m, 1),
                "to_go_leg_m": round(here.to_go_leg_m),
                "to_go_m": round(here.to_go_m),
                "arrive_ms": None if here.arrive_s is None else round(here.arrive_s * 1000),
                "coming": [
                    {"what": n.what, "distance_m": round(n.distance_m), "say": n.say} for n in here.coming[:COMING]
                ],
            },
        }

    def pictures(self, number: int) -> LegPicturesBody:
        """Return the pictures of one leg, numbered from 1; it takes a second or two.

        Raises InputError while the plan is not made yet, and for a leg that the route does not have.
        """
        place = next((one for one in self._ground if one.number == number), None)
        if place is None:
            raise InputError(f"leg {number} has no pictures: the plan is not made yet, or has no such leg")
        return leg_pictures(place, self._boat, self._night_now())

    def _night_now(self) -> Night:
        if self._night is not None:
            return self._night
        limit = self._boat.skipper.night_limit
        return Night(wanted_kn=None if limit is None else mps_to_kn(limit))

    def _make(self, start_s: float) -> None:
        night = self._night_now()
        try:
            ground = list(survey(self._chart, self._route, self._boat, night, knowledge=self._knowledge))
            plan = make_plan(
                self._chart, self._route, self._boat, start_s, night, self._stations, ground=ground, events=False
            )
        except MoonlessError as problem:
            # The route is followed by its turns all the same.
            _log.warning("no plan of the route: %s", problem)
            return
        self._ground = ground
        self._legs = [_leg_line(leg) for leg in plan.legs]
        self._better = Follower(self._route, plan)


def _leg_line(leg: LegPlan) -> PlanLegBody:
    """Return one leg for the plan's sheet: what a helmsman asks of it."""
    kept = worth_telling(leg)
    lights = sorted(kept.lights, key=lambda x: (not x.leading, x.nearest_m))[:3]
    return {
        "number": leg.number,
        "to": leg.leg.end.name,
        "course_deg": round(leg.leg.course_deg, 1),
        "length_m": round(leg.leg.length_m),
        "end_ms": round(leg.end_s * 1000),
        "speed_kn": round(leg.speed_kn, 1),
        "least_depth_m": leg.least_depth_m,
        "lights": [f"{x.name or 'light'}, {x.text}" for x in lights],
        "marks": [object_words(u.name, u.object) for u in kept.unlit[:3]],
        "opens": [o.say for o in kept.opens[:2]],
        "refused": [d.say for d in leg.dangers if d.weight == "stops"],
        "gate": None if leg.gate is None else _gate_body(leg.gate),
    }


def _gate_body(gate: TideGate) -> TideGateBody:
    spans = [[round(a * 1000), round(b * 1000)] for a, b in gate.open]
    return {"least_m": round(gate.least_m, 2), "by": gate.by, "open_ms": spans}
