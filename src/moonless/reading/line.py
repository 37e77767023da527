"""One line of readings.jsonl as a type, and the words that may stand in it.

Public edge: degrees, metres, knots where the name says.  Unknown is null, never 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NotRequired, TypedDict

from moonless.geojson import Polygon

Kind = Literal["vessel", "charted", "shore", "bridge", "uncharted", "clutter", "false"]
PositionFrom = Literal["receiver", "radar and chart"]
HiddenBy = Literal["land", "vessel", "horizon", "near range", "blind sector", "clutter"]
CallKind = Literal[
    "fault", "position", "vessel", "uncharted", "mark", "mark moved", "mark missing", "speed", "opening",
    "disagreement", "heading bias", "position offset", "radar performance", "charted danger", "sounder", "helm",
    "something",  # it comes in fast and shows too seldom to be called a vessel
]  # fmt: skip
Do = Literal["hold", "turn", "slow", "stop", "look"]
FaultWhat = Literal["radar", "position", "heading", "clock", "chart", "ais", "depth"]
FaultState = Literal["silent", "frozen", "stale", "jumped", "damaged", "disagrees", "deaf", "late"]


class OwnLine(TypedDict):
    """The boat; ``position_from``: what the position rests on, the receiver, or radar and chart while it is silent."""

    lat: float | None
    lon: float | None
    cog_deg: float | None
    sog_kn: float | None
    heading_deg: float | None
    position_from: NotRequired[PositionFrom | None]
    position_sigma_m: NotRequired[float | None]
    position_age_s: NotRequired[float | None]


class ChartedLine(TypedDict):
    """The charted thing that explains an echo."""

    object: str
    name: str | None
    cell: str
    feature: str
    offset_m: float


class AisLine(TypedDict):
    """The AIS identity that goes with an echo."""

    mmsi: int
    name: str | None


EchoIs = TypedDict("EchoIs", {"is": Kind})


class EchoLine(EchoIs):
    """One track explained."""

    id: int
    lat: float
    lon: float
    range_m: float
    bearing_deg: float
    relative_bearing_deg: float | None
    cog_deg: float | None
    sog_kn: float
    length_m: float | None
    confidence: float
    p_moving: float
    charted_as: ChartedLine | None
    ais: AisLine | None
    cpa_m: float | None
    tcpa_s: float | None
    cpa_sigma_m: float | None
    why: str


class MissingLine(TypedDict):
    """A charted aid that should have shown and did not."""

    object: str
    name: str | None
    lat: float
    lon: float
    p_seen_if_there: float
    scans_looked: int


class ByLine(TypedDict):
    """What hides it."""

    by: HiddenBy


class HiddenPartLine(TypedDict):
    """A piece of water that the radar cannot see now."""

    type: Literal["Feature"]
    geometry: Polygon
    properties: ByLine


class HiddenLine(TypedDict):
    """Water that the radar cannot see now: a FeatureCollection of GeoJSON."""

    type: Literal["FeatureCollection"]
    features: Sequence[HiddenPartLine]


class SeeingLine(TypedDict):
    """How far a thing of this cross-section would be held by now."""

    rcs_m2: float
    range_m: float | None


class RegistrationLine(TypedDict):
    """What was reported minus what makes radar and chart agree."""

    heading_bias_deg: float | None
    east_m: float | None
    north_m: float | None
    sigma_m: float | None
    agrees: bool | None
    heading_sigma_deg: NotRequired[float | None]


class SpeedLine(TypedDict):
    """The speed that goes with what is seen."""

    advised_kn: float | None
    because: str


class FaultLine(TypedDict):
    """Something that cannot be believed now."""

    what: FaultWhat
    state: FaultState
    since: str


class InstructionLine(TypedDict):
    """One order, verb first; its distance, time and speed are this turn's.  ``echo``: whom it is about."""

    do: Do
    to_deg: float | None
    to_kn: float | None
    say: str
    because: str
    echo: NotRequired[int | None]


class CallLine(TypedDict):
    """One sentence worth saying now; ``key``: what it is about, the same whatever the words."""

    key: str
    kind: CallKind
    urgency: int
    say: str
    echo: int | None


class ManoeuvreLine(TypedDict):
    """A change of course (positive to starboard) or speed that would keep everything off.

    ``is_slight``: a turn too small to be noticed readily (Rule 8(b)).
    """

    turn_deg: float
    course_deg: float
    speed_kn: float
    closest_m: float | None
    closest_id: int | None
    say: str
    is_slight: bool


class RefusedChangeLine(TypedDict):
    """A change that would clear, and why it is not offered."""

    turn_deg: float
    course_deg: float
    speed_kn: float
    closest_m: float
    closest_id: int
    why: str


ManoeuvresFor = TypedDict("ManoeuvresFor", {"for": Sequence[int]})


class ManoeuvresLine(ManoeuvresFor):
    """The smallest changes that do, while something comes inside the keep-off distance; ``for``: what comes inside."""

    keep_off_m: float
    turn: ManoeuvreLine | None
    slow: ManoeuvreLine | None
    refused: NotRequired[Sequence[RefusedChangeLine]]
    say: str


class ReadingLine(TypedDict):
    """Everything shown, spoken, logged or sent about one scan; recordings of earlier versions lack the last four."""

    time: str
    own: OwnLine
    echoes: Sequence[EchoLine]
    missing: Sequence[MissingLine]
    hidden: HiddenLine | None
    seeing: Sequence[SeeingLine]
    seeing_line: Polygon | None
    stopping_m: float | None
    registration: RegistrationLine
    speed: SpeedLine
    faults: Sequence[FaultLine]
    calls: Sequence[CallLine]
    instruction: NotRequired[InstructionLine | None]
    performance_db: NotRequired[float | None]
    performance_sigma_db: NotRequired[float | None]
    manoeuvres: NotRequired[ManoeuvresLine | None]
