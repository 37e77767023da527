"""What the sheet is told, frame by frame: the bodies of `moonless.helm.web.protocol` that are JSON.

The TypeScript of `web/src/state/types.ts` is made from these types (`python web/make_types.py`), its remarks too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, NotRequired, TypedDict

from moonless.geojson import Surface
from moonless.helm.bodies.routes import PlanNowBody
from moonless.reading.line import ReadingLine
from moonless.reading.registration.bow_mark import BowLine
from moonless.reading.types import AlertState
from moonless.rules.steering import Sight
from moonless.units import DistanceUnit
from moonless.watch.types import LinkState

SourceKind = Literal["demo", "live", "replay", "test", "none"]
"""``none``: nothing is connected yet."""
TrackPoint = tuple[float, float, float]
"""Latitude, longitude, seconds ago."""


class BoatFactsBody(TypedDict):
    """The boat: metres, degrees, knots; ``assumed``: figures that nobody knew."""

    name: str
    length_m: float
    beam_m: float
    keep_off_m: float
    draught_m: NotRequired[float]
    air_draught_m: NotRequired[float]
    depth_margin_m: NotRequired[float]
    distance_unit: DistanceUnit
    free_hand: Literal["left", "right"]
    night_limit_kn: float | None
    stopping_measured: bool
    local_time_zone: str
    bow_offset_deg: NotRequired[float]
    assumed: NotRequired[Sequence[str]]
    blind_sectors_deg: NotRequired[Sequence[tuple[float, float]]]
    deviation: NotRequired[Sequence[tuple[float, float]]]  # the card of the compass at the wheel: heading, deviation


class HelloBody(TypedDict):
    """What this helm is; ``setup``: whether it can be set up."""

    protocol: int
    source: SourceKind
    boat: BoatFactsBody
    setup: NotRequired[bool]


class CallNowBody(TypedDict):
    """A call whose words stand; ``key``: what it is about, the same whatever the words; ``more``: shown, not spoken."""

    key: str
    urgency: int
    say: str
    echo: int | None
    more: NotRequired[str]


class CallBody(CallNowBody):
    """One call, numbered in the order they are told; ``again``: it was asked to be said again."""

    number: int
    kind: NotRequired[str]
    again: NotRequired[bool]


class AlertBody(TypedDict):
    """A matter that was called and how it stands, in the words of the standards on bridge alerts.

    ``escalated``: an alarm because nobody answered the warning.
    """

    key: str
    urgency: int
    state: AlertState
    say: str
    escalated: bool


class CompassBody(TypedDict):
    """What the compass at the wheel shows on the true courses 0, 10 ... 350.

    ``by``: the deviation card, or the variation alone where the boat has none.
    """

    by: Literal["card", "variation"]
    shows_deg: Sequence[float]


class ReadingBody(ReadingLine):
    """A reading as the sheet has it.

    ``standing``: calls said before whose words still stand, the most urgent first; when that ends is the reading's to
    say.  ``own_track``: oldest first.  ``depth_m``: by the sounder, from the waterline.
    """

    coasting: Sequence[int]
    tails: Mapping[str, Sequence[TrackPoint]]
    turn: int
    standing: Sequence[CallNowBody]
    alerts: NotRequired[Sequence[AlertBody]]
    own_track: NotRequired[Sequence[TrackPoint]]
    depth_m: NotRequired[float | None]
    bow: NotRequired[BowLine]
    plan: NotRequired[PlanNowBody | None]
    compass: NotRequired[CompassBody | None]


class LinkBody(TypedDict):
    """How one link stands."""

    link: str
    state: LinkState
    text: str


class AgesBody(TypedDict):
    """How old the picture and the reading are."""

    radar_age_s: float | None
    reading_age_s: float | None


class SourceStatusBody(TypedDict):
    """How the source stands; ``tide_m``: above chart datum; ``without``: what the watch goes on without."""

    notice: str
    fraction: float | None
    ended: str | None
    paused: bool
    speed: float
    story_ms: int | None
    tide_m: NotRequired[float | None]
    sight: Sight
    without: NotRequired[Sequence[str]]
    links: Sequence[LinkBody]


class VoiceBody(TypedDict):
    """How the voice stands; ``fog_s``: seconds to the next fog signal, null: not asked for."""

    silent_s: float
    loudspeaker: bool | None
    fog_s: float | None


class AffairsBody(AgesBody, SourceStatusBody, VoiceBody):
    """How things stand: the heartbeat.

    ``tide_m``: above chart datum, null: not known; ``without``: what the watch goes on without; ``fog_s``: seconds to
    the next fog signal, null: not asked for.
    """

    screens: int


class AnswerBody(TypedDict):
    """One plain line for the screen that asked; it comes as a heartbeat does."""

    answer: str


class BarMarkBody(TypedDict):
    """Something on a recording's time bar: a call, or a vessel at her closest."""

    at_ms: int
    kind: Literal["call", "closest"]
    urgency: int
    say: str


