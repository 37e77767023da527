"""A run looked back on, as a record."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.debrief.calls import CallTold, OrderTold
from moonless.debrief.figures import (
    DepthMargin,
    HiddenNear,
    MarkMissed,
    Pace,
    RadarHealth,
    Registered,
    WaypointPassed,
)
from moonless.debrief.meetings import MeetingTold


@dataclass(frozen=True, slots=True)
class Practise:
    """One thing to practise, and what on this run says so."""

    what: str
    because: str


@dataclass(frozen=True, slots=True)
class Debrief:
    """A run, looked back on."""

    source: str
    boat: str
    begins_ns: int
    ends_ns: int
    length_m: float
    turns: int
    is_anew: bool  # read again from the radar: what was said then may have been other words
    keep_off_s: float  # any vessel inside her keep-off
    pace: Pace
    meetings: tuple[MeetingTold, ...]
    hidden: HiddenNear
    depth: DepthMargin
    calls: tuple[CallTold, ...]
    orders: tuple[OrderTold, ...]
    marks: tuple[MarkMissed, ...]
    radar: RadarHealth
    registered: Registered
    plan: tuple[WaypointPassed, ...]
    plan_name: str | None  # None: none was given
    practise: tuple[Practise, ...]
    notes: tuple[str, ...]
