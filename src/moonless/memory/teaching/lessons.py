"""What many runs teach, as records; degrees at this edge, metres, shares 0 to 1."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

ProposalKind = Literal["thing", "mark gone", "mark moved", "anchorage", "way"]


@dataclass(frozen=True, slots=True)
class Lesson:
    """Something to be put into local knowledge, if the skipper agrees."""

    kind: ProposalKind
    lat_deg: float
    lon_deg: float
    say: str  # one plain sentence
    likely: str  # what it may be, in a few words
    sigma_m: float  # of the place, one standard deviation each axis; of an anchorage or a way, its radius
    spread_m: float  # of the places it was seen at, root mean square
    first_ns: int
    last_ns: int
    runs: tuple[str, ...]  # numbers of the runs that say so
    boats: int  # different ones
    looked: int  # runs that looked there
    present: float  # share of them in which it was there, faded by age
    present_low: float  # nine tenths sure that it is not less
    p_show: float | None  # chance to be told in one look; None: never looked at
    object: str = ""  # of a mark: its class, name
    name: str | None = None
    at_once: float | None = None  # of an anchorage or a way: boats there at a time, mean over the runs that looked
    cells: tuple[int, ...] = ()  # of a way: the lattice's cells that it takes in


@dataclass(frozen=True, slots=True)
class Way:
    """A cell that vessels use, with what ran in it and in the cells that touch it."""

    key: int
    vessels: int  # at least so many different ones
    runs: int
    course_deg: float | None  # None: they go both ways


@dataclass(frozen=True, slots=True)
class Unseen:
    """A cell within reach that this boat's radar has never seen into."""

    key: int
    runs: int


@dataclass(frozen=True, slots=True)
class Clutter:
    """How often clutter lay over a cell, in one band of wind."""

    key: int
    wind: str
    looks: int
    share: float


@dataclass(frozen=True, slots=True)
class Lessons:
    """All of it.  ``left_out``: runs that were not counted, and why."""

    proposals: tuple[Lesson, ...] = ()
    ways: tuple[Way, ...] = ()
    unseen: tuple[Unseen, ...] = ()
    clutter: tuple[Clutter, ...] = ()
    runs: int = 0
    boats: int = 0
    left_out: dict[str, str] = field(default_factory=dict)
