"""How far the radar's bow mark is off, measured against the chart while the boat runs straight.

    bow = BowAlignment()
    bow.add(reading, turn_rate_rad_s)      # each turn of the antenna
    bow.body(offset_deg)                   # for the screens: how it stands, how sure, what would be taken

Rules of this file:
- A turn counts only while the view fixes the heading well, radar and chart agree, and the boat makes way and does not
  turn: a lagging compass and a slow antenna pass for a misalignment otherwise.
- The mean is taken over a window; it is offered once the window is long enough, and its sigma small enough.
- The bias is what is seen minus what is charted: the radar's mark and the compass together.  Whether it is the compass
  is told by the course over the ground, as far as stream and leeway let it.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Literal, TypedDict

import numpy as np

from moonless.errors import InputError
from moonless.frames import wrap_180
from moonless.reading.types import Reading
from moonless.units import NS_PER_S

State = Literal["no view", "still", "turning", "measuring", "ready"]


class BowLine(TypedDict):
    """The bow mark against the chart, with each reading."""

    state: State
    say: str
    bias_deg: float | None
    sigma_deg: float | None
    seconds: float
    of_seconds: float
    offset_deg: float | None
    new_deg: float | None
    before_deg: float | None
    compass: str | None


# Below this a course says nothing, and a boat at her berth swings on her lines.  Own choices, all of these.
LEAST_SOG_KN = 3.0
MOST_TURN_DEG_S = 1.5
WINDOW_S = 90.0
LEAST_S = 25.0
LEAST_TURNS = 8
# Of one turn, and of the mean.
WORST_TURN_SIGMA_DEG = 0.6
GOOD_SIGMA_DEG = 0.3
# What many turns cannot average away: the chart's own errors (see `moonless.reading.registration.registrar`).
FLOOR_DEG = 0.08
# Smaller than this, or than twice its sigma, there is nothing worth taking.
LEAST_BIAS_DEG = 0.2


@dataclass(frozen=True, slots=True)
class MeasuredBias:
    """The bias over the window."""

    bias_deg: float  # positive: the picture lies clockwise of the chart
    sigma_deg: float
    turns: int
    seconds: float
    course_deg: float | None  # heading minus course over ground, mean; None: not known


class BowAlignment:
    """Takes in turns and says how the bow mark stands; see the rules of this file."""

    def __init__(self) -> None:
        self._kept: deque[tuple[int, float, float, float | None]] = deque()  # time, bias, sigma, heading minus course
        self.state: State = "no view"
        self.why = WHY["no view"]

    def forget(self) -> None:
        """Begin again: the offset has been changed, or the source."""
        self._kept.clear()
        self._stand("no view")

    def add(self, reading: Reading, heading_deg: float | None, turn_rate: float | None) -> None:
        """Take in one turn.

        Parameters
        ----------
        heading_deg : as reported by the sensor, not as put right
        turn_rate : rad/s, None: not known, and taken as turning
        """
        registration, own = reading.registration, reading.own
        bias, sigma = registration.heading_bias_deg, registration.heading_sigma_deg
        while self._kept and reading.time_ns - self._kept[0][0] > WINDOW_S * NS_PER_S:
            self._kept.popleft()
        if self._kept and reading.time_ns < self._kept[-1][0]:
            self._kept.clear()  # a recording that began again
        if own.sog_kn is None or own.sog_kn < LEAST_SOG_KN:
            return self._stand("still")
        if turn_rate is None or abs(math.degrees(turn_rate)) > MOST_TURN_DEG_S:
            # What was measured before the turn still holds; only these turns are left out.
            return self._stand("turning")
        if bias is None or sigma is None or sigma > WORST_TURN_SIGMA_DEG or registration.agrees is not True:
            return self._stand("no view")
        off = None if heading_deg is None or own.cog_deg is None else wrap_180(heading_deg - own.cog_deg)
        self._kept.append((reading.time_ns, bias, sigma, off))
        measured = self.measured
        assert measured is not None
        is_long = measured.seconds >= LEAST_S and measured.turns >= LEAST_TURNS
        self._stand("ready" if is_long and measured.sigma_deg <= GOOD_SIGMA_DEG else "measuring")

    def _stand(self, state: State) -> None:
        self.state, self.why = state, WHY[state]

    @property
    def measured(self) -> MeasuredBias | None:
        """What the window says; None while it is empty."""
        if not self._kept:
            return None
        bias = np.array([one[1] for one in self._kept])
        sigma = np.array([one[2] for one in self._kept])
        # The filter's own sigma is that of the mean already: turns are not independent, so it is not divided again.
        scatter = float(np.std(bias)) if len(bias) > 1 else 0.0
        whole = math.sqrt(float(np.mean(sigma)) ** 2 + scatter**2 + FLOOR_DEG**2)
        offs = [one[3] for one in self._kept if one[3] is not None]
        seconds = (self._kept[-1][0] - self._kept[0][0]) / NS_PER_S
        course = float(np.mean(offs)) if offs else None
        return MeasuredBias(float(np.mean(bias)), whole, len(bias), seconds, course)

    @property
    def to_take_deg(self) -> float | None:
        """What to add to the bow offset so that radar and chart agree; None while it is not to be taken."""
        measured = self.measured
        if self.state != "ready" or measured is None:
            return None
        if abs(measured.bias_deg) < max(LEAST_BIAS_DEG, 2.0 * measured.sigma_deg):
            return None
        return -measured.bias_deg

    def body(self, offset_deg: float | None, before_deg: float | None) -> BowLine:
        """Return what the screens show; ``offset_deg``: the radar's now, ``before_deg``: what an undo would bring."""
        measured, take = self.measured, self.to_take_deg
        new = None if take is None or offset_deg is None else round(wrap_180(offset_deg + take), 2)
        return {
            "state": self.state,
            "say": self._say(measured, take),
            "bias_deg": None if measured is None else round(measured.bias_deg, 2),
            "sigma_deg": None if measured is None else round(measured.sigma_deg, 2),
            "seconds": 0 if measured is None else round(measured.seconds),
            "of_seconds": LEAST_S,
            "offset_deg": None if offset_deg is None else round(offset_deg, 2),
            "new_deg": new,
            "before_deg": before_deg,
            "compass": self._compass(measured),
        }

    def _say(self, measured: MeasuredBias | None, take: float | None) -> str:
        if self.state != "ready" or measured is None:
            return self.why
        if take is None:
            return "The bow mark is right, as far as this can tell."
        way = "clockwise" if measured.bias_deg > 0.0 else "anticlockwise"
        return f"The picture lies {abs(measured.bias_deg):.1f} degrees {way} of the chart."

    def _compass(self, measured: MeasuredBias | None) -> str | None:
        """Say that the compass may be the cause, where heading and course differ as radar and chart do."""
        if measured is None or measured.course_deg is None or abs(measured.bias_deg) < 1.0:
            return None
        if abs(measured.course_deg - measured.bias_deg) > 0.4 * abs(measured.bias_deg):
            return None
        return (
            f"Heading and course over ground differ by {measured.course_deg:+.1f} degrees too: without a cross stream "
            "it is the compass that is off, not the radar. Then set heading_offset_deg instead."
        )


