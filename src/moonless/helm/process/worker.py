"""What runs in the watch's own process: a job to do, and what of it crosses the pipe.

The server stays quick because none of this runs in it.  Nothing here knows of screens.
"""

from __future__ import annotations

import logging
import os
import sys
import threading
from dataclasses import dataclass, replace
from math import degrees
from multiprocessing.connection import Connection
from typing import Protocol

from moonless.errors import MoonlessError
from moonless.helm.process.events import PoseNow
from moonless.reading.situation import OwnState
from moonless.units import mps_to_kn
from moonless.watch.types import ChainKept, Turn

_log = logging.getLogger(__name__)

LEAST_PRIORITY = 19
# One that is called before it is ready goes on as far as it is: beginning without takes longer.
MOST_READY_S = 5.0


@dataclass(frozen=True, slots=True)
class Failed:
    """The last thing out of the pipe when the work cannot go on."""

    line: str


@dataclass(frozen=True, slots=True)
class Left:
    """What a watch that died leaves to the next: sentences that ended one, and the state of its chain."""

    aside: tuple[bytes, ...] = ()
    kept: ChainKept | None = None


NOTHING_LEFT = Left()


class WatchJob(Protocol):
    """Something to do in the watch's process."""

    def run(self, pipe: Connection) -> None:
        """Do it until told to stop or the pipe closes."""
        ...


class LastingJob(WatchJob, Protocol):
    """Something that is gone on with, in another process, when the one that does it dies."""

    def ready(self) -> LastingJob:
        """Load what running needs; return the same job with what of it can be kept."""
        ...

    def going_on(self, left: Left) -> WatchJob:
        """Return the job that goes on from what was left."""
        ...


def run(pipe: Connection, job: WatchJob) -> None:
    """Do a job; the target of the watch's process."""
    try:
        job.run(pipe)
    except MoonlessError as problem:
        pipe.send(Failed(str(problem)))
    except (BrokenPipeError, EOFError, ConnectionResetError, KeyboardInterrupt):
        pass


def stand_by(pipe: Connection, job: LastingJob) -> None:
    """Make ready for a job and wait until it is to be gone on with; the target of a process that stands by.

    Making ready takes only time that nobody else wants: the watch that runs must not notice.
    """
    jobs = [job]

    def make_ready() -> None:
        if sys.platform == "linux":
            # Here a thread has a priority of its own, and it need not be given back.
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), LEAST_PRIORITY)
        try:
            jobs.append(job.ready())
        except Exception:
            # What it is to stand in for is well: whatever this was is met again, and told, where it is worked with.
            _log.exception("a watch that stands by could not make ready")

    try:
        making = threading.Thread(target=make_ready, daemon=True, name="moonless-ready")
        making.start()
        left = pipe.recv()
        making.join(MOST_READY_S)
    except (EOFError, OSError, KeyboardInterrupt):
        return
    run(pipe, jobs[-1].going_on(left))


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
