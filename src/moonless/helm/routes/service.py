"""Routes asked for at the helm: checked while they are drawn, kept, followed.

What takes time (cutting the chart, seeking a way) is done in one thread of its own, on a chart of its own, so that the
watch's turns do not wait for it.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from moonless.errors import InputError, MoonlessError
from moonless.helm.bodies.routes import PlanNowBody, RouteAnswer
from moonless.helm.process.events import Event, PlanNow, Reply
from moonless.helm.process.requests import Asked, Asker, RouteRequest
from moonless.helm.routes.files import RouteFiles
from moonless.passage.brief.carried import Carried, read_carried
from moonless.passage.night import Night
from moonless.passage.way.route import Route, read_gpx, thinned
from moonless.reading.types import Reading
from moonless.sea.stations import Stations

if TYPE_CHECKING:
    from moonless.boat.types import Boat
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge
    from moonless.helm.routes.check import RouteChecker
    from moonless.helm.routes.following import FollowedRoute

_log = logging.getLogger(__name__)
NO_ROUTE: PlanNowBody = {"route": [], "legs": [], "now": None}


class RouteService:
    """The route that is followed, and everything that is asked about others; each answer goes to who asked."""

    def __init__(
        self,
        open_chart: Callable[[], Chart | None],
        boat: Boat,
        folder: Path,
        send: Callable[[Event], None],
        first: Path | None = None,
        chart: Chart | None = None,
        stations: Stations | None = None,
        knowledge: Knowledge | None = None,
    ) -> None:
        """Follow the ``first`` route on the watch's own ``chart`` until another is chosen; ``send`` must be safe to
        call from any thread.  ``knowledge``: the skipper's own, whose water to keep out of holds for every route."""
        self._open_chart = open_chart
        self._boat = boat
        self._files = RouteFiles(folder)
        self._send = send
        self._following: str | None = None
        self._plan: FollowedRoute | None = None
        self._stations = stations
        self._knowledge = knowledge
        self._night: Night | None = None
        self.carried: Carried | None = None
        if first is not None and first.suffix.lower() == ".json":
            # Made ashore: its weather holds for this watch, its margins and tides for its plan.
            self.carried = carried = read_carried(first)
            self._boat, self._night = carried.boat(boat), carried.night
            self._stations = stations or carried.stations
            self._follow(carried.route, chart, first.stem)
        elif first is not None:
            self._follow(read_gpx(first), chart, first.stem)
        self._asked: queue.SimpleQueue[tuple[Asker, RouteRequest]] = queue.SimpleQueue()
        self._newest_check: dict[Asker, int] = {}  # the token of each screen's newest drawing
        self._thread: threading.Thread | None = None
        self._chart: Chart | None = None
        self._checker: RouteChecker | None = None

    def at(self, reading: Reading) -> PlanNowBody:
        """Return what the screens are told of the route with this reading."""
        plan = self._plan
        return NO_ROUTE if plan is None else plan.at(reading)

    def take(self, asked: Asked) -> bool:
        """Take one request; False when it is not about routes.  Never blocks."""
        asker, request = asked
        if not isinstance(request, RouteRequest):
            return False
        if request.what == "check":
            self._newest_check[asker] = request.token
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, daemon=True, name="moonless-routes")
            self._thread.start()
        self._asked.put((asker, request))
        return True

    def _work(self) -> None:
        while True:
            asker, request = self._asked.get()
            # A finger that drags asks faster than the chart answers: only a screen's newest drawing is looked at.
            if request.what == "check" and request.token != self._newest_check.get(asker):
                continue
            try:
                body: RouteAnswer = self._answer(request)
            except MoonlessError as problem:
                body = {"problem": str(problem)}
            except Exception as problem:
                _log.exception("a route was asked about")
                body = {"problem": f"this failed: {problem!r}"}
            self._send(Reply(asker, {**body, "about": request.what, "token": request.token}))

    def _answer(self, asked: RouteRequest) -> RouteAnswer:
        if asked.what == "check":
            return {"legs": self._checks().check(asked.points)}
        if asked.what == "way":
            start, end = asked.points
            places, notes = self._checks().way(start, end)
            return {"points": [(round(a, 6), round(b, 6)) for a, b in places], "notes": list(notes)}
        if asked.what == "save":
            path = self._files.save(asked.name, asked.points)
            if asked.follow:
                self._follow(read_gpx(path), self._own_chart(), path.stem)
            return {**self._listed(), "name": path.stem, "path": str(path)}
        if asked.what == "follow":
            route = read_gpx(self._files.path(asked.name))
            name = asked.name + (", back" if asked.back else "")
            self._follow(route.reversed() if asked.back else route, self._own_chart(), name)
        elif asked.what == "leg":
            if self._plan is None:
                raise InputError("no route is followed")
            return {"leg": self._plan.pictures(asked.leg)}
        elif asked.what == "stop":
            self._plan, self._following = None, None
            self._send(PlanNow(NO_ROUTE))
        elif asked.what == "remove":
            self._files.remove(asked.name)
        return self._listed()

    def _listed(self) -> RouteAnswer:
        return {"routes": self._files.list(), "following": self._following, "folder": str(self._files.folder)}

    def _follow(self, route: Route, chart: Chart | None, name: str) -> None:
        from moonless.helm.routes.following import FollowedRoute

        route, _ = thinned(route)
        self._plan = FollowedRoute(route, chart, self._boat, self._night, self._stations, self._knowledge)
        self._following = name

    def _own_chart(self) -> Chart | None:
        if self._chart is None:
            self._chart = self._open_chart()
        return self._chart

    def _checks(self) -> RouteChecker:
        from moonless.helm.routes.check import RouteChecker

        chart = self._own_chart()
        if chart is None:
            raise InputError("no chart: a route cannot be checked here")
        if self._checker is None:
            self._checker = RouteChecker(chart, self._boat, self._knowledge)
        return self._checker
