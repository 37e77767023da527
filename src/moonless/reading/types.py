"""The reading: what the skipper is told about one scan.  Public edge: degrees, metres, knots where the name says.

Unknown is None, never 0.  Numbers are finite.  `as_dict` gives one line of ``readings.jsonl``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from msgspec import to_builtins

from moonless.geojson import Polygon
from moonless.reading.line import (
    CallKind,
    CallLine,
    Do,
    EchoLine,
    FaultState,
    FaultWhat,
    HiddenLine,
    InstructionLine,
    Kind,
    ManoeuvresLine,
    PositionFrom,
    ReadingLine,
)
from moonless.units import iso_utc


@dataclass(frozen=True, slots=True)
class Own:
    """The boat itself; None where it is not known."""

    lat: float | None
    lon: float | None
    cog_deg: float | None
    sog_kn: float | None
    heading_deg: float | None
    # What the position rests on, its sigma on each axis, and for how long it has not been confirmed.
    position_from: PositionFrom | None = None
    position_sigma_m: float | None = None
    position_age_s: float | None = None


@dataclass(frozen=True, slots=True)
class ChartedAs:
    """The charted thing that explains an echo."""

    object: str
    name: str | None
    cell: str
    feature: str
    offset_m: float


@dataclass(frozen=True, slots=True)
class AisLabel:
    """The AIS identity that goes with an echo."""

    mmsi: int
    name: str | None


@dataclass(frozen=True, slots=True)
class Echo:
    """One track explained."""

    id: int
    lat: float
    lon: float
    range_m: float
    bearing_deg: float  # true
    relative_bearing_deg: float | None  # None: heading not known
    cog_deg: float | None  # None: not moving, or not known
    sog_kn: float
    length_m: float | None
    kind: Kind
    confidence: float
    p_moving: float
    charted_as: ChartedAs | None
    ais: AisLabel | None
    cpa_m: float | None
    tcpa_s: float | None
    cpa_sigma_m: float | None
    why: str
    coasting: bool = False  # not in the contract's line; screens draw it as remembered
    nav_status: int | None = None  # of AIS message 1 to 3: what she says she is doing; None: not said

    def as_dict(self) -> EchoLine:
        """Return the contract's object, ``kind`` under its name ``is``."""
        return {
            "id": self.id,
            "lat": self.lat,
            "lon": self.lon,
            "range_m": self.range_m,
            "bearing_deg": self.bearing_deg,
            "relative_bearing_deg": self.relative_bearing_deg,
            "cog_deg": self.cog_deg,
            "sog_kn": self.sog_kn,
            "length_m": self.length_m,
            "is": self.kind,
            "confidence": self.confidence,
            "p_moving": self.p_moving,
            "charted_as": to_builtins(self.charted_as),
            "ais": to_builtins(self.ais),
            "cpa_m": self.cpa_m,
            "tcpa_s": self.tcpa_s,
            "cpa_sigma_m": self.cpa_sigma_m,
            "why": self.why,
        }


@dataclass(frozen=True, slots=True)
class Missing:
    """A charted aid that should have shown and did not."""

    object: str
    name: str | None
    lat: float
    lon: float
    p_seen_if_there: float
    scans_looked: int


@dataclass(frozen=True, slots=True)
class Seeing:
    """How far a thing of this cross-section would be held by now; None: cannot be said."""

    rcs_m2: float
    range_m: float | None


@dataclass(frozen=True, slots=True)
class Registration:
    """What was reported minus what makes radar and chart agree."""

    heading_bias_deg: float | None
    east_m: float | None
    north_m: float | None
    sigma_m: float | None
    agrees: bool | None  # None: the view is too poor to say
    heading_sigma_deg: float | None = None  # one standard deviation of heading_bias_deg


