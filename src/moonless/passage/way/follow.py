"""Following a plan under way: which leg, how far off it, and the next thing that will happen on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from moonless.constants import NAUTICAL_MILE_M
from moonless.frames import LocalFrame, wrap_180
from moonless.passage.types import LegPlan, Plan
from moonless.passage.way.route import Route
from moonless.passage.words import object_words
from moonless.units import down

# A leg is left for the next when the boat is past its end or this near it.
TURN_WITHIN_M = 60.0
# Farther than this from every leg the boat is not on the plan, and it is not followed.
LOST_M = 1.0 * NAUTICAL_MILE_M


@dataclass(frozen=True, slots=True)
class Next:
    """One thing ahead on the plan."""

    what: str  # "turn", "light", "opens", "mark", "danger", "arrive"
    distance_m: float  # along the track from here
    say: str


@dataclass(frozen=True, slots=True)
class Following:
    """Where the boat is on its plan."""

    leg: int  # from 1
    course_deg: float  # of the leg, true
    off_track_m: float  # positive: to starboard of it
    to_go_leg_m: float
    to_go_m: float
    arrive_s: float | None  # at the present speed; None: not making way along the route
    coming: tuple[Next, ...]  # nearest first


class Follower:
    """Follows one route; legs are taken in order and never gone back to."""

    def __init__(self, route: Route, plan: Plan | None = None) -> None:
        self._route = route
        self._plan = plan
        self._leg = 0
        first = route.waypoints[0]
        self._frame = LocalFrame(first.lat_deg, first.lon_deg)
        self._lines = [shapely.LineString(leg.plane(self._frame)) for leg in route.legs]
        self._begun = False

    def at(self, lat_deg: float, lon_deg: float, sog: float | None, time_s: float) -> Following | None:
        """Return where a position stands on the plan; None when it is far from every leg left."""
        east, north = self._frame.to_plane(lat_deg, lon_deg)
        here = shapely.Point(east, north)
        if not self._begun:
            # The watch may begin anywhere along the route.
            away = [shapely.distance(line, here) for line in self._lines]
            if min(away) > LOST_M:
                return None
            self._leg, self._begun = int(np.argmin(away)), True
        while self._leg < len(self._lines) - 1 and self._passed(here):
            self._leg += 1
        line, leg = self._lines[self._leg], self._route.legs[self._leg]
        off = float(shapely.distance(line, here))
        if off > LOST_M:
            return None
        along = float(line.project(here))
        to_go_leg = line.length - along
        to_go = to_go_leg + sum(x.length for x in self._lines[self._leg + 1 :])
        return Following(
            leg=self._leg + 1,
            course_deg=leg.course_deg,
            off_track_m=off * self._side(line, along, here),
            to_go_leg_m=to_go_leg,
            to_go_m=to_go,
            arrive_s=time_s + to_go / sog if sog is not None and sog > 0.5 else None,
            coming=tuple(self._coming(along, to_go_leg)),
        )

    def _passed(self, here: shapely.Point) -> bool:
        line = self._lines[self._leg]
        end = shapely.get_point(line, -1)
        if shapely.distance(end, here) <= TURN_WITHIN_M:
            return True
        # Past the line that halves the turn: nearer to the next leg than to this one, beyond its end.
        beyond = line.project(here) >= line.length - 1e-6
        return bool(beyond and shapely.distance(self._lines[self._leg + 1], here) <= shapely.distance(line, here))

    @staticmethod
    def _side(line: shapely.LineString, along: float, here: shapely.Point) -> float:
        ahead = line.interpolate(min(along + 1.0, line.length))
        behind = line.interpolate(max(along - 1.0, 0.0))
        cross = (ahead.x - behind.x) * (here.y - behind.y) - (ahead.y - behind.y) * (here.x - behind.x)
        return -1.0 if cross > 0 else 1.0

    def _coming(self, along_m: float, to_go_leg_m: float) -> list[Next]:
        number = self._leg
        last = number == len(self._lines) - 1
        leg = self._route.legs[number]
        if last:
            found = [Next("arrive", to_go_leg_m, f"arrive at {leg.end.name}")]
        else:
            turn = wrap_180(self._route.legs[number + 1].course_deg - leg.course_deg)
            side = "starboard" if turn > 0 else "port"
            course = round(self._route.legs[number + 1].course_deg) % 360
            say = f"at {leg.end.name} turn {abs(turn):.0f}° to {side}, new course {course:03d}°"
            found = [Next("turn", to_go_leg_m, say)]
        if self._plan is not None:
            found += _on_leg(self._plan.legs[number], along_m)
        return sorted(found, key=lambda n: n.distance_m)


def _on_leg(leg: LegPlan, along_m: float) -> list[Next]:
    found = []
    for light in leg.lights:
        if light.first_along_m > along_m and light.first_along_m > 1.0:
            name = light.name or "a light"
            say = f"{name}, {light.text}, {light.colour}, should come up"
            found.append(Next("light", light.first_along_m - along_m, say))
    for mark in leg.unlit:
        if mark.along_m > along_m:
            name = object_words(mark.name, mark.object)
            side = mark.side
            found.append(Next("mark", mark.along_m - along_m, f"{name}, unlit, {down(mark.off_m, 0)} m to {side}"))
    for danger in leg.dangers:
        if danger.along_m > along_m and danger.weight in ("stops", "against"):
            found.append(Next("danger", danger.along_m - along_m, danger.say.rsplit(", ", 2)[0]))
    for point in leg.opens:
        if point.along_m > along_m:
            found.append(Next("opens", point.along_m - along_m, point.say))
    return found
