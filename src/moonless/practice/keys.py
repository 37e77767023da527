"""Truths that answers are marked by: a place, some figures, a word.  The knobs have their own, in `by_hand`."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from moonless.errors import InputError
from moonless.practice.types import CANNOT_TELL, ExerciseAnswer, Figure, Form, Place


def _place(answer: ExerciseAnswer) -> Place:
    if answer.place is None:
        raise InputError("this is answered by touching a place")
    return answer.place


@dataclass(frozen=True, slots=True)
class PlaceKey:
    """Right near any of some places; nothing but "nothing shows" is right where there are none.

    ``full_m``: full marks within; none beyond ``none_m``.  ``reach_m`` about ``middle``: where a blind touch may fall.
    """

    places: tuple[Place, ...]
    full_m: float
    none_m: float
    middle: Place
    reach_m: float
    form: Form = "touch"

    @property
    def right(self) -> ExerciseAnswer:
        """The first place, or that nothing shows."""
        return ExerciseAnswer(place=self.places[0]) if self.places else CANNOT_TELL

    @property
    def by_luck(self) -> float:
        """The area that counts as right over the area that can be touched."""
        return min(1.0, len(self.places) * (self.full_m / self.reach_m) ** 2)

    def worth(self, answer: ExerciseAnswer) -> float:
        """Full near a place, falling to nothing further off."""
        east, north = _place(answer)
        away = min((math.hypot(e - east, n - north) for e, n in self.places), default=math.inf)
        return float(np.interp(away, [self.full_m, self.none_m], [1.0, 0.0])) if math.isfinite(away) else 0.0

    def blind(self, chance: np.random.Generator) -> ExerciseAnswer:
        """Touch anywhere in reach, evenly over the area."""
        return _anywhere(self.middle, self.reach_m, chance)


@dataclass(frozen=True, slots=True, eq=False)
class AreaKey:
    """Right inside an area, or within ``beside_m`` of it."""

    area: shapely.Geometry
    beside_m: float
    middle: Place
    reach_m: float
    form: Form = "touch"

    @property
    def right(self) -> ExerciseAnswer:
        """A place well inside."""
        inside = shapely.point_on_surface(self.area)
        return ExerciseAnswer(place=(float(inside.x), float(inside.y)))

    @property
    def by_luck(self) -> float:
        """The share of what can be touched that is right."""
        disc = shapely.Point(self.middle).buffer(self.reach_m)
        return min(1.0, float(shapely.intersection(self.area, disc).area / disc.area))

    def worth(self, answer: ExerciseAnswer) -> float:
        """One inside, nothing outside."""
        return float(shapely.distance(self.area, shapely.Point(_place(answer))) <= self.beside_m)

    def blind(self, chance: np.random.Generator) -> ExerciseAnswer:
        """Touch anywhere in reach, evenly over the area."""
        return _anywhere(self.middle, self.reach_m, chance)


@dataclass(frozen=True, slots=True)
class FiguresKey:
    """Right within each figure's tolerance; the worst figure counts."""

    figures: tuple[Figure, ...]
    form: Form = "figures"

    @property
    def right(self) -> ExerciseAnswer:
        """The figures themselves."""
        return ExerciseAnswer(figures=tuple(one.truth for one in self.figures))

    @property
    def by_luck(self) -> float:
        """The share of each figure's span that earns full marks, multiplied."""
        return math.prod(min(1.0, 2.0 * one.full / (one.most - one.least)) for one in self.figures)

    def worth(self, answer: ExerciseAnswer) -> float:
        """What the worst figure earns."""
        if len(answer.figures) != len(self.figures):
            raise InputError(f"this is answered in figures: {', '.join(f'{f.name} ({f.unit})' for f in self.figures)}")
        return min(_worth(one, given) for one, given in zip(self.figures, answer.figures, strict=True))

    def blind(self, chance: np.random.Generator) -> ExerciseAnswer:
        """Say any figures that are possible."""
        return ExerciseAnswer(figures=tuple(float(chance.uniform(one.least, one.most)) for one in self.figures))


@dataclass(frozen=True, slots=True)
class WordKey:
    """Right by one word of several; None: right is that it cannot be told."""

    words: tuple[str, ...]
    truth: str | None
    form: Form = "word"

    def __post_init__(self) -> None:
        if self.truth is not None and self.truth not in self.words:
            raise InputError(f"{self.truth!r} is not among the words {self.words}")

    @property
    def right(self) -> ExerciseAnswer:
        """The word."""
        return CANNOT_TELL if self.truth is None else ExerciseAnswer(word=self.truth)

    @property
    def by_luck(self) -> float:
        """One of the words."""
        return 0.0 if self.truth is None else 1.0 / len(self.words)

    def worth(self, answer: ExerciseAnswer) -> float:
        """One or nothing."""
        if answer.word not in self.words:
            raise InputError(f"{answer.word!r} is not among the words: {', '.join(self.words)}")
        return float(answer.word == self.truth)

    def blind(self, chance: np.random.Generator) -> ExerciseAnswer:
        """Say any of the words."""
        return ExerciseAnswer(word=str(chance.choice(np.array(self.words))))


def _worth(figure: Figure, given: float) -> float:
    if not math.isfinite(given):
        raise InputError(f"{figure.name}: {given} is not a number")
    off = abs(given - figure.truth)
    if figure.is_angle:
        off = abs((given - figure.truth + 180.0) % 360.0 - 180.0)
    return float(np.interp(off, [figure.full, figure.none], [1.0, 0.0]))


def _anywhere(middle: Place, reach_m: float, chance: np.random.Generator) -> ExerciseAnswer:
    away, angle = reach_m * math.sqrt(chance.uniform()), chance.uniform(0.0, 2.0 * math.pi)
    return ExerciseAnswer(place=(middle[0] + away * math.sin(angle), middle[1] + away * math.cos(angle)))
