"""What every template draws from: the waters, the boat, one stream of chance, and some common turns of phrase."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.practice.stage import StagedMover, off
from moonless.practice.types import Exercise, Place
from moonless.practice.waters import PracticeWaters
from moonless.radar.types import Weather
from moonless.units import kn_to_mps, mps_to_kn

# Rings on each range scale, as `moonless.radar.picture` draws them (MSC.64(67) Annex 4: two to six).
RINGS = {0.25: 2, 0.5: 2, 0.75: 3, 1.5: 3, 3.0: 3, 6.0: 6}
_RAYS = 72


@dataclass(frozen=True, slots=True)
class Draw:
    """One attempt at one exercise.  ``here`` holds the place on a run; None: anywhere."""

    waters: PracticeWaters
    boat: Boat
    chance: np.random.Generator
    seed: int
    here: Place | None = None

    def lot(self, number: int) -> float:
        """Return a number 0..1 that is the same for every attempt at a seed: what is asked must not hang on what the
        water makes easy to find."""
        return float(np.random.default_rng([self.seed, number, 17]).uniform())

    def lot_of(self, number: int, *options: str) -> str:
        """Return one of some words, the same for every attempt at a seed."""
        return options[min(int(self.lot(number) * len(options)), len(options) - 1)]

    def between(self, low: float, high: float) -> float:
        """Return a number between."""
        return float(self.chance.uniform(low, high))

    def one_of(self, *options: str) -> str:
        """Return one of some words."""
        return options[int(self.chance.integers(len(options)))]

    def own(
        self, speed_kn: tuple[float, float], land_m: tuple[float, float] = (0.0, math.inf), back_s: float = 0.0
    ) -> StagedMover | None:
        """Return the boat at the moment of the last look, her track behind her in deep water; None: no place here."""
        place = self.here if self.here is not None else self.waters.place(self.chance, land_m)
        if place is None:
            return None
        speed = kn_to_mps(round(self.between(*speed_kn), 1))
        for _ in range(12):
            course = math.radians(int(self.chance.integers(360)))
            if back_s == 0.0 or self.waters.is_clear(off(place, course + math.pi, speed * back_s), place):
                return StagedMover("own", "launch", *place, course, speed)
        return None

    def shores(self, here: Place, reach_m: float) -> float:
        """Return the share of bearings in which land lies within reach."""
        rays = [[here, off(here, k * 2.0 * math.pi / _RAYS, reach_m)] for k in range(_RAYS)]
        return float(np.mean(shapely.intersects(shapely.linestrings(rays), self.waters.world.land)))

    def calm(self) -> Weather:
        """Return a quiet night."""
        return Weather(self.between(0.05, 0.25), self.between(0.0, 2.0 * math.pi), self.between(1.0, 4.0))


Template = Callable[[Draw], Exercise | None]
"""Returns an exercise, or None where chance has drawn a place that is not fit for it."""


def going(own: StagedMover) -> str:
    """Say how she goes."""
    return f"You steer {degrees(own.course_rad)} at {mps_to_kn(own.speed):.1f} kn."


def degrees(angle_rad: float) -> str:
    """Say a bearing in three figures."""
    return f"{round(math.degrees(angle_rad)) % 360:03d}"


def miles(distance_m: float) -> str:
    """Say a distance in nautical miles."""
    return f"{distance_m / NAUTICAL_MILE_M:.2f} NM"


def minutes(seconds: float) -> str:
    """Say a time in minutes."""
    whole = round(seconds / 60.0)
    return "1 minute" if whole == 1 else f"{whole} minutes" if whole else "less than a minute"


def wind(weather: Weather) -> str:
    """Say wind and sea."""
    return (
        f"Wind from {degrees(weather.wind_from_rad)}, {mps_to_kn(weather.wind_speed):.0f} kn; "
        f"waves {weather.wave_height_m:.1f} m."
    )


def resolution_m(beam_rad: float, range_m: float) -> float:
    """Return how near a touch must come to an echo to mean it: half a beam's width, 60 m at the least.

    Own choice: a finger on a screen of some 700 pixels that shows a mile and a half.
    """
    return max(60.0, 0.5 * beam_rad * range_m)
