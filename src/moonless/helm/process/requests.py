"""What a screen may ask, one type for each request; checked at the door by `moonless.helm.web.controls`.

Every request travels with the number of the screen that asked (`Asker`), and every answer goes back to that number:
no screen gets an answer to another's question.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from moonless.rules.steering import Sight
from moonless.track.types import Former

Asker = int
"""The number of a screen at this helm; `HELM` for what the helm asks of its source by itself."""
HELM: Asker = 0

LatLon = tuple[float, float]
RouteQuestion = Literal["check", "way", "save", "list", "follow", "stop", "remove", "leg"]


@dataclass(frozen=True, slots=True)
class Pause:
    """The story or the recording stands still, or goes on."""

    is_on: bool


@dataclass(frozen=True, slots=True)
class PlaybackSpeed:
    """So many times real time."""

    times: float


@dataclass(frozen=True, slots=True)
class StartAgain:
    """The story or the recording begins at its beginning."""


@dataclass(frozen=True, slots=True)
class JumpTo:
    """The recording goes on from this time of its own."""

    time_ns: int


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """The skipper has heard the call that bears this key."""

    key: str


@dataclass(frozen=True, slots=True)
class SeenByEye:
    """What the skipper sees at an echo."""

    echo: int
    what: str


@dataclass(frozen=True, slots=True)
class ToldByDay:
    """What the eye saw at an echo that practice by day had asked about: kept with the run, and nowhere else."""

    echo: int
    what: str


@dataclass(frozen=True, slots=True)
class KeepInMind:
    """An echo goes into local knowledge, with a few words."""

    echo: int
    words: str


@dataclass(frozen=True, slots=True)
class SetSight:
    """Whether other vessels are seen by eye, which decides between Rules 11 to 18 and Rule 19."""

    sight: Sight


@dataclass(frozen=True, slots=True)
class TryManoeuvre:
    """A course over the ground and a speed to try, after a delay; None: as now."""

    course_deg: float | None
    speed_kn: float | None
    delay_s: float


@dataclass(frozen=True, slots=True)
class EndTrial:
    """The trial of this screen is over."""


@dataclass(frozen=True, slots=True)
class RouteRequest:
    """A question about routes; ``token`` comes back with the answer, so that a screen knows which it is for."""

    what: RouteQuestion
    token: int
    points: tuple[LatLon, ...] = ()
    name: str = ""
    follow: bool = False
    back: bool = False
    leg: int = 0  # number of the leg of the followed route whose pictures are asked for


@dataclass(frozen=True, slots=True)
class SetBowOffset:
    """The radar's bow mark from now on, degrees."""

    offset_deg: float


@dataclass(frozen=True, slots=True)
class ShareBytes:
    """Whether the watch hands on the bytes it reads, for the set-up to look into."""

    is_on: bool


@dataclass(frozen=True, slots=True)
class GoOn:
    """To a watch begun anew after one that died: its tracks, and what was answered, key and urgency."""

    former: tuple[Former, ...]
    answered: Mapping[str, int]


SourceRequest = (
    Pause | PlaybackSpeed | StartAgain | JumpTo | Acknowledge | SeenByEye | ToldByDay | KeepInMind | SetSight
    | TryManoeuvre | EndTrial | RouteRequest | SetBowOffset | ShareBytes | GoOn
)  # fmt: skip
"""For the source and its chain."""


@dataclass(frozen=True, slots=True)
class Silence:
    """No voice but for what is most urgent; 0 ends it."""

    minutes: float


@dataclass(frozen=True, slots=True)
class SayAgain:
    """Say the last call again."""


@dataclass(frozen=True, slots=True)
class UseLoudspeaker:
    """The server's own voice."""

    is_on: bool


@dataclass(frozen=True, slots=True)
class RemindOfFogSignal:
    """The reminder to sound the fog signal."""

    is_on: bool


@dataclass(frozen=True, slots=True)
class KeepListening:
    """A screen sets up and wants to hear the links; asked again every few seconds."""


@dataclass(frozen=True, slots=True)
class TakeBowOffset:
    """Add what was measured against the chart to the radar's bow offset."""


@dataclass(frozen=True, slots=True)
class UndoBowOffset:
    """Go back to the bow offset before."""


HelmRequest = Silence | SayAgain | UseLoudspeaker | RemindOfFogSignal | KeepListening | TakeBowOffset | UndoBowOffset
"""For the helm itself."""

Request = SourceRequest | HelmRequest


class Asked(NamedTuple):
    """A request on its way to the source, with who asked."""

    asker: Asker
    request: SourceRequest