class BowMark:
    """The bow of one watch: its offset now and before, and what is measured against the chart."""

    def __init__(self) -> None:
        self.align = BowAlignment()
        self.offset_deg: float | None = None
        self.before_deg: float | None = None
        self._last: tuple[int, float] | None = None

    def begin(self, offset_deg: float | None) -> None:
        """A source has begun, with this offset; None: it is not known, and nothing can be taken."""
        self.align.forget()
        self.offset_deg, self.before_deg, self._last = offset_deg, None, None

    def turn(self, reading: Reading, heading_deg: float | None) -> None:
        """Take in one turn with the heading as reported."""
        rate = None
        if heading_deg is not None and math.isfinite(heading_deg):
            if self._last is not None:
                elapsed = (reading.time_ns - self._last[0]) / NS_PER_S
                if 0.2 <= elapsed <= 10.0:
                    rate = math.radians(wrap_180(heading_deg - self._last[1])) / elapsed
            self._last = (reading.time_ns, heading_deg)
            self.align.add(reading, heading_deg, rate)
        else:
            self._last = None
            self.align.add(reading, None, None)

    def take(self) -> float:
        """Take what is measured; return the new offset in degrees.  Raises InputError in one plain line."""
        add = self.align.to_take_deg
        if self.offset_deg is None or add is None:
            raise InputError(f"the bow mark is not taken: {self.align.why or 'there is nothing to take'}")
        return self._set(round(wrap_180(self.offset_deg + add), 2))

    def undo(self) -> float:
        """Go back to the offset before; return it.  Raises InputError where nothing was taken."""
        if self.before_deg is None:
            raise InputError("nothing was taken that could be undone")
        return self._set(self.before_deg)

    def _set(self, offset_deg: float) -> float:
        self.before_deg, self.offset_deg = self.offset_deg, offset_deg
        self.align.forget()
        return offset_deg

    def body(self) -> BowLine:
        """Return what the screens show."""
        return self.align.body(self.offset_deg, self.before_deg)


WHY: dict[State, str] = {
    "no view": "Too little of the chart is seen to tell: run past shore or marks.",
    "still": f"Make way: it is measured at {LEAST_SOG_KN:g} knots and more.",
    "turning": "Run straight: it is not measured in a turn.",
    "measuring": "Measuring: hold this course.",
    "ready": "",
}
