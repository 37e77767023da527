"""A route drawn at the helm held against the chart, leg by leg, as the night plan would hold it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import KeepOuts
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError, NoCoverage
from moonless.frames import LocalFrame, destination, geodesic
from moonless.helm.bodies.routes import LegCheckBody, LegDangerBody
from moonless.passage.types import LegDanger
from moonless.passage.way.leg_dangers import hold, leg_dangers
from moonless.passage.way.propose import propose
from moonless.passage.way.route import Leg, Route, Waypoint
from moonless.reading.chart_around import keep_outs_around
from moonless.units import kn_to_mps

LatLon = tuple[float, float]
# Chart cut round a leg beyond its ends, and how far a part once cut reaches on, so that a point dragged a little does
# not cut it afresh.
AROUND_M = 1500.0
# Where the boat file gives no night limit: a moderate speed for the squat.  No source.
SPEED_KN = 8.0
# Sentences of one leg that are sent: a screen shows two or three.
MOST_SAID = 6


class RouteChecker:
    """Keeps the piece of chart it last cut and the legs it has answered for: a finger moves one point at a time."""

    def __init__(self, chart: Any, boat: Any, knowledge: Knowledge | None = None) -> None:
        """``knowledge``: the skipper's own, whose water to keep out of stops a leg and is gone round by a way."""
        self._chart = chart
        self._boat = boat
        self._knowledge = knowledge
        limit = boat.skipper.night_limit
        self._speed = kn_to_mps(SPEED_KN) if limit is None else limit
        self._dangers: ChartDangers | None = None
        self._cut: tuple[LatLon, float] | None = None
        self._known: dict[tuple[LatLon, LatLon, tuple[bool, bool]], LegCheckBody] = {}

    def check(self, points: Sequence[LatLon]) -> list[LegCheckBody]:
        """Return for each leg its length, course, least charted depth, and what stops it or speaks against it.

        Tide is not counted: the route must do at any hour.
        """
        last = len(points) - 2
        return [self._leg(a, b, (k == 0, k == last)) for k, (a, b) in enumerate(itertools.pairwise(points))]

    def way(self, start: LatLon, end: LatLon) -> tuple[list[LatLon], tuple[str, ...]]:
        """Return (the places of a way along deep water between two places, ends with it; what was moved, in words).

        Raises InputError or NoCoverage as `propose` does.
        """
        found = propose(self._chart, self._boat, start, end, knowledge=self._knowledge)
        return [(w.lat_deg, w.lon_deg) for w in found.route.waypoints], found.notes

    def _leg(self, a: LatLon, b: LatLon, berths: tuple[bool, bool]) -> LegCheckBody:
        key = (a, b, berths)
        if key not in self._known:
            if len(self._known) > 400:
                self._known.clear()
            self._known[key] = self._ask(a, b, berths)
        return self._known[key]

    def _ask(self, a: LatLon, b: LatLon, berths: tuple[bool, bool]) -> LegCheckBody:
        try:
            leg = Route("", (Waypoint("", *a), Waypoint("", *b))).legs[0]
        except InputError as problem:
            same = "has no length" in str(problem)
            return _leg_body(0.0, 0.0, None, ["two points lie on each other" if same else "this leg is too long"])
        try:
            chart = self._around(a, b)
            held = hold(leg, chart, self._boat, self._keep_outs(chart), berths=berths)
        except NoCoverage:
            return _leg_body(leg.length_m, leg.course_deg, None, ["no chart covers this leg"])
        dangers = leg_dangers(1, held, Needs.of(self._boat, self._speed))
        body = _leg_body(leg.length_m, leg.course_deg, held.least_depth_m(), [])
        body["stops"] = [_danger(d, leg) for d in dangers if d.weight == "stops"][:MOST_SAID]
        body["against"] = [_danger(d, leg) for d in dangers if d.weight == "against"][:MOST_SAID]
        return body

    def _keep_outs(self, chart: ChartDangers) -> KeepOuts:
        return tuple(keep_outs_around(self._knowledge, chart.local.frame, 0.0, 0.0, chart.local.radius_m))

    def _around(self, a: LatLon, b: LatLon) -> ChartDangers:
        """Return the dangers round a leg; those of the part cut for the leg before, while that holds it."""
        length, course = geodesic(*a, *b)
        middle = tuple(float(v) for v in destination(*a, float(course), float(length) / 2))
        if self._cut is not None and self._dangers is not None:
            away, _ = geodesic(*self._cut[0], *middle)
            if float(away) + float(length) / 2 + AROUND_M / 2 < self._cut[1]:
                return self._dangers
        radius = float(length) / 2 + 2 * AROUND_M
        frame = LocalFrame(*middle)
        self._dangers = ChartDangers(self._chart.around(*middle, radius, frame=frame))
        self._cut = ((middle[0], middle[1]), radius)
        return self._dangers


def _leg_body(length_m: float, course_deg: float, least_m: float | None, stops: list[str]) -> LegCheckBody:
    return {
        "length_m": round(length_m),
        "course_deg": round(course_deg, 1),
        "least_depth_m": least_m,
        "stops": [{"say": say, "lat": None, "lon": None} for say in stops],
        "against": [],
    }


def _danger(danger: LegDanger, leg: Leg) -> LegDangerBody:
    """Return what a screen shows of a danger: its sentence without the leg's number, and where it lies."""
    lat, lon = leg.at(danger.along_m)
    if danger.side != "on":
        aside = leg.course_deg + (90.0 if danger.side == "starboard" else -90.0)
        lat, lon = (float(v) for v in destination(lat, lon, aside, danger.off_m))
    return {"say": danger.say.replace(" along leg 1", " along it"), "lat": round(lat, 6), "lon": round(lon, 6)}
