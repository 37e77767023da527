"""What a manoeuvre that is being tried would bring.  Public edge: degrees, metres, knots, seconds from now."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.reading.line import HiddenBy
from moonless.rules.encounters import Meeting

LonLat = tuple[float, float]


@dataclass(frozen=True, slots=True)
class TrialEcho:
    """One echo's closest approach if the manoeuvre is carried out and she holds course and speed."""

    id: int
    cpa_m: float
    tcpa_s: float
    cpa_sigma_m: float | None
    inside: bool  # of her keep-off
    own: LonLat  # both at that moment
    her: LonLat
    meeting: Meeting | None  # as things are now
    rules: tuple[str, ...]
    discouraged: str | None  # why the rules speak against the turn


@dataclass(frozen=True, slots=True)
class TrialChart:
    """The first thing that the chart has in the way."""

    what: str
    in_s: float
    distance_m: float  # run by then
    depth_m: float | None  # charted; None: not charted
    name: str | None
    lat: float
    lon: float
    say: str


@dataclass(frozen=True, slots=True)
class TrialHidden:
    """The first water, hidden as things are now, that the boat would come into."""

    by: HiddenBy
    in_s: float
    distance_m: float
    lat: float
    lon: float
    say: str


@dataclass(frozen=True, slots=True)
class Trial:
    """The whole answer."""

    time_ms: int
    course_deg: float
    speed_kn: float
    turn_deg: float  # positive to starboard
    delay_s: float
    horizon_s: float
    path: tuple[LonLat, ...]  # now, where it begins, the end of the horizon
    keep_off_m: float
    clears: bool
    closest_m: float | None
    closest_id: int | None
    echoes: tuple[TrialEcho, ...]  # nearest first
    chart: TrialChart | None
    hidden: TrialHidden | None
    refused: str | None
    say: str
