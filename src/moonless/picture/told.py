"""What a skipper may say of a screen, and what a screen says of itself.  Needs none of the libraries for pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

UpIs = Literal["bow", "north"]


@dataclass(frozen=True, slots=True)
class Told:
    """What the skipper has said; None and empty: nothing, it is to be found.

    ``echo_at``, ``not_echo_at``: (x, y) pixels of the picture: the strongest echo there is, and what is no echo.
    """

    range_nm: float | None = None  # of the outermost ring
    up: UpIs | None = None  # what the picture's up is, where no heading line shows it
    echo_at: tuple[tuple[float, float], ...] = ()
    not_echo_at: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class PictureErrors:
    """How exact a picture is: range of the whole, bearing, and time, one standard deviation each."""

    range_sigma_m: float
    azimuth_sigma_rad: float
    time_sigma_s: float
