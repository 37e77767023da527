"""What runs in the watch's own process: a job to do, and what of it crosses the pipe.

The server stays quick because none of this runs in it.  Nothing here knows of screens.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees
from multiprocessing.connection import Connection
from typing import Protocol

from moonless.errors import MoonlessError
from moonless.helm.process.events import PoseNow
from moonless.reading.situation import OwnState
from moonless.units import mps_to_kn
from moonless.watch.types import Turn


@dataclass(frozen=True, slots=True)
class Failed:
    """The last thing out of the pipe when the work cannot go on."""

    line: str


class WatchJob(Protocol):
    """Something to do in the watch's process."""

    def run(self, pipe: Connection) -> None:
        """Do it until told to stop or the pipe closes."""
        ...


def run(pipe: Connection, job: WatchJob) -> None:
    """Do a job; the target of the watch's process."""
    try:
        job.run(pipe)
    except MoonlessError as problem:
        pipe.send(Failed(str(problem)))
    except (BrokenPipeError, EOFError, ConnectionResetError, KeyboardInterrupt):
        pass


def without_scan(turn: Turn) -> Turn:
    """Return a turn without what screens do not draw: it crosses between processes."""
    return replace(turn, scan=None, picture=None, tracks=(), ais=(), frame=None)


def pose_of(own: OwnState) -> PoseNow:
    """Return the boat's own state in the screens' units."""

    def deg(value: float | None) -> float | None:
        return None if value is None else degrees(value)

    return PoseNow(
        own.lat_deg,
        own.lon_deg,
        deg(own.heading_true_rad),
        deg(own.cog_rad),
        None if own.sog is None else mps_to_kn(own.sog),
        own.position_age,
    )
