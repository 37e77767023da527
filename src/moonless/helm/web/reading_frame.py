"""Readings as the screens get them."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import NotRequired, TypedDict

from moonless.helm.bodies.routes import PlanNowBody
from moonless.helm.bodies.sheet import CallBody, CallNowBody, CompassBody, ReadingBody, TrackPoint
from moonless.reading.alerts.standing import StandingCall
from moonless.reading.line import FaultLine, OwnLine, RegistrationLine
from moonless.reading.registration.bow_mark import BowLine
from moonless.reading.types import Call, Reading
from moonless.units import NS_PER_S
from moonless.watch.types import Turn

TAIL_STEP_S = 6.0  # a tick of the tail
TAIL_LENGTH = 60  # points: six minutes
FORGET_TAIL_S = 60.0  # a track that comes back under its number within this keeps its tail
OWN_TRACK_STEP_S = 10.0  # between two points
OWN_TRACK_LENGTH = 90  # points: a quarter of an hour


class Tails:
    """Where each vessel has been, over the ground."""

    def __init__(self) -> None:
        self._points: dict[int, deque[tuple[float, float, int]]] = {}
        self._seen_ns: dict[int, int] = {}

    def add(self, reading: Reading) -> dict[str, list[TrackPoint]]:
        """Take in a reading; return {id: [[lat, lon, seconds ago], ...]}, oldest first, for what moves."""
        now = reading.time_ns
        out: dict[str, list[TrackPoint]] = {}
        for echo in reading.echoes:
            if echo.kind != "vessel":
                continue
            points = self._points.setdefault(echo.id, deque(maxlen=TAIL_LENGTH))
            if not points or now - points[-1][2] >= TAIL_STEP_S * NS_PER_S:
                points.append((echo.lat, echo.lon, now))
            self._seen_ns[echo.id] = now
            out[str(echo.id)] = [
                (round(lat, 6), round(lon, 6), round((now - t) / NS_PER_S, 1)) for lat, lon, t in points
            ]
        for gone in [k for k, t in self._seen_ns.items() if now - t > FORGET_TAIL_S * NS_PER_S]:
            self._points.pop(gone, None)
            self._seen_ns.pop(gone, None)
        return out

    def clear(self) -> None:
        """Forget everything: the story began again."""
        self._points.clear()
        self._seen_ns.clear()


class OwnTrack:
    """Where the boat has been, over the ground."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float, int]] = deque(maxlen=OWN_TRACK_LENGTH)

    def add(self, reading: Reading) -> list[TrackPoint]:
        """Take in a reading; return [[lat, lon, seconds ago], ...], oldest first.  A lost position leaves a gap."""
        now, own = reading.time_ns, reading.own
        known = own.lat is not None and own.lon is not None
        if known and (not self._points or now - self._points[-1][2] >= OWN_TRACK_STEP_S * NS_PER_S):
            assert own.lat is not None and own.lon is not None
            self._points.append((own.lat, own.lon, now))
        return [(round(lat, 6), round(lon, 6), round((now - t) / NS_PER_S, 1)) for lat, lon, t in self._points]

    def clear(self) -> None:
        """Forget everything: the story began again."""
        self._points.clear()


class NumberedCalls:
    """Numbers the calls in the order in which they are told.  When each is told is decided in the reading."""

    def __init__(self) -> None:
        self._number = 0

    def of(self, reading: Reading) -> list[CallBody]:
        """Return the calls of a reading, each with a number of its own."""
        return [self._numbered(call) for call in reading.calls]

    def own_call(self, key: str, urgency: int, say: str) -> CallBody:
        """Return a call of the helm's own, numbered among the others."""
        return self._numbered(Call(key, "helm", urgency, say))

    def _numbered(self, call: Call) -> CallBody:
        self._number += 1
        return {
            "number": self._number, "key": call.key, "kind": call.kind, "urgency": call.urgency, "say": call.say,
            "echo": call.echo,
        }  # fmt: skip


def standing_body(standing: Iterable[StandingCall]) -> list[CallNowBody]:
    """Return the calls whose words stand, as the screens show them."""
    return [
        {
            "key": one.call.key, "urgency": one.call.urgency, "say": one.call.say, "echo": one.call.echo,
            "more": one.call.more,
        }
        for one in standing
    ]  # fmt: skip


class Beside(TypedDict):
    """What the helm adds to a reading of its own."""

    tails: dict[str, list[TrackPoint]]
    own_track: list[TrackPoint]
    standing: list[CallNowBody]
    plan: PlanNowBody | None
    compass: CompassBody | None
    bow: NotRequired[BowLine]


def reading_body(turn: Turn, number: int, beside: Beside) -> ReadingBody:
    """Return the body of a reading frame."""
    line = turn.reading.as_dict()
    if line["instruction"] is not None and turn.reading.instruction is not None:
        line["instruction"]["echo"] = turn.reading.instruction.echo
    return {
        **line,
        "coasting": [echo.id for echo in turn.reading.echoes if echo.coasting],
        "turn": number,
        "alerts": [
            {"key": one.key, "urgency": one.urgency, "state": one.state, "say": one.say, "escalated": one.is_escalated}
            for one in turn.reading.alerts
        ],
        "depth_m": turn.depth_below_surface_m,
        **beside,
    }


_NO_OWN: OwnLine = {
    "lat": None, "lon": None, "cog_deg": None, "sog_kn": None, "heading_deg": None, "position_from": None,
    "position_sigma_m": None, "position_age_s": None,
}  # fmt: skip
_NO_REGISTRATION: RegistrationLine = {
    "heading_bias_deg": None, "east_m": None, "north_m": None, "sigma_m": None, "agrees": None,
    "heading_sigma_deg": None,
}  # fmt: skip


def reading_overdue(body: ReadingBody) -> ReadingBody:
    """Return a reading's body with all of it withdrawn that is not true any more when none has come after it."""
    late: FaultLine = {"what": "radar", "state": "late", "since": body["time"]}
    return {
        **body,
        "own": _NO_OWN,
        "echoes": [], "missing": [], "hidden": None, "seeing": [], "seeing_line": None, "stopping_m": None,
        "registration": _NO_REGISTRATION,
        "speed": {"advised_kn": None, "because": "Nothing new has been read, so no speed can be said."},
        "faults": [*(fault for fault in body["faults"] if fault["what"] != "radar"), late],
        "instruction": None, "manoeuvres": None, "calls": [], "standing": [], "coasting": [], "tails": {},
    }  # fmt: skip
