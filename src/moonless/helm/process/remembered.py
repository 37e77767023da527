"""What the helm remembers of a watch, so that one begun anew after it died goes on where it stood.

Nothing of it is written to a disk: it is taken from what crosses the pipe anyway.
"""

from __future__ import annotations

from math import cos, radians, sin

from moonless.helm.process.requests import (
    HELM,
    Acknowledge,
    Asked,
    GoOn,
    RouteRequest,
    SetBowOffset,
    SetSight,
    ShareBytes,
    SourceRequest,
)
from moonless.reading.types import Echo, Reading
from moonless.track.types import Former
from moonless.units import kn_to_mps


class Remembered:
    """The newest of each setting, what was answered, and the tracks last told."""

    def __init__(self) -> None:
        self._settings: dict[str, SourceRequest] = {}
        self._answered: dict[str, int] = {}  # key -> urgency
        self._urgency: dict[str, int] = {}  # of what stands now
        self._last: Reading | None = None

    def asked(self, request: SourceRequest) -> None:
        """Take note of what a screen asked."""
        if isinstance(request, SetSight | SetBowOffset | ShareBytes):
            self._settings[type(request).__name__] = request
        elif isinstance(request, RouteRequest) and (request.what in ("follow", "stop") or request.follow):
            # A route that was drawn and is followed lies in its file by now.
            is_over = request.what == "stop"
            self._settings["route"] = (
                request if is_over else RouteRequest("follow", request.token, name=request.name, back=request.back)
            )
        elif isinstance(request, Acknowledge):
            self._answered[request.key] = self._urgency.get(request.key, 1)

    def told(self, reading: Reading) -> None:
        """Take note of a reading; one that tells no echoes leaves the tracks as they were."""
        self._urgency = {alert.key: alert.urgency for alert in reading.alerts}
        # What is over, or has become more urgent, asks for an answer anew.
        self._answered = {key: at for key, at in self._answered.items() if 0 < self._urgency.get(key, 0) <= at}
        if reading.echoes:
            self._last = reading

    def anew(self) -> list[Asked]:
        """Return what a watch begun anew is to be asked."""
        last = self._last
        former = () if last is None else tuple(_former(echo, last.time_ns) for echo in last.echoes)
        return [Asked(HELM, one) for one in (GoOn(former, self._answered), *self._settings.values())]


def _former(echo: Echo, time_ns: int) -> Former:
    course, speed = radians(echo.cog_deg or 0.0), 0.0 if echo.cog_deg is None else kn_to_mps(echo.sog_kn)
    return Former(echo.id, time_ns, echo.lat, echo.lon, speed * sin(course), speed * cos(course))
