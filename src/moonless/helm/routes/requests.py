"""Routes asked for at the helm: checked while they are drawn, kept, followed.

What takes time (cutting the chart, seeking a way) is done in one thread of its own, on a chart of its own, so that the
watch's turns do not wait for it.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from moonless.errors import InputError, MoonlessError
from moonless.helm.process.events import Event, PlanNow, Reply
from moonless.helm.routes.files import RouteFiles
from moonless.passage.way.route import Route, read_gpx
from moonless.reading.types import Reading

_log = logging.getLogger(__name__)
NO_ROUTE: Mapping[str, Any] = {"route": [], "legs": [], "now": None}


class Routes:
    """The route that is followed, and everything that is asked about others."""

    def __init__(
        self,
        open_chart: Callable[[], Any],
        boat: Any,
        folder: Path,
        send: Callable[[Event], None],
        first: Path | None = None,
        chart: Any = None,
    ) -> None:
        """Follow the ``first`` route on the watch's own ``chart`` until another is chosen; ``send`` must be safe to
        call from any thread."""
        self._open_chart = open_chart
        self._boat = boat
        self._files = RouteFiles(folder)
        self._send = send
        self._following: str | None = None
        self._plan: Any = None
        if first is not None:
            self._follow(read_gpx(first), chart, first.stem)
        self._asked: queue.SimpleQueue[Mapping[str, Any]] = queue.SimpleQueue()
        self._newest_check = 0
        self._thread: threading.Thread | None = None
        self._chart: Any = None
        self._checker: Any = None  # moonless.helm.routes.check.Checker

    def at(self, reading: Reading) -> Mapping[str, Any]:
        """Return what the screens are told of the route with this reading."""
        plan = self._plan
        return NO_ROUTE if plan is None else plan.at(reading)

    def take(self, control: Mapping[str, Any]) -> bool:
        """Take one control; False when it is not about routes.  Never blocks."""
        if control["do"] != "route":
            return False
        asked = control["value"]
        if asked["what"] == "check":
            self._newest_check = asked["token"]
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, daemon=True, name="moonless-routes")
            self._thread.start()
        self._asked.put(asked)
        return True

    def _work(self) -> None:
        while True:
            asked = self._asked.get()
            what, token = asked["what"], asked["token"]
            # A finger that drags asks faster than the chart answers: only the newest drawing is looked at.
            if what == "check" and token != self._newest_check:
                continue
            try:
                body = self._answer(asked)
            except MoonlessError as problem:
                body = {"about": what, "problem": str(problem)}
            except Exception as problem:
                _log.exception("a route was asked about")
                body = {"about": what, "problem": f"this failed: {problem!r}"}
            self._send(Reply({**body, "token": token}))

    def _answer(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        what = asked["what"]
        if what == "check":
            return {"about": what, "legs": self._checks().check([tuple(p) for p in asked["points"]])}
        if what == "way":
            start, end = (tuple(p) for p in asked["points"])
            return {"about": what, "points": [[round(a, 6), round(b, 6)] for a, b in self._checks().way(start, end)]}
        if what == "save":
            path = self._files.save(asked["name"], [tuple(p) for p in asked["points"]])
            if asked["follow"]:
                self._follow(read_gpx(path), self._own_chart(), path.stem)
            return {**self._listed(), "about": what, "name": path.stem, "path": str(path)}
        if what == "follow":
            route = read_gpx(self._files.path(asked["name"]))
            back = asked["back"]
            name = asked["name"] + (", back" if back else "")
            self._follow(route.reversed() if back else route, self._own_chart(), name)
        elif what == "stop":
            self._plan, self._following = None, None
            self._send(PlanNow(NO_ROUTE))
        elif what == "remove":
            self._files.remove(asked["name"])
        return {**self._listed(), "about": what}

    def _listed(self) -> dict[str, Any]:
        return {"routes": self._files.list(), "following": self._following, "folder": str(self._files.folder)}

    def _follow(self, route: Route, chart: Any, name: str) -> None:
        from moonless.helm.routes.following import PlanAtHelm

        self._plan, self._following = PlanAtHelm(route, chart, self._boat), name

    def _own_chart(self) -> Any:
        if self._chart is None:
            self._chart = self._open_chart()
        return self._chart

    def _checks(self) -> Any:
        from moonless.helm.routes.check import Checker

        if self._own_chart() is None:
            raise InputError("no chart: a route cannot be checked here")
        if self._checker is None:
            self._checker = Checker(self._chart, self._boat)
        return self._checker
