"""What was told on a run, told again: figures, and words of a closed list; no sentence of anybody's.

Everything that is shared stands here by its name.  What a later version of the program adds is left out until it is
named here too.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, get_args

from moonless.errors import WireError
from moonless.reading.line import CallKind, Do, FaultState, FaultWhat, HiddenBy, Kind, PositionFrom
from moonless.share.aliases import Aliases
from moonless.share.moved import Moved
from moonless.units import iso_utc, utc_to_ns
from moonless.watch.afterwards.by_eye import SEEN_AS

Line = Mapping[str, Any]

WORDS = frozenset(
    str(word)
    for words in (Kind, CallKind, Do, FaultState, FaultWhat, HiddenBy, PositionFrom)
    for word in get_args(words)
) | frozenset(SEEN_AS)  # fmt: skip
"""The words that a shared reading is made of."""
LEFT_OUT = "left out of what is shared"
# Classes of S-57 are six letters.
OBJECT = re.compile(r"[A-Z$]{6}")

_ECHO = (
    "id", "range_m", "bearing_deg", "relative_bearing_deg", "cog_deg", "sog_kn", "length_m", "confidence", "p_moving",
    "cpa_m", "tcpa_s", "cpa_sigma_m",
)  # fmt: skip
_OWN = ("cog_deg", "sog_kn", "heading_deg", "position_sigma_m", "position_age_s")
_REGISTRATION = ("heading_bias_deg", "east_m", "north_m", "sigma_m", "heading_sigma_deg")
_EYE = ("echo", "sog_kn", "heading_bias_deg", "east_m", "north_m")
_CHANGE = ("turn_deg", "course_deg", "speed_kn", "closest_m", "closest_id")


def line_in(data: bytes) -> dict[str, Any]:
    """Return a recorded line.  Raises WireError if it is none: what cannot be read cannot be shared either."""
    try:
        line = json.loads(data)
        if not isinstance(line, dict) or "time" not in line:
            raise ValueError("is not an object with a time")
    except ValueError as problem:
        raise WireError(f"a reading in it cannot be read: {problem}") from problem
    return line


class SharedReadings:
    """Takes in a run's readings in order and gives lines for them."""

    def __init__(self, moved: Moved, aliases: Aliases) -> None:
        self._moved = moved
        self._aliases = aliases

    def line(self, told: Line) -> dict[str, object]:
        """Return what one line tells, made anew."""
        own, registration = told.get("own") or {}, told.get("registration") or {}
        return {
            "time": self._time(told["time"]),
            "own": {
                **self._place(own), **_figures(own, _OWN), "position_from": _word(own.get("position_from")),
            },
            "echoes": [self._echo(one) for one in told.get("echoes") or ()],
            "missing": [self._missing(one) for one in told.get("missing") or ()],
            "hidden": self._hidden(told.get("hidden")),
            "seeing": [_figures(one, ("rcs_m2", "range_m")) for one in told.get("seeing") or ()],
            "seeing_line": self._shape(told.get("seeing_line")),
            "stopping_m": _figure(told.get("stopping_m")),
            "registration": {**_figures(registration, _REGISTRATION), "agrees": _flag(registration.get("agrees"))},
            "speed": {"advised_kn": _figure((told.get("speed") or {}).get("advised_kn")), "because": LEFT_OUT},
            "faults": [
                {"what": _word(one["what"]), "state": _word(one["state"]), "since": self._time(one["since"])}
                for one in told.get("faults") or ()
            ],
            "instruction": _instruction(told.get("instruction")),
            "calls": [self._call(one) for one in told.get("calls") or ()],
            "performance_db": _figure(told.get("performance_db")),
            "performance_sigma_db": _figure(told.get("performance_sigma_db")),
            "manoeuvres": _manoeuvres(told.get("manoeuvres")),
        }  # fmt: skip

    def eye(self, told: Line) -> dict[str, object] | None:
        """Return what the skipper saw at an echo; None for words of his own."""
        if told.get("what") not in WORDS:
            return None
        return {
            "time": self._time(told["time"]), **self._place(told), **_figures(told, _EYE),
            "what": told["what"], "is": _word(told.get("is")), "charted": bool(told.get("charted")),
        }  # fmt: skip

    def answered(self, told: Line) -> str:
        """Return the key of a call that was answered, as the calls bear it here."""
        return self._matter(told.get("key"))

    def _matter(self, key: object) -> str:
        return str(self._aliases.name("matter", str(key)))

    def _echo(self, one: Line) -> dict[str, object]:
        charted, ais = one.get("charted_as"), one.get("ais")
        return {
            **self._place(one),
            **_figures(one, _ECHO),
            "is": _word(one.get("is")),
            "charted_as": None if charted is None else {
                **self._mark(charted), "cell": self._aliases.name("cell", charted["cell"]),
                "feature": self._aliases.name("feature", charted["feature"]), **_figures(charted, ("offset_m",)),
            },
            "ais": None if ais is None else {
                "mmsi": self._aliases.mmsi(int(ais["mmsi"])), "name": self._aliases.name("vessel", ais["name"]),
            },
            "why": LEFT_OUT,
        }  # fmt: skip

    def _missing(self, one: Line) -> dict[str, object]:
        return {**self._mark(one), **self._place(one), **_figures(one, ("p_seen_if_there", "scans_looked"))}

    def _mark(self, one: Line) -> dict[str, object]:
        named = str(one.get("object"))
        return {"object": named if OBJECT.fullmatch(named) else "", "name": self._aliases.name("mark", one.get("name"))}

    def _call(self, one: Line) -> dict[str, object]:
        kind = _word(one.get("kind"))
        return {
            "key": self._matter(one.get("key") or one.get("say")), "kind": kind,
            **_figures(one, ("urgency", "echo")), "say": kind,
        }  # fmt: skip

    def _hidden(self, told: Line | None) -> dict[str, object] | None:
        if told is None:
            return None
        return {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature", "properties": {"by": _word(one["properties"].get("by"))},
                    "geometry": self._shape(one["geometry"]),
                }
                for one in told["features"]
            ],
        }  # fmt: skip

    def _shape(self, told: Line | None) -> dict[str, object] | None:
        if told is None or told.get("type") not in ("Polygon", "MultiPolygon"):
            return None
        return {"type": told["type"], "coordinates": self._moved.geometry(told["coordinates"])}

    def _place(self, one: Line) -> dict[str, float | None]:
        lat, lon = _figure(one.get("lat")), _figure(one.get("lon"))
        if lat is None or lon is None:
            return {"lat": None, "lon": None}
        lat, lon = self._moved.place(lat, lon)
        return {"lat": round(lat, 7), "lon": round(lon, 7)}

    def _time(self, told: str) -> str:
        return iso_utc(self._moved.time(utc_to_ns(datetime.fromisoformat(told))))


