"""What a screen may ask of the helm, read from a control frame and checked at the door."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import cast, get_args

from moonless.errors import InputError
from moonless.helm.process.requests import (
    Acknowledge,
    EndTrial,
    JumpTo,
    KeepInMind,
    KeepListening,
    LatLon,
    Pause,
    PlaybackSpeed,
    RemindOfFogSignal,
    Request,
    RouteQuestion,
    RouteRequest,
    SayAgain,
    SeenByEye,
    SetSight,
    Silence,
    StartAgain,
    TakeBowOffset,
    TryManoeuvre,
    UndoBowOffset,
    UseLoudspeaker,
)
from moonless.helm.web.protocol import Json
from moonless.rules.steering import Sight
from moonless.watch.afterwards.by_eye import SEEN_AS

# Own choices: more than anybody asks for, and little enough to be done at once.
MOST_POINTS = 100
# Of a route that is followed.
MOST_LEGS = 10_000
MAX_SPEED = 16.0
MAX_UNIX_MS = 9_000_000_000_000.0  # in nanoseconds a whole number of 64 bits still
MAX_SILENCE_MIN = 60.0
MAX_TRIAL_KN = 60.0
MAX_TRIAL_DELAY_S = 1800.0


def read_control(body: Json) -> Request:
    """Return the request in a control frame.

    ============  ====================================================================================
    do            more
    ============  ====================================================================================
    pause         the story or the recording stands still
    go on
    speed         value: times real time
    start again
    jump          value: where a recording goes on, its own time, Unix milliseconds
    acknowledge   key: the call that bears it was heard
    i see it      echo, value: what the skipper sees there, one of `SEEN_AS`
    keep in mind  echo, value: a few words, or ""
    sight         value: in sight | radar only | unsure
    silence       value: minutes; 0 ends it; urgency 4 is spoken all the same
    say again
    loudspeaker   value: true | false, the server's own voice
    fog signal    value: true | false, the reminder to sound it
    listen        a screen sets up and wants to hear: asked again every few seconds
    take bow      add what was measured against the chart to the radar's bow offset
    undo bow      go back to the offset before
    trial         value: {"course_deg", "speed_kn", "delay_s"}, see `read_trial`; null ends it
    route         value: {"what": ..., "token": ...}, see `read_route`
    ============  ====================================================================================

    Raises InputError naming what is not known or out of bounds.
    """
    do = body.get("do")
    make = _READERS.get(do) if isinstance(do, str) else None
    if make is None:
        raise InputError(f"{do!r} is nothing this helm can do")
    return make(body)


def read_trial(value: object) -> TryManoeuvre | EndTrial:
    """Return the manoeuvre to be tried: ``course_deg`` over the ground, true, ``speed_kn`` (each null: as now) and
    ``delay_s`` before it is begun; null ends it.

    Raises InputError naming what is out of bounds.
    """
    if value is None:
        return EndTrial()
    if not isinstance(value, Mapping):
        raise InputError("a trial is an object of course_deg, speed_kn and delay_s")
    course, speed = value.get("course_deg"), value.get("speed_kn")
    return TryManoeuvre(
        None if course is None else _number(course, "course", 0.0, 360.0),
        None if speed is None else _number(speed, "speed", 0.0, MAX_TRIAL_KN),
        _number(value.get("delay_s", 0.0), "delay", 0.0, MAX_TRIAL_DELAY_S),
    )


def read_route(value: object) -> RouteRequest:
    """Return what is asked about routes, checked; ``token`` comes back with the answer.

    ==========  =================================================================
    what        more
    ==========  =================================================================
    check       points: [[lat, lon], ...], 2 to 100: every leg held to the chart
    way         points: two: a way along deep water between them
    save        points, name, follow: true | false
    list
    follow      name, back: true | false
    stop        follow none
    remove      name
    leg         leg: the number of a leg of the route that is followed: its pictures
    ==========  =================================================================

    Raises InputError naming what is wrong.
    """
    if not isinstance(value, Mapping):
        raise InputError("what is asked about a route is not an object")
    what, token = value.get("what"), value.get("token")
    if what not in get_args(RouteQuestion):
        raise InputError(f"{what!r} is nothing that can be asked about a route")
    if isinstance(token, bool) or not isinstance(token, int):
        raise InputError("what is asked about a route bears no token")
    points: tuple[LatLon, ...] = ()
    if what in ("check", "way", "save"):
        points = _points(value.get("points"), 2 if what == "way" else MOST_POINTS)
    name = value.get("name") if what in ("save", "follow", "remove") else ""
    if not isinstance(name, str) or (what in ("save", "follow", "remove") and not 0 < len(name) <= 60):
        raise InputError("a route's name is 1 to 60 letters")
    return RouteRequest(
        cast(RouteQuestion, what),
        token,
        points,
        name,
        follow=_switch(value.get("follow"), "follow") if what == "save" else False,
        back=_switch(value.get("back"), "back") if what == "follow" else False,
        leg=int(_number(value.get("leg"), "leg", 1, MOST_LEGS)) if what == "leg" else 0,
    )


def _acknowledge(body: Json) -> Acknowledge:
    key = body.get("key")
    if not isinstance(key, str) or not 0 < len(key) <= 400:
        raise InputError("the key of a call is 1 to 400 letters")
    return Acknowledge(key)


def _seen(body: Json) -> SeenByEye:
    echo, value = _needed_echo(body), body.get("value")
    if value not in SEEN_AS:
        raise InputError(f"{value!r} is not one of: {', '.join(SEEN_AS)}")
    return SeenByEye(echo, str(value))


def _keep(body: Json) -> KeepInMind:
    echo, value = _needed_echo(body), body.get("value")
    if not (value is None or (isinstance(value, str) and len(value) <= 200)):
        raise InputError("what is kept in mind is at most 200 letters")
    return KeepInMind(echo, value or "")


def _sight(body: Json) -> SetSight:
    value = body.get("value")
    if value not in get_args(Sight):
        raise InputError(f"{value!r} is not one of: {', '.join(get_args(Sight))}")
    return SetSight(cast(Sight, value))


def _echo(body: Json) -> int | None:
    echo = body.get("echo")
    if echo is not None and (isinstance(echo, bool) or not isinstance(echo, int)):
        raise InputError(f"echo is {echo!r}, not a number that echoes bear")
    return echo


def _needed_echo(body: Json) -> int:
    echo = _echo(body)
    if echo is None:
        raise InputError(f"{body.get('do')!r} needs an echo")
    return echo


def _points(value: object, most: int) -> tuple[LatLon, ...]:
    if not isinstance(value, list) or not 2 <= len(value) <= most:
        raise InputError(f"a route has 2 to {most} points here")
    points = []
    for point in value:
        if not isinstance(point, list) or len(point) != 2:
            raise InputError("a route's point is [latitude, longitude]")
        points.append((_number(point[0], "latitude", -90.0, 90.0), _number(point[1], "longitude", -180.0, 180.0)))
    return tuple(points)


def _switch(value: object, what: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{what} is true or false")
    return value


def _number(value: object, what: str, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError(f"{what} is {value!r}, not a number")
    if not low <= value <= high:
        raise InputError(f"{what} is {value:g}; it goes from {low:g} to {high:g}")
    return float(value)


_READERS: Mapping[str, Callable[[Json], Request]] = {
    "pause": lambda _: Pause(True),
    "go on": lambda _: Pause(False),
    "speed": lambda body: PlaybackSpeed(_number(body.get("value"), "speed", 0.25, MAX_SPEED)),
    "start again": lambda _: StartAgain(),
    "jump": lambda body: JumpTo(round(_number(body.get("value"), "time", 0.0, MAX_UNIX_MS)) * 1_000_000),
    "acknowledge": _acknowledge,
    "i see it": _seen,
    "keep in mind": _keep,
    "sight": _sight,
    "silence": lambda body: Silence(_number(body.get("value"), "silence", 0.0, MAX_SILENCE_MIN)),
    "say again": lambda _: SayAgain(),
    "loudspeaker": lambda body: UseLoudspeaker(_switch(body.get("value"), "loudspeaker")),
    "fog signal": lambda body: RemindOfFogSignal(_switch(body.get("value"), "fog signal")),
    "listen": lambda _: KeepListening(),
    "take bow": lambda _: TakeBowOffset(),
    "undo bow": lambda _: UndoBowOffset(),
    "trial": lambda body: read_trial(body.get("value")),
    "route": lambda body: read_route(body.get("value")),
}
