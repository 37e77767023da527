"""What the watch hands on: to the screens, the log, the voice."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import EchoPicture
from moonless.frames import LocalFrame
from moonless.reading.line import FaultState
from moonless.reading.types import Fault, Reading
from moonless.scan.types import Scan
from moonless.track.types import AisTarget, Track

# Faults of the radar that take its picture off the screens: it would look like the present and is not.
PICTURE_WITHDRAWN: frozenset[FaultState] = frozenset({"frozen", "stale"})
LinkState = Literal["opening", "open", "lost", "ended"]


@dataclass(frozen=True, slots=True, eq=False)
class Turn:
    """One reading and what it was made from.  Without a scan it is the once-a-second line of a silent radar."""

    reading: Reading
    scan: Scan | None
    picture: EchoPicture | None
    tracks: tuple[Track, ...]
    ais: tuple[AisTarget, ...]
    frame: LocalFrame | None  # of the tracks; None: own position never known
    received_s: float = 0.0  # `clock.steady_s` when the newest of what it speaks of came in; 0 where nobody said
    depth_below_surface_m: float | None = None  # sounder, from the waterline


@dataclass(frozen=True, slots=True, eq=False)
class SpokesNow:
    """Some spokes as they came in, before the turn is whole; rows in the order of receipt."""

    azimuth_rad: NDArray[np.float64]  # (n,), clockwise from north, or from the bow when ``from_bow``
    from_bow: bool  # True: heading not known, rows cannot be laid on the chart
    echo: NDArray[np.uint8]  # (n, n_cell), 0..255 of full scale
    n_spoke: int  # spokes in a full turn
    first_cell_m: float
    cell_m: float
    lat_deg: NDArray[np.float64]  # (n,), NaN where not known
    lon_deg: NDArray[np.float64]
    time_ns: NDArray[np.int64]  # (n,), Unix UTC
    received_s: float  # `clock.steady_s` when these were taken in; 0 where nobody said


@dataclass(frozen=True, slots=True)
class LinkNow:
    """How one link stands, in one plain line."""

    link: str
    state: LinkState
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class ChainKept:
    """A chain's state after a reading, and what its chart is laid out into; ``layout`` None: as was kept before."""

    state: bytes
    layout: bytes | None

    def after(self, before: ChainKept | None) -> ChainKept:
        """Return the same with the layout it stands on, which what was kept before may hold."""
        return self if self.layout is not None or before is None else ChainKept(self.state, before.layout)


def shows_the_past(faults: Iterable[Fault]) -> bool:
    """Return whether the radar's picture would draw the past as the present."""
    return any(fault.what == "radar" and fault.state in PICTURE_WITHDRAWN for fault in faults)