def _instruction(one: Line | None) -> dict[str, object] | None:
    if one is None:
        return None
    return {"do": _word(one.get("do")), **_figures(one, ("to_deg", "to_kn")), "say": _word(one.get("do")),
            "because": LEFT_OUT}  # fmt: skip


def _manoeuvres(one: Line | None) -> dict[str, object] | None:
    if one is None:
        return None
    return {
        **_figures(one, ("keep_off_m",)),
        "for": [number for number in one.get("for") or () if isinstance(number, int)],
        "turn": _change(one.get("turn")),
        "slow": _change(one.get("slow")),
        "refused": [{**_figures(r, _CHANGE), "why": LEFT_OUT} for r in one.get("refused") or ()],
        "say": LEFT_OUT,
    }


def _change(one: Line | None) -> dict[str, object] | None:
    if one is None:
        return None
    return {**_figures(one, _CHANGE), "say": LEFT_OUT, "is_slight": bool(one.get("is_slight"))}


def _figures(one: Line, names: Sequence[str]) -> dict[str, object]:
    return {name: _figure(one.get(name)) for name in names}


def _figure(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return value


def _flag(value: object) -> bool | None:
    return value if isinstance(value, bool) else None


def _word(value: object) -> str | None:
    return value if isinstance(value, str) and value in WORDS else None
