"""One time line for the watch: UTC, from the clocks that are there.

Three clocks meet here: the computer's (times of receipt), the GNSS receiver's (said in RMC and ZDA) and the radar's
(time of day in its records).

Rules of this file:
- The computer's clock is taken as UTC as long as it agrees with the receiver's to `AGREES_S`; a sentence takes some
  tenths of a second to arrive, so small differences say nothing about the clock.  Past that, the receiver is right.
- The radar's time is believed while it agrees with the time of receipt to `AGREES_S`; if it never did, its records are
  moved by the difference, which is held until it changes.  If it did and then falls behind, little by little or at
  once, by less than `MOST_LATE_S`, that is no clock but video that comes late, and it is not made to look fresh.
- A difference that changes by more than `JUMP_S` from one record to the next is a clock that jumped, or one word that
  is wrong: it is followed when so many in a row agree with one another, and until then it is odd, counted and left
  alone.
  The first word of a receiver that finds the computer's clock wrong is no jump, but moves the time line all the same.
"""

from __future__ import annotations

from collections import deque
from typing import Literal

from moonless.units import NS_PER_S

ClockNews = Literal["same", "odd", "moved", "jumped"]
RadarNews = Literal["same", "late", "jumped"]
Taken = Literal["same", "odd", "jumped"]

AGREES_S = 2.0
JUMP_S = 1.5
# No link holds video back for longer; a clock that is set jumps by anything.  Own choice.
MOST_LATE_S = 60.0
# Receipt is late by a varying time and never early: the largest of some is nearest to the truth.
N_REMEMBERED = 10
# Words that must agree before a jump is followed: of a receiver, which speaks once a second or oftener, and of a radar,
# whose damaged records come in runs.
AGREE_DATES, AGREE_RECORDS = 3, 40


class ClockDifference:
    """What to add to one clock to have another, from pairs of readings."""

    def __init__(self, n_agree: int) -> None:
        """Begin.  ``n_agree``: differences in a row that must agree with one another before a jump is followed."""
        self._n_agree = n_agree
        self._samples: deque[int] = deque(maxlen=N_REMEMBERED)
        self._odd: list[int] = []
        self.ns = 0  # the difference, 0 while the clocks agree

    def take(self, difference_ns: int) -> Taken:
        """Take in a difference; return what it shows: nothing, one that fits nothing, or a clock that jumped."""
        taken: Taken = "same"
        if self._samples and abs(difference_ns - self._samples[-1]) > JUMP_S * NS_PER_S:
            if self._odd and abs(difference_ns - self._odd[-1]) > JUMP_S * NS_PER_S:
                self._odd.clear()
            self._odd.append(difference_ns)
            if len(self._odd) < self._n_agree:
                return "odd"
            taken = "jumped"
            self._samples.clear()
            self._samples.extend(self._odd)
        else:
            self._samples.append(difference_ns)
        self._odd.clear()
        best = max(self._samples)
        self.ns = best if abs(best) > AGREES_S * NS_PER_S else 0
        return taken

    @property
    def last_ns(self) -> int | None:
        """The newest difference that was not odd; None before the first."""
        return self._samples[-1] if self._samples else None


class TimeBase:
    """Turns times of receipt and of records into UTC."""

    def __init__(self) -> None:
        self._to_utc = ClockDifference(AGREE_DATES)
        self._radar = ClockDifference(AGREE_RECORDS)
        self.odd_records = 0  # radar records whose time of day could not be
        self._n_agreed = 0  # radar records in a row whose time agreed with receipt
        self._last_received_ns: int | None = None

    def received(self, received_ns: int) -> bool:
        """Take note of a time of receipt; return True if that clock went back."""
        last, self._last_received_ns = self._last_received_ns, received_ns
        return last is not None and last - received_ns > JUMP_S * NS_PER_S

    def said(self, received_ns: int, said_ns: int) -> ClockNews:
        """Take note of a date and time the receiver said; return what it does to the time line."""
        before = self._to_utc.ns
        taken = self._to_utc.take(said_ns - received_ns)
        if taken == "odd":
            return "odd"
        jumped = taken == "jumped"
        moved = abs(self._to_utc.ns - before) > JUMP_S * NS_PER_S
        if jumped or moved:
            # The radar's clock was held against the old line.
            self._radar = ClockDifference(AGREE_RECORDS)
            self._n_agreed = 0
        return "jumped" if jumped else "moved" if moved else "same"

    def utc(self, received_ns: int) -> int:
        """Return UTC for a time of receipt."""
        return received_ns + self._to_utc.ns

    def radar(self, received_ns: int, records_ns: list[int]) -> tuple[RadarNews, list[int]]:
        """Take note of the own times of radar records that came in together.

        Return what they show, and their times on the watch's time line: one that cannot be is placed by the last that
        could.
        """
        now_ns = self.utc(received_ns)
        news: RadarNews = "same"
        out: list[int] = []
        for record_ns in records_ns:
            behind_ns = now_ns - record_ns
            taken = self._radar.take(behind_ns)
            if taken == "odd":
                self.odd_records += 1
                out.append(now_ns - (self._radar.last_ns or 0))
                continue
            out.append(record_ns)
            may_be_late = behind_ns < MOST_LATE_S * NS_PER_S and self._n_agreed >= N_REMEMBERED
            if taken == "jumped" and not (may_be_late and behind_ns > 0):
                self._n_agreed, news = 0, "jumped"
            elif abs(behind_ns) <= AGREES_S * NS_PER_S:
                self._n_agreed += 1
            elif behind_ns > 0 and may_be_late and news == "same":
                news = "late"
        offset_ns = self.radar_offset_ns
        return news, [time_ns + offset_ns for time_ns in out]

    @property
    def radar_offset_ns(self) -> int:
        """What to add to the radar's own times; 0 while they agree with receipt, or once did."""
        return 0 if self._n_agreed >= N_REMEMBERED else self._radar.ns
