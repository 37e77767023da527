"""What the skipper says of the night, and what follows of it for eye and radar."""

from __future__ import annotations

import math
from dataclasses import dataclass

from moonless.constants import NAUTICAL_MILE_M
from moonless.errors import InputError
from moonless.passage.way.route import Waypoint
from moonless.radar.types import Weather
from moonless.sea.waves import significant_wave_height
from moonless.units import down, mps_to_kn, up

CALM_M = 0.3
LIGHT_AIR = 3.0  # m/s
# More than this is not weather a small boat's plan is made for, or a slip of the pen: significant waves past WMO sea
# state 8, wind past Beaufort 12 by half, rain past any that a radar is asked through; own choice of round figures.
MOST_WAVES_M, MOST_WIND_KN, MOST_RAIN_MMH, MOST_VISIBILITY_NM = 15.0, 100.0, 200.0, 50.0
# A wind raises at least the sea of so much open water: no harbour is calm in a gale.  Own choice, as in made scenes.
LEAST_FETCH_M = 2000.0
# Lower limits of Beaufort's forces, knots: WMO Manual on Codes, table 1100.
BEAUFORT_KN = (1, 4, 7, 11, 17, 22, 28, 34, 41, 48, 56, 64)


@dataclass(frozen=True, slots=True)
class Night:
    """Cloud, visibility, sea, wind and rain as given, and what is wanted."""

    cloud: float = 0.0  # 0 clear to 1 overcast
    visibility_m: float = 10.0 * NAUTICAL_MILE_M
    wave_height_m: float = CALM_M  # significant
    wanted_kn: float | None = None
    zone: str = "UTC"
    glows: tuple[Waypoint, ...] = ()  # shore lights whose glow the skipper knows
    wind: float = LIGHT_AIR  # m/s
    wind_from_deg: float | None = None  # true; None: not told, and every leg is taken to look into it
    rain_mmh: float = 0.0

    def __post_init__(self) -> None:
        # "not nan" is no figure: each is asked to be inside, never merely not outside.
        for name, value, least, most, unit in (
            ("cloud", self.cloud, 0.0, 1.0, "(clear to overcast)"),
            ("visibility", self.visibility_m / NAUTICAL_MILE_M, 0.01, MOST_VISIBILITY_NM, "NM"),
            ("wave height", self.wave_height_m, 0.0, MOST_WAVES_M, "m"),
            ("wind", mps_to_kn(self.wind), 0.0, MOST_WIND_KN, "kn"),
            ("wind direction", self.wind_from_deg or 0.0, 0.0, 360.0, "degrees"),
            ("rain", self.rain_mmh, 0.0, MOST_RAIN_MMH, "mm/h"),
        ):
            if not least <= value <= most * (1.0 + 1e-9):
                raise InputError(f"{name} {value:g} is not between {least:g} and {most:g} {unit}")
        if self.wanted_kn is not None and not 0.1 <= self.wanted_kn <= 100.0:
            raise InputError(f"speed {self.wanted_kn:g} kn is not between 0.1 and 100 kn")

    @property
    def waves_m(self) -> float:
        """The waves as given, and never less than this wind raises over a mile."""
        return max(self.wave_height_m, significant_wave_height(self.wind, LEAST_FETCH_M))

    @property
    def seen_through_m(self) -> float:
        """The visibility as given, and never more than this rain lets through.

        Source: Atlas (1953), optical extinction of rain: visibility in km 11.6 R^-0.63, R in mm/h (from memory).
        """
        if self.rain_mmh <= 0.0:
            return self.visibility_m
        return min(self.visibility_m, 11_600.0 * float(self.rain_mmh**-0.63))

    @property
    def weather(self) -> Weather:
        """The same as the radar feels it."""
        return Weather(self.waves_m, self._wind_from_rad or 0.0, self.wind, self.rain_mmh)

    @property
    def beaufort(self) -> int:
        """The force of the wind."""
        return sum(round(mps_to_kn(self.wind), 6) >= least for least in BEAUFORT_KN)

    @property
    def words(self) -> str:
        """The weather in one line."""
        wind = f"wind {mps_to_kn(self.wind):.0f} kn"
        if self.wind_from_deg is not None:
            wind += f" from {round(self.wind_from_deg) % 360:03d}°"
        rain = f"rain {self.rain_mmh:g} mm/h" if self.rain_mmh > 0.0 else "no rain"
        sea = f"waves {up(self.wave_height_m)} m"
        if self.waves_m > self.wave_height_m + 0.05:
            sea += f" (the wind raises {up(self.waves_m)} m)"
        seen = f"visibility {float(down(self.visibility_m / NAUTICAL_MILE_M, 2)):g} NM"
        if self.seen_through_m < self.visibility_m:
            seen += f" (through this rain {float(down(self.seen_through_m / NAUTICAL_MILE_M, 2)):g} NM)"
        return f"cloud {self.cloud:.0%}, {seen}, {sea}, {wind}, {rain}"

    def off_wind_rad(self, bearing_deg: float) -> float:
        """Return how far a look is off the wind's eye; right into it where nobody told the wind's direction."""
        from_rad = self._wind_from_rad
        return 0.0 if from_rad is None else math.radians(bearing_deg) - from_rad

    @property
    def _wind_from_rad(self) -> float | None:
        return None if self.wind_from_deg is None else math.radians(self.wind_from_deg)
