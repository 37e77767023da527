"""The state of each matter that was called: whether anyone answered, and whether it still holds.

After the IMO's performance standards for bridge alert management (resolution MSC.302(87), part 7, and MSC.252(83),
parts 19 and 20): an alert is *unacknowledged* until it is answered, *acknowledged* while it goes on, and gone when
what it was for is *rectified*; a warning that nobody acknowledges escalates to an alarm.  How soon is left to the
maker: `ESCALATES_S` is an own figure, twice the half minute after which MSC.252(83) 20.2.5 has a silenced alarm sound
again.  A caution asks for no answer.

Urgency here and priority there: 4 alarm, 3 warning, 2 caution, 1 none.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from moonless.reading.types import Alert, AlertState, Call
from moonless.units import NS_PER_S

ALARM, WARNING = 4, 3  # the urgencies that are one
ESCALATES_S = 60.0
# One that comes and goes with the sea is not rectified each time; and what is rectified stays in sight for a while.
GONE_AFTER_S, SHOWN_S = 10.0, 12.0


@dataclass(slots=True)
class _Matter:
    call: Call
    since_ns: int
    held_ns: int
    is_acknowledged: bool = False
    rectified_ns: int | None = None


class AlertStates:
    """Carries the state of every matter from turn to turn."""

    def __init__(self) -> None:
        self._matters: dict[str, _Matter] = {}

    def step(self, time_ns: int, calls: Collection[Call], holding: Collection[str]) -> tuple[Alert, ...]:
        """Take in what is said this turn and the keys of all that holds; return what stands, most urgent first."""
        if any(one.held_ns > time_ns for one in self._matters.values()):
            # Time went back: a recording was started again.
            self._matters.clear()
        for call in calls:
            before = self._matters.get(call.key)
            if before is None or before.rectified_ns is not None or call.urgency > before.call.urgency:
                # New, back again, or worse than what was answered: it asks for an answer anew.
                self._matters[call.key] = _Matter(call, time_ns, time_ns)
            else:
                before.call = call
        for key, one in list(self._matters.items()):
            if key in holding:
                one.held_ns, one.rectified_ns = time_ns, None
            elif one.rectified_ns is None and time_ns - one.held_ns > GONE_AFTER_S * NS_PER_S:
                one.rectified_ns = time_ns
            if one.rectified_ns is not None and (
                one.is_acknowledged or time_ns - one.rectified_ns > SHOWN_S * NS_PER_S
            ):
                del self._matters[key]
        return self._told(time_ns)

    def acknowledge(self, key: str) -> None:
        """The skipper has answered what bears this key."""
        if key in self._matters:
            self._matters[key].is_acknowledged = True

    def urgency_of(self, key: str) -> int | None:
        """Return how urgent what bears this key was called; None: it does not stand."""
        one = self._matters.get(key)
        return None if one is None else one.call.urgency

    def _told(self, time_ns: int) -> tuple[Alert, ...]:
        told = []
        for one in self._matters.values():
            urgency = _urgency(one, time_ns)
            told.append(Alert(one.call.key, urgency, _state(one), one.call.say, urgency > one.call.urgency))
        return tuple(sorted(told, key=lambda one: (-one.urgency, one.key)))


def _state(one: _Matter) -> AlertState:
    if one.rectified_ns is not None:
        return "rectified"
    return "acknowledged" if one.is_acknowledged else "unacknowledged"


def _urgency(one: _Matter, time_ns: int) -> int:
    """Return the urgency now: a warning that nobody has answered is an alarm after a while."""
    is_unanswered = one.rectified_ns is None and not one.is_acknowledged
    if one.call.urgency == WARNING and is_unanswered and time_ns - one.since_ns >= ESCALATES_S * NS_PER_S:
        return ALARM
    return one.call.urgency
