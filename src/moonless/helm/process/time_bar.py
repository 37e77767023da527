"""What stands on the time bar of a recording: what was called then, and how close vessels came.

Both are taken from the readings that were recorded, as the debrief takes them; a recording without readings has a bar
without marks.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from pathlib import Path

from moonless.boat.types import Boat
from moonless.errors import MoonlessError
from moonless.helm.process.events import BarMark, Event, TimeBarNow
from moonless.wire.recording import RecordingReader

_log = logging.getLogger(__name__)
# A call said in passing is no place to go to.
LEAST_URGENCY = 2


def tell_bar(path: Path, boat: Boat, send: Callable[[Event], None]) -> None:
    """Send the bar at once, and again with its marks when they are gathered, from a thread of its own.

    ``send`` must be safe to call from any thread.
    """
    span = RecordingReader(path).span()
    if span is None:
        return
    send(TimeBarNow(*span, None))

    def gather() -> None:
        try:
            marks = marks_of(path, boat)
        except Exception:
            # A bar without marks still goes to any place.
            _log.exception("the marks of the time bar could not be gathered")
            marks = ()
        send(TimeBarNow(*span, marks))

    threading.Thread(target=gather, daemon=True, name="moonless-time-bar").start()


def marks_of(path: Path, boat: Boat) -> tuple[BarMark, ...]:
    """Return what was called and who came close on a recorded run, by time; nothing where no readings were kept."""
    from moonless.debrief.calls import calls
    from moonless.debrief.ledger import ledger_of
    from moonless.debrief.meetings import meetings
    from moonless.watch.afterwards.told import BesideRecording, PastRun

    if next(iter(RecordingReader(path).only("readings")), None) is None:
        return ()
    try:
        run = ledger_of(PastRun(path, BesideRecording(boat)).turns())
    except MoonlessError as problem:
        _log.info("no marks on the time bar: %s", problem)
        return ()
    out = [BarMark(one.loudest_ns, "call", one.urgency, one.say) for one in calls(run) if one.urgency >= LEAST_URGENCY]
    for met in meetings(run, boat):
        say = f"{met.who[:1].upper()}{met.who[1:]} at her closest, {met.closest_m:.0f} m"
        out.append(BarMark(met.closest_ns, "closest", 4 if met.closest_m < met.keep_off_m else 2, say))
    return tuple(sorted(out, key=lambda mark: mark.time_ns))
