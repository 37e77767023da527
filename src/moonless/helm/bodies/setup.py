"""What the set-up's pages are told; the TypeScript of `web/src/setup/types.ts` is made from these types."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, NotRequired, TypedDict

from moonless.geojson import Surface
from moonless.watch.link_survey.discovery import ListenState
from moonless.watch.link_survey.named_links import LinkKind

Form = Literal["text", "length", "metres", "number", "integer", "choice", "stops", "fuel", "lights", "sectors"]
"""How it is answered.  ``length``: in the skipper's unit of length; ``metres``: in metres whatever that is."""
Carries = Literal["nothing", "nmea", "bus", "signalk", "radar", "asterix", "unknown"]
LengthUnit = Literal["metres", "feet"]


class SentenceHeardBody(TypedDict):
    """One kind of sentence on a link."""

    address: str
    count: int
    per_s: float | None
    age_s: float


class RadarHeardBody(TypedDict):
    """The radar video on a link."""

    spokes: int
    spokes_per_s: float
    spokes_per_turn: int | None
    cells: int
    cell_m: float
    range_m: float
    bits: int
    turns_per_min: float | None
    radars: int
    has_time: bool


class TickerBody(TypedDict):
    """One of the last lines."""

    number: int
    text: str


class PlaceHeardBody(TypedDict):
    """One link that is listened to."""

    link: str
    kind: LinkKind
    state: ListenState
    line: str
    said: str
    by_hand: bool
    carries: Carries
    words: str
    age_s: float | None
    is_silent: bool
    bytes: int
    sentences: Sequence[SentenceHeardBody]
    ticker: Sequence[TickerBody]
    bad: int
    no_fix: bool
    vessels: int
    radar: RadarHeardBody | None
    values: Sequence[str]


class OfferHeardBody(TypedDict):
    """One talker on one link that tells a thing."""

    link: str
    talker: str
    kind: str
    value: str
    age_s: float


class ThingHeardBody(TypedDict):
    """A thing that is told (position, heading, ...), whom it is taken from and who else tells it."""

    what: str
    words: str
    taken: OfferHeardBody
    others: Sequence[OfferHeardBody]
    why: str
    is_conflict: bool
    can_choose: bool


class HeardBody(TypedDict):
    """The whole of what is heard now."""

    places: Sequence[PlaceHeardBody]
    things: Sequence[ThingHeardBody]
    quiet_ports: Sequence[int]


class ChoiceBody(TypedDict):
    """One of the answers to choose from."""

    value: object
    words: str


class QuestionBody(TypedDict):
    """A question as the page asks it: limits, default, what it stands at now."""

    key: str
    group: str
    form: Form
    ask: str
    help: str
    unit: str
    step: float
    low: float | None
    high: float | None
    default: object
    choices: Sequence[ChoiceBody]
    is_needed: bool
    value: object
    state: Literal["given", "assumed", "default", "unknown"]


class CellFound(TypedDict):
    """A cell as the page draws it."""

    name: str
    scale: int
    edition: int
    update: int
    issued: str
    not_for_navigation: bool
    coverage: Surface


class CellCoveredBody(CellFound):
    """A cell as the page draws it, and how old it is."""

    age_days: int | None
    is_old: bool


class CoverageFoundBody(TypedDict):
    """What the chosen charts cover, and what is to be said of it."""

    cells: Sequence[CellCoveredBody]
    warnings: Sequence[str]
    lines: Sequence[str]


class ReadingNowBody(TypedDict):
    """A chart that is being read."""

    name: str
    share: float


class CoverageBody(TypedDict):
    """What the chosen charts cover, as far as it has been read."""

    is_reading: bool
    reading: ReadingNowBody | None
    place: tuple[float, float] | None
    found: CoverageFoundBody | None


class PreferredBody(TypedDict):
    """Whom a thing is taken from."""

    link: str
    talker: str


class ChosenBody(TypedDict):
    """What has been chosen."""

    radar: str | None
    nmea: Sequence[str]
    charts: Sequence[str]
    tides: Sequence[str]
    prefer: Mapping[str, PreferredBody]
    length_unit: LengthUnit


class ToldBody(TypedDict):
    """Everything but what is heard."""

    path: str
    boat_path: str
    is_running: bool
    is_as_running: bool
    settings: ChosenBody
    groups: Mapping[str, str]
    questions: Sequence[QuestionBody]
    coverage: CoverageBody


class FolderBelowBody(TypedDict):
    """A folder within; ``is_counted``: whether it was looked through whole."""

    name: str
    path: str
    cells: int
    is_counted: bool


class StationFileBody(TypedDict):
    """A JSON file, which may hold tide stations."""

    name: str
    path: str


class FolderBody(TypedDict):
    """What a folder holds."""

    path: str
    up: str | None
    folders: Sequence[FolderBelowBody]
    cells: Sequence[str]
    stations: Sequence[StationFileBody]
    more: int
    below: int
    is_counted: bool
    roots: Sequence[str]


class PictureFoundBody(TypedDict):
    """What one look at a picture of a radar's screen has found; ``needs``: what still has to be told."""

    picture: str | None
    lines: Sequence[str]
    needs: Sequence[str]
    ranges_nm: NotRequired[Sequence[float]]
    link: str | None
