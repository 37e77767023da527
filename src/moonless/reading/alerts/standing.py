"""What was said and may still be true: a call is said once, and its words stand for a while.

How long they stand is decided here, beside how often they are said (`moonless.reading.alerts.schedule`); voice, helm
and recording only carry it.
"""

from __future__ import annotations

from dataclasses import dataclass

from moonless.reading.line import CallKind
from moonless.reading.types import Call, Reading
from moonless.units import NS_PER_S

# How long the words stand after they were said, by urgency.  Longer than the pause of the most urgent, so that what
# must be acted on never leaves the screens before it is said again.  Own figures.
STANDS_S = {1: 8.0, 2: 15.0, 3: 25.0, 4: 25.0}
# Faults of these take from under every call but their own what it rested on; a position may be carried on.
WITHDRAWS = frozenset({"radar", "heading", "clock"})
# Calls of these kinds give an order where they are urgent: it goes with the order itself.
_ORDERS: frozenset[CallKind] = frozenset({"vessel", "uncharted", "mark", "charted danger", "speed"})
ORDER_URGENCY = 3
_ACTS = ("turn", "slow", "stop")


@dataclass(frozen=True, slots=True)
class StandingCall:
    """A call whose words still stand, and when it was said (Unix ns)."""

    call: Call
    said_ns: int


class StandingCalls:
    """Keeps what was said until it is old, is said anew or has been acknowledged, or until it is not so any more: its
    echo is gone, its fault is over, its order stands no more, or a fault has withdrawn what it rested on."""

    def __init__(self) -> None:
        self._standing: tuple[StandingCall, ...] = ()

    def add(self, reading: Reading) -> tuple[StandingCall, ...]:
        """Take in a reading; return what stands, the most urgent first, and of equals the newest."""
        now_ns = reading.time_ns
        keys = {call.key for call in reading.calls}
        anew = {call.echo for call in reading.calls if call.echo is not None}
        there = {echo.id for echo in reading.echoes}
        faults = {f"fault {fault.what} {fault.state}" for fault in reading.faults}
        is_withdrawn = any(f.what in WITHDRAWS and f.state != "disagrees" for f in reading.faults)
        acts = reading.instruction is not None and reading.instruction.do in _ACTS
        kept = [
            one
            for one in self._standing
            if (one.call.key in faults if one.call.key.startswith("fault ") else not is_withdrawn)
            and 0 <= now_ns - one.said_ns <= STANDS_S[one.call.urgency] * NS_PER_S
            and one.call.key not in keys
            and (acts or one.call.urgency < ORDER_URGENCY or one.call.kind not in _ORDERS)
            and (one.call.echo is None or (one.call.echo in there and one.call.echo not in anew))
        ]
        said = [*(StandingCall(call, now_ns) for call in reading.calls), *kept]
        self._standing = tuple(sorted(said, key=lambda one: (-one.call.urgency, -one.said_ns)))
        return self._standing

    def acknowledge(self, key: str) -> tuple[StandingCall, ...]:
        """The skipper has heard a call: its words go; return what still stands."""
        self._standing = tuple(one for one in self._standing if one.call.key != key)
        return self._standing

    def clear(self) -> None:
        """Forget everything: the story began again."""
        self._standing = ()
