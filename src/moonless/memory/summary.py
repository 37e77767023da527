"""The summary of one run, and how summaries are put together.

Rules of this file:
- A summary is made of one recording and of nothing else.
- Of summaries only the set matters: `merged` is a union by the number of the run.  It is commutative, associative and
  idempotent, so runs may come in any order, from anybody, and twice.
- Where two summaries claim the same run (a newer version of this program reduced it again) one of them is taken by a
  rule that does not ask which came first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# What a summary holds and what its fields mean.  It changes when either does; older ones are then read or refused.
VERSION = 1


@dataclass(frozen=True, slots=True)
class Run:
    """Which run it was."""

    number: str  # of the recording's own bytes: the same recording is the same run, whoever brings it
    boat: str
    source: str  # the recording's name, for people
    begins_ns: int
    ends_ns: int
    turns: int
    looks: int  # turns that were looked at for what could be seen: one in some seconds
    wind_speed: float | None  # mean, m/s
    wind_from_deg: float | None
    heading_bias_deg: float | None  # mean of what registration found, reported minus true
    east_m: float | None
    north_m: float | None


@dataclass(frozen=True, slots=True)
class Sighting:
    """Something that lay still and that no chart has, over one run."""

    lat_deg: float
    lon_deg: float
    sigma_m: float  # of the place, one standard deviation each axis
    spread_m: float  # of the places it was told at, root mean square
    first_ns: int
    last_ns: int
    looks: int  # in which the smallest thing cared about would have been held there
    seen: int  # of them in which it was told
    told: int  # turns in which it was told, looked at or not
    confidence: float
    length_m: float | None  # None: not resolved
    is_vessel: bool  # told as a vessel at rest, or AIS says one


@dataclass(frozen=True, slots=True)
class MarkSeen:
    """A charted mark over one run."""

    object: str
    name: str | None
    cell: str
    feature: str
    lat_deg: float  # where it was told; where it is charted, if it was never told
    lon_deg: float
    told: int  # turns in which an echo was told as it
    missed: int  # turns in which it was told as missing
    looks: int  # the most looks that its being missing rested on
    p_if_there: float  # chance at each of those that it would have shown
    offset_m: float | None  # of the echo from the charted place; None: never told
    range_m: float | None  # how far off it was told, root mean square, near turns counting more; None: never told


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Counts over the lattice's cells, by rising key; all (n,)."""

    key: NDArray[np.int64]
    looked: NDArray[np.int32]  # looks in which the smallest thing cared about would be held there
    hidden: NDArray[np.int32]  # looks in which land, the horizon or the boat's own blind sector hid it
    clutter: NDArray[np.int32]  # looks in which clutter lay over it
    moving: NDArray[np.int32]  # looks in which a vessel under way was there
    vessels: NDArray[np.int32]  # of them different ones
    east: NDArray[np.int32]  # sum of the sine of their courses, hundredths
    north: NDArray[np.int32]  # of the cosine

    @classmethod
    def none(cls) -> Cells:
        """Return counts of nothing."""
        return cls(np.zeros(0, dtype=np.int64), *(np.zeros(0, dtype=np.int32) for _ in COUNTS))


COUNTS = ("looked", "hidden", "clutter", "moving", "vessels", "east", "north")


@dataclass(frozen=True, slots=True, eq=False)
class RunSummary:
    """All that is kept of a run."""

    run: Run
    sightings: tuple[Sighting, ...]
    marks: tuple[MarkSeen, ...]
    cells: Cells

    def __eq__(self, other: object) -> bool:
        return isinstance(other, RunSummary) and _identity(self) == _identity(other)

    def __hash__(self) -> int:
        return hash(_identity(self))


def merged(*parts: Mapping[str, RunSummary]) -> dict[str, RunSummary]:
    """Return the summaries of some sets together, by the number of their run."""
    out: dict[str, RunSummary] = {}
    for part in parts:
        for number, summary in part.items():
            out[number] = better(out[number], summary) if number in out else summary
    return dict(sorted(out.items()))


def better(one: RunSummary, other: RunSummary) -> RunSummary:
    """Return which of two summaries of the same run is kept: of more turns, then by their content."""
    return max(one, other, key=_rank)


def by_number(summaries: Iterable[RunSummary]) -> dict[str, RunSummary]:
    """Return a set of summaries."""
    return merged(*({one.run.number: one} for one in summaries))


def _identity(summary: RunSummary) -> tuple[object, ...]:
    cells = tuple(getattr(summary.cells, name).tobytes() for name in ("key", *COUNTS))
    return (summary.run, summary.sightings, summary.marks, cells)


def _rank(summary: RunSummary) -> tuple[object, ...]:
    # Unknown sorts before known: None cannot be compared with a figure.  repr of a float is exact.
    return (summary.run.turns, summary.run.looks, repr(_identity(summary)))
