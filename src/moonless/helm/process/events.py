"""What a source of the live loop hands to the helm, and what may be asked of it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from moonless.helm.bodies.routes import PlanNowBody, ReplyBody
from moonless.helm.bodies.sheet import BoatFactsBody, SourceKind, TrialFound
from moonless.helm.process.requests import Asker, SourceRequest
from moonless.watch.types import LinkNow, SpokesNow, Turn


@dataclass(frozen=True, slots=True)
class PoseNow:
    """Where the boat is; None where not known."""

    lat_deg: float | None
    lon_deg: float | None
    heading_deg: float | None
    cog_deg: float | None
    sog_kn: float | None
    age_s: float | None


@dataclass(frozen=True, slots=True)
class Notice:
    """How far the start has come, or one plain line of what the source is doing; "" takes it away."""

    text: str
    fraction: float | None = None


@dataclass(frozen=True, slots=True)
class ChartReady:
    """A chart was opened: where it lies, as the front end reads it (see `moonless.helm.web.chart_json`)."""

    key: str
    body: bytes
    paths: tuple[Path, ...] = ()  # what its tiles are made from; empty: there are none to be had


@dataclass(frozen=True, slots=True)
class TideNow:
    """Height of the tide above chart datum that depths are reckoned with; None: not known."""

    height_m: float | None


@dataclass(frozen=True, slots=True)
class SourceState:
    """Where a source that can be steered stands."""

    paused: bool
    speed: float
    time_ns: int | None  # of the story or recording
    restarted: bool = False  # True once, when the story began again: everything shown is void


@dataclass(frozen=True, slots=True)
class BarMark:
    """Something on the time bar of a recording: a call that was made then, or a vessel's closest approach."""

    time_ns: int
    kind: Literal["call", "closest"]
    urgency: int  # of a call, 1 to 4; of an approach 4 inside the keep-off, else 2
    say: str


@dataclass(frozen=True, slots=True)
class TimeBarNow:
    """From when to when a recording goes, and what was on it; ``marks`` None: not gathered yet."""

    first_ns: int
    last_ns: int
    marks: tuple[BarMark, ...] | None


@dataclass(frozen=True, slots=True)
class Answer:
    """One plain line for the screen that asked: what became of its request."""

    asker: Asker
    line: str


@dataclass(frozen=True, slots=True)
class TrialNow:
    """What the manoeuvre that one screen tries would bring; None: it tries none."""

    asker: Asker
    body: TrialFound | None


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to one screen's question about routes, with the question's ``token`` in the body."""

    asker: Asker
    body: ReplyBody


@dataclass(frozen=True, slots=True)
class Overheard:
    """Bytes as the watch read them, for the set-up screen: (link, data, time of receipt, is one datagram)."""

    items: tuple[tuple[str, bytes, int, bool], ...]


@dataclass(frozen=True, slots=True)
class PlanNow:
    """The plan's route and the next things on it, as `moonless.helm.routes.following` tells them."""

    body: PlanNowBody


Event = (
    Turn
    | SpokesNow
    | PoseNow
    | Notice
    | ChartReady
    | TideNow
    | SourceState
    | LinkNow
    | Answer
    | Reply
    | TrialNow
    | PlanNow
    | Overheard
    | TimeBarNow
)


class Source(Protocol):
    """Where turns come from: the demo, live links, a recording, or a test."""

    kind: SourceKind
    boat: BoatFactsBody  # what the front end needs of the boat, see `moonless.helm.web.boat_json.boat_json`

    def events(self) -> AsyncIterator[Event]:
        """Yield until the source ends or the task is cancelled."""
        ...

    def do(self, asker: Asker, request: SourceRequest) -> None:
        """Take one request that is the source's to act on, and who asked.  Never blocks."""
        ...