@dataclass(frozen=True, slots=True)
class SpeedAdvice:
    """The speed that goes with what is seen; None: cannot be said."""

    advised_kn: float | None
    because: str


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that cannot be believed now."""

    what: FaultWhat
    state: FaultState
    since_ns: int


@dataclass(frozen=True, slots=True)
class Call:
    """One sentence worth saying now.  Urgency 1 is told in passing, 4 is shouted.

    ``key``: what it is about, the same from turn to turn whatever the words: its identity for all that carry it.
    """

    key: str
    kind: CallKind
    urgency: int
    say: str
    echo: int | None = None
    more: str = ""  # shown with it and not spoken; for the screens, and no part of a written reading

    def as_dict(self) -> CallLine:
        """Return it as a reading is written."""
        return {
            "key": self.key, "kind": self.kind, "urgency": self.urgency, "say": self.say, "echo": self.echo,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Instruction:
    """The one thing to do now; nothing else on the sheet contradicts it."""

    do: Do
    to_deg: float | None  # true, over ground: to turn to, or to hold
    to_kn: float | None
    say: str  # verb first
    because: str  # who and why, by which rule
    echo: int | None = None  # whom it is about; for the screens, and no part of a written reading

    def as_dict(self) -> InstructionLine:
        """Return it as a reading is written."""
        return {
            "do": self.do, "to_deg": self.to_deg, "to_kn": self.to_kn, "say": self.say, "because": self.because,
        }  # fmt: skip


AlertState = Literal["unacknowledged", "acknowledged", "rectified"]


@dataclass(frozen=True, slots=True)
class Alert:
    """A matter that was called, and how it stands."""

    key: str
    urgency: int
    state: AlertState
    say: str
    is_escalated: bool = False  # an alarm because nobody answered the warning


@dataclass(frozen=True, slots=True)
class Change:
    """A change of course or speed that keeps everything off."""

    turn_deg: float  # positive to starboard
    course_deg: float  # true, over ground
    speed_kn: float
    closest_m: float
    closest_id: int
    say: str
    is_slight: bool = False  # a turn too small to be readily apparent to another vessel (Rule 8(b))


@dataclass(frozen=True, slots=True)
class RefusedChange:
    """A change that would clear, and why it is not offered."""

    turn_deg: float
    course_deg: float
    speed_kn: float
    closest_m: float
    closest_id: int
    why: str


@dataclass(frozen=True, slots=True)
class Manoeuvres:
    """The smallest changes that keep everything off by the skipper's distance, told when something comes inside it."""

    keep_off_m: float
    echoes: tuple[int, ...]  # what comes inside, soonest first
    turn: Change | None
    slow: Change | None
    refused: tuple[RefusedChange, ...]
    say: str

    def as_dict(self) -> ManoeuvresLine:
        """Return the object of a reading's line; ``echoes`` under the name ``for``."""
        return {
            "keep_off_m": self.keep_off_m,
            "for": list(self.echoes),
            "turn": to_builtins(self.turn),
            "slow": to_builtins(self.slow),
            "refused": [to_builtins(one) for one in self.refused],
            "say": self.say,
        }


@dataclass(frozen=True, slots=True, repr=False)
class Reading:
    """Everything shown, spoken, logged or sent about one scan."""

    time_ns: int
    own: Own
    echoes: tuple[Echo, ...]
    missing: tuple[Missing, ...]
    hidden: HiddenLine | None  # GeoJSON FeatureCollection; None: not known, never "nothing is hidden"
    seeing: tuple[Seeing, ...]
    seeing_line: Polygon | None  # GeoJSON Polygon
    stopping_m: float | None
    registration: Registration
    speed: SpeedAdvice
    faults: tuple[Fault, ...] = ()
    calls: tuple[Call, ...] = ()
    # How the radar performs against its own figures by the charted marks, negative: worse; None: nothing was looked at.
    performance_db: float | None = None
    performance_sigma_db: float | None = None
    instruction: Instruction | None = None  # None: nothing is asked now
    alerts: tuple[Alert, ...] = ()  # what was called and how it stands: for the screens, no part of a written reading
    manoeuvres: Manoeuvres | None = None  # None: nothing comes inside the keep-off, or it cannot be said

    def __repr__(self) -> str:
        speed = "no speed advised" if self.speed.advised_kn is None else f"{self.speed.advised_kn:g} kn advised"
        said = f", {self.calls[0].say!r}" if self.calls else ""
        return f"Reading({iso_utc(self.time_ns)}, {len(self.echoes)} echoes, {speed}{said})"

    def as_dict(self) -> ReadingLine:
        """Return one line of readings.jsonl as a dictionary; refuses numbers that are not finite."""
        line: ReadingLine = {
            "time": iso_utc(self.time_ns),
            "own": to_builtins(self.own),
            "echoes": [echo.as_dict() for echo in self.echoes],
            "missing": [to_builtins(mark) for mark in self.missing],
            "hidden": self.hidden,
            "seeing": [to_builtins(entry) for entry in self.seeing],
            "seeing_line": self.seeing_line,
            "stopping_m": self.stopping_m,
            "registration": to_builtins(self.registration),
            "speed": to_builtins(self.speed),
            "faults": [{"what": f.what, "state": f.state, "since": iso_utc(f.since_ns)} for f in self.faults],
            "instruction": None if self.instruction is None else self.instruction.as_dict(),
            "calls": [call.as_dict() for call in self.calls],
            "performance_db": self.performance_db,
            "performance_sigma_db": self.performance_sigma_db,
            "manoeuvres": None if self.manoeuvres is None else self.manoeuvres.as_dict(),
        }
        _refuse_not_finite(line, "reading")
        return line


def _refuse_not_finite(value: object, where: str) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{where} is {value}; a reading holds finite numbers or null")
    if isinstance(value, Mapping):
        for key, inner in value.items():
            _refuse_not_finite(inner, f"{where}.{key}")
    elif isinstance(value, list | tuple):
        for position, inner in enumerate(value):
            _refuse_not_finite(inner, f"{where}[{position}]")
