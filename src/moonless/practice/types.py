"""An exercise: pictures, a question, what may be answered, and the truth it is marked by.

Places are metres east and north in the frame of the waters; angles radians, true unless the name says relative.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from moonless.radar.types import ScanGrid
from moonless.rules.lights import Colour

Form = Literal["touch", "figures", "word", "knobs", "chart"]
"""How it is answered: on the scope, in figures, by a word, with the radar's knobs, on the chart."""

Place = tuple[float, float]
"""Metres east and north."""


@dataclass(frozen=True, slots=True)
class ShownTurn:
    """One turn of the antenna that is shown."""

    time_s: float  # the last look is 0; earlier ones are negative
    east_m: float
    north_m: float
    heading_rad: float  # where the bow truly points
    shown_heading_rad: float  # what the heading sensor says


@dataclass(frozen=True, slots=True, eq=False)
class Pictures:
    """What the radar shows, look by look, as receiver counts; bow at row 0."""

    grid: ScanGrid
    scale_nm: float
    looks: tuple[ShownTurn, ...]
    counts: NDArray[np.uint8]  # (n_look, n_spoke, n_cell), on the curve of `moonless.radar.link.receiver`
    trails: Literal["none", "relative", "true"] = "none"
    is_received: bool = False  # from a recording; else made

    @property
    def last(self) -> ShownTurn:
        """The newest look, on which the question is asked."""
        return self.looks[-1]


@dataclass(frozen=True, slots=True)
class Marking:
    """Something drawn on the picture or the chart: a ring round one place, a line through some, an area round some.

    ``role``: asked (part of the question), truth (what was there), charted, hidden, chance (what deceives).
    """

    form: Literal["ring", "line", "area"]
    role: Literal["asked", "truth", "charted", "hidden", "chance"]
    places: tuple[Place, ...]
    label: str = ""


@dataclass(frozen=True, slots=True)
class Spot:
    """One light as the eye has it: ``across`` -1 (left) to 1, ``up`` 0 (the water) to 1."""

    colour: Colour
    across: float
    up: float
    flashing: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure that is asked for.  Full marks within ``full`` of the truth, none beyond ``none``."""

    name: str
    unit: Literal["nm", "deg", "kn", "min"]
    truth: float
    full: float
    none: float
    least: float
    most: float

    @property
    def is_angle(self) -> bool:
        """Whether it goes round the compass, so that 359 lies beside 1."""
        return self.unit == "deg" and self.most - self.least >= 360.0


@dataclass(frozen=True, slots=True)
class Knobs:
    """The hand controls of a radar, each 0 to 100, and its range scale."""

    gain: float = 64.0
    sea: float = 0.0
    rain: float = 0.0
    scale_nm: float = 1.5


@dataclass(frozen=True, slots=True)
class ExerciseAnswer:
    """What was answered: one of these, or nothing at all for "it cannot be told"."""

    place: Place | None = None  # a touch on scope or chart
    figures: tuple[float, ...] = ()
    word: str | None = None
    knobs: Knobs | None = None

    @property
    def is_withheld(self) -> bool:
        """Whether the answer is that it cannot be told, or that nothing shows."""
        return self.place is None and not self.figures and self.word is None and self.knobs is None


CANNOT_TELL = ExerciseAnswer()


class ExerciseKey(Protocol):
    """The truth of an exercise, and what an answer is worth by it."""

    @property
    def form(self) -> Form: ...

    @property
    def right(self) -> ExerciseAnswer:
        """The answer of one who knows."""
        ...

    @property
    def by_luck(self) -> float:
        """The share of blind answers that come right, 0..1."""
        ...

    def worth(self, answer: ExerciseAnswer) -> float:
        """Return 0..1 for an answer that was given.  Raises InputError for one of another form."""
        ...

    def blind(self, chance: np.random.Generator) -> ExerciseAnswer:
        """Return what somebody would answer who does not look."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Exercise:
    """The whole.  ``key``, ``knowable``, ``notes`` and ``because`` are for after the answer."""

    step: str
    seed: int
    asks: str
    told: tuple[str, ...]  # what the skipper knows besides: course and speed, wind, what the chart has
    key: ExerciseKey
    knowable: float  # the chance that a careful reader could know it from what is shown, 0..1
    because: str  # the reason, in a sentence or two
    words: tuple[str, ...] = ()  # to choose from
    figures: tuple[Figure, ...] = ()
    pictures: Pictures | None = None
    lights: tuple[Spot, ...] = ()  # what is seen with the eye
    view: Knobs = field(default_factory=Knobs)  # how the picture is set when it is first shown
    asked: tuple[Marking, ...] = ()  # drawn with the question
    notes: tuple[Marking, ...] = ()  # drawn with the answer
    chart: Literal["with the question", "beside it", "with the answer"] = "with the answer"
    withheld_words: str = "it cannot be told"  # what leaving it open is called here


@dataclass(frozen=True, slots=True)
class Marked:
    """What an answer was worth.

    ``points`` 0..1 of what was to be had; ``for_`` and ``against``: what it says of the skill, as parts of one trial.
    """

    points: float
    for_: float
    against: float
    withheld: bool
    knowable: float
