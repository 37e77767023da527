"""What a screen may ask of the helm, checked once at the door."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, cast, get_args

from moonless.errors import InputError
from moonless.reading.situation import Sight

Do = Literal[
    "pause",  # the story or the recording stands still
    "go on",
    "speed",  # value: times real time
    "start again",
    "acknowledge",  # say, echo: this call was heard
    "i see it",  # echo, value: what the skipper sees there
    "keep in mind",  # echo, value: a few words, or ""
    "sight",  # value: in sight | radar only | unsure
    "silence",  # value: minutes; 0 ends it; urgency 4 is spoken all the same
    "say again",
    "loudspeaker",  # value: true | false, the server's own voice
    "fog signal",  # value: true | false, the reminder to sound it
    "listen",  # a screen sets up and wants to hear: asked again every few seconds
    "take bow",  # add what was measured against the chart to the radar's bow offset
    "undo bow",  # go back to the offset before
    "trial",  # value: {"course_deg", "speed_kn", "delay_s"}, see `read_trial`; null ends it
    "route",  # value: {"what": ..., "token": ...}, see `read_route`
]

SEEN_AS = ("boat", "buoy or beacon", "float or pot", "pile or stake", "rock or wreck", "birds or weed", "nothing there")
ROUTE_WHATS = ("check", "way", "save", "list", "follow", "stop", "remove")
MOST_POINTS = 100
MAX_SPEED = 16.0
MAX_SILENCE_MIN = 60.0
MAX_TRIAL_KN = 60.0
MAX_TRIAL_DELAY_S = 1800.0
# Who may be asked: the source (its chain) or the helm itself.
FOR_SOURCE = frozenset(
    {"pause", "go on", "speed", "start again", "acknowledge", "i see it", "keep in mind", "sight", "route", "trial"}
)


@dataclass(frozen=True, slots=True)
class Control:
    """One request, checked."""

    do: Do
    value: str | float | bool | Mapping[str, Any] | None = None
    echo: int | None = None
    say: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the request as a source takes it."""
        return {"do": self.do, "value": self.value, "echo": self.echo, "say": self.say}


def read_control(body: Mapping[str, Any]) -> Control:
    """Return the request in a control frame.

    Raises InputError naming what is not known or out of bounds.
    """
    do = body.get("do")
    if do not in get_args(Do):
        raise InputError(f"{do!r} is nothing this helm can do")
    known = cast(Do, do)
    echo = body.get("echo")
    if echo is not None and (isinstance(echo, bool) or not isinstance(echo, int)):
        raise InputError(f"echo is {echo!r}, not a number that echoes bear")
    say = body.get("say")
    if say is not None and (not isinstance(say, str) or len(say) > 400):
        raise InputError("say is not a sentence of at most 400 letters")
    value = body.get("value")
    if do in ("i see it", "keep in mind") and echo is None:
        raise InputError(f"{do!r} needs an echo")
    if do == "i see it" and value not in SEEN_AS:
        raise InputError(f"{value!r} is not one of: {', '.join(SEEN_AS)}")
    if do == "keep in mind" and not (value is None or (isinstance(value, str) and len(value) <= 200)):
        raise InputError("what is kept in mind is at most 200 letters")
    if do == "sight" and value not in get_args(Sight):
        raise InputError(f"{value!r} is not one of: {', '.join(get_args(Sight))}")
    if do == "speed":
        value = _number(value, "speed", 0.25, MAX_SPEED)
    if do == "silence":
        value = _number(value, "silence", 0.0, MAX_SILENCE_MIN)
    if do in ("loudspeaker", "fog signal") and not isinstance(value, bool):
        raise InputError(f"{do} is true or false")
    if do == "route":
        value = read_route(value)
    if do == "trial" and value is not None:
        value = read_trial(value)
    return Control(known, value, echo, say)


def read_trial(value: object) -> dict[str, float | None]:
    """Return the manoeuvre to try, checked: course true over ground and speed, None for as now, and when it begins.

    Raises InputError naming what is out of bounds.
    """
    if not isinstance(value, Mapping):
        raise InputError("a trial is an object of course_deg, speed_kn and delay_s")
    course, speed = value.get("course_deg"), value.get("speed_kn")
    return {
        "course_deg": None if course is None else _number(course, "course", 0.0, 360.0),
        "speed_kn": None if speed is None else _number(speed, "speed", 0.0, MAX_TRIAL_KN),
        "delay_s": _number(value.get("delay_s", 0.0), "delay", 0.0, MAX_TRIAL_DELAY_S),
    }


def read_route(value: object) -> dict[str, Any]:
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
    ==========  =================================================================

    Raises InputError naming what is wrong.
    """
    if not isinstance(value, Mapping):
        raise InputError("what is asked about a route is not an object")
    what, token = value.get("what"), value.get("token")
    if what not in ROUTE_WHATS:
        raise InputError(f"{what!r} is nothing that can be asked about a route")
    if isinstance(token, bool) or not isinstance(token, int):
        raise InputError("what is asked about a route bears no token")
    asked: dict[str, Any] = {"what": what, "token": token}
    if what in ("check", "way", "save"):
        asked["points"] = _points(value.get("points"), 2 if what == "way" else MOST_POINTS)
    if what in ("save", "follow", "remove"):
        name = value.get("name")
        if not isinstance(name, str) or not 0 < len(name) <= 60:
            raise InputError("a route's name is 1 to 60 letters")
        asked["name"] = name
    for key in {"save": ("follow",), "follow": ("back",)}.get(what, ()):
        if not isinstance(value.get(key), bool):
            raise InputError(f"{key} is true or false")
        asked[key] = value[key]
    return asked


def _points(value: object, most: int) -> list[list[float]]:
    if not isinstance(value, list) or not 2 <= len(value) <= most:
        raise InputError(f"a route has 2 to {most} points here")
    points = []
    for point in value:
        if not isinstance(point, list) or len(point) != 2:
            raise InputError("a route's point is [latitude, longitude]")
        points.append([_number(point[0], "latitude", -90.0, 90.0), _number(point[1], "longitude", -180.0, 180.0)])
    return points


def _number(value: object, what: str, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError(f"{what} is {value!r}, not a number")
    if not low <= value <= high:
        raise InputError(f"{what} is {value:g}; it goes from {low:g} to {high:g}")
    return float(value)
