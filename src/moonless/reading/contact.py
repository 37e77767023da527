"""One echo explained, as the stages after identification have it: metres, m/s, radians, in the plane of the tracks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.reading.line import Kind
from moonless.reading.types import AisLabel, ChartedAs

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """What one echo is, where it lies and how it goes.  The public `Echo` is made of it and its closest approach."""

    id: int  # of the track
    position_en: tuple[float, float]  # put right by the registration
    velocity_en: tuple[float, float]  # over the ground; nought where it is told as still
    covariance: Floats  # (4, 4) of place and motion; what is told as still has no motion of its own
    range_m: float  # from the boat
    bearing_rad: float  # true, from the boat
    moves: bool
    kind: Kind
    confidence: float
    p_moving: float
    length_m: float | None
    charted_as: ChartedAs | None
    ais: AisLabel | None
    nav_status: int | None  # of AIS message 1 to 3: what she says she is doing; None: not said
    why: str
    is_coasting: bool = False
    n_hits: int = 0  # turns on which its track was hit

    @property
    def course_rad(self) -> float | None:
        """Course over ground; None where it is told as still."""
        return math.atan2(*self.velocity_en) % math.tau if self.moves else None

    @property
    def speed(self) -> float:
        """Over the ground."""
        return math.hypot(*self.velocity_en)


@dataclass(frozen=True, slots=True, eq=False)
class Passing:
    """A contact and its closest approach while both hold course and speed; None: own motion is not known."""

    contact: Contact
    cpa_m: float | None
    tcpa_s: float | None  # negative: past
    cpa_sigma_m: float | None