class TimeBarBody(TypedDict):
    """From when to when a recording goes; ``is_whole``: its marks are all gathered."""

    first_ms: int
    last_ms: int
    is_whole: bool
    marks: Sequence[BarMarkBody]


class ChartPlaceBody(TypedDict):
    """Where the chart lies now."""

    key: str | None
    url: str | None


class ChartCellBody(TypedDict):
    """A cell that the chart is made of."""

    name: str
    scale: int
    issued: str
    not_for_navigation: bool


class ChartDataBody(TypedDict):
    """Where the chart's tiles lie, and what they are made of: TileJSON with the cells beside.

    ``tiles``: addresses, from the page's own; ``bounds``: west, south, east, north.
    """

    tilejson: NotRequired[str]
    key: str
    tiles: Sequence[str]
    minzoom: int
    maxzoom: int
    bounds: tuple[float, float, float, float]
    cells: Sequence[ChartCellBody]
    coverage: Surface


class TrialEchoBody(TypedDict):
    """One echo if the manoeuvre is carried out; ``own``, ``her``: lon, lat of both at the closest approach."""

    id: int
    cpa_m: float
    tcpa_s: float
    cpa_sigma_m: NotRequired[float | None]
    inside: bool
    own: tuple[float, float]
    her: tuple[float, float]
    meeting: NotRequired[str | None]
    rules: NotRequired[Sequence[str]]
    discouraged: NotRequired[str | None]


class TrialChartBody(TypedDict):
    """The first thing that the chart has in the way."""

    what: str
    in_s: NotRequired[float]
    distance_m: float
    depth_m: NotRequired[float | None]
    name: NotRequired[str | None]
    lat: float
    lon: float
    say: str


class TrialHiddenBody(TypedDict):
    """The first water, hidden now, that the boat would come into."""

    by: str
    in_s: NotRequired[float]
    distance_m: float
    lat: float
    lon: float
    say: str


class TrialFound(TypedDict):
    """What a manoeuvre would bring; only ``say`` where nothing can be tried."""

    say: str
    time_ms: NotRequired[int]
    course_deg: NotRequired[float]
    speed_kn: NotRequired[float]
    turn_deg: NotRequired[float]
    delay_s: NotRequired[float]
    horizon_s: NotRequired[float]
    path: NotRequired[Sequence[tuple[float, float]]]
    keep_off_m: NotRequired[float]
    clears: NotRequired[bool]
    closest_m: NotRequired[float | None]
    closest_id: NotRequired[int | None]
    echoes: NotRequired[Sequence[TrialEchoBody]]
    chart: NotRequired[TrialChartBody | None]
    hidden: NotRequired[TrialHiddenBody | None]
    refused: NotRequired[str | None]


class Nothing(TypedDict):
    """No trial: an empty object."""


NOTHING: Nothing = {}


class TrialBody(TrialFound):
    """What a manoeuvre would bring; only ``say`` where nothing can be tried.

    ``path``: lon, lat now, where it begins, where she is at the end.  ``is_own``: false: another screen tries it, and
    this one tries nothing.
    """

    is_own: bool
