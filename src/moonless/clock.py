"""The only place that reads a clock: real, replayed, or stepped by a test."""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Something that says what time it is, in Unix nanoseconds UTC."""

    def now_ns(self) -> int:
        """Return the present time."""
        ...


class SystemClock:
    """The computer's own clock."""

    def now_ns(self) -> int:
        """Return the computer's time."""
        return time.time_ns()


def steady_s() -> float:
    """Return seconds of a clock that never jumps; only differences mean anything."""
    return time.perf_counter()
