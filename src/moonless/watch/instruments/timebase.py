"""One time line for the watch: UTC, from the clocks that are there.

Three clocks meet here: the computer's (times of receipt), the GNSS receiver's (said in RMC and ZDA) and the radar's
(time of day in its records).

Rules of this file:
- The computer's clock is taken as UTC as long as it agrees with the receiver's to `AGREES_S`; a sentence takes some
  tenths of a second to arrive, so small differences say nothing about the clock.  Past that, the receiver is right.
- The radar's time is believed while it agrees with the time of receipt to `AGREES_S`; if it never did, its records are
  moved by the difference, which is held until it changes.  If it did and then falls behind little by little, that is no
  clock but video that comes late, and it is not made to look fresh.
- A difference that changes by more than `JUMP_S` from one record to the next is a clock that jumped.  The first word of
  a receiver that finds the computer's clock wrong is no jump, but moves the time line all the same.
"""

from __future__ import annotations

from collections import deque
from typing import Literal

from moonless.units import NS_PER_S

ClockNews = Literal["same", "moved", "jumped"]
RadarNews = Literal["same", "late", "jumped"]

AGREES_S = 2.0
JUMP_S = 1.5
# Receipt is late by a varying time and never early: the largest of some is nearest to the truth.
N_REMEMBERED = 10


class ClockDifference:
    """What to add to one clock to have another, from pairs of readings."""

    def __init__(self) -> None:
        self._samples: deque[int] = deque(maxlen=N_REMEMBERED)
        self.ns = 0  # the difference, 0 while the clocks agree

    def take(self, difference_ns: int) -> bool:
        """Take in a difference; return True when it shows that one of the clocks jumped."""
        jumped = bool(self._samples) and abs(difference_ns - self._samples[-1]) > JUMP_S * NS_PER_S
        if jumped:
            self._samples.clear()
        self._samples.append(difference_ns)
        best = max(self._samples)
        self.ns = best if abs(best) > AGREES_S * NS_PER_S else 0
        return jumped


class TimeBase:
    """Turns times of receipt and of records into UTC."""

    def __init__(self) -> None:
        self._to_utc = ClockDifference()
        self._radar = ClockDifference()
        self._n_agreed = 0  # radar records in a row whose time agreed with receipt
        self._last_received_ns: int | None = None

    def received(self, received_ns: int) -> bool:
        """Take note of a time of receipt; return True if that clock went back."""
        last, self._last_received_ns = self._last_received_ns, received_ns
        return last is not None and last - received_ns > JUMP_S * NS_PER_S

    def said(self, received_ns: int, said_ns: int) -> ClockNews:
        """Take note of a date and time the receiver said; return what it does to the time line."""
        before = self._to_utc.ns
        jumped = self._to_utc.take(said_ns - received_ns)
        moved = abs(self._to_utc.ns - before) > JUMP_S * NS_PER_S
        if jumped or moved:
            # The radar's clock was held against the old line.
            self._radar = ClockDifference()
            self._n_agreed = 0
        return "jumped" if jumped else "moved" if moved else "same"

    def utc(self, received_ns: int) -> int:
        """Return UTC for a time of receipt."""
        return received_ns + self._to_utc.ns

    def radar(self, received_ns: int, record_ns: int) -> RadarNews:
        """Take note of a radar record's own time; return what it shows."""
        behind_ns = self.utc(received_ns) - record_ns
        if self._radar.take(behind_ns):
            self._n_agreed = 0
            return "jumped"
        if abs(behind_ns) <= AGREES_S * NS_PER_S:
            self._n_agreed += 1
        elif behind_ns > 0 and self._n_agreed >= N_REMEMBERED:
            return "late"
        return "same"

    @property
    def radar_offset_ns(self) -> int:
        """What to add to the radar's own times; 0 while they agree with receipt, or once did."""
        return 0 if self._n_agreed >= N_REMEMBERED else self._radar.ns
