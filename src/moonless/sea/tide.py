"""Heights of tide: harmonic at reference stations, by differences at subordinate ones.

Heights are metres above the station's chart datum.  Wind and air pressure are not in them: in a narrow sea they
can be larger than the tide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from moonless.errors import NoCoverage
from moonless.sea.constituents import CONSTITUENTS, Astronomy, astronomy
from moonless.sea.stations import Harmonic, Stations, TideStation

Floats = NDArray[np.float64]

SEARCH_STEP_S = 600.0  # no real tide turns twice in ten minutes
# A subordinate height needs the turning points on both sides; semidiurnal and diurnal tides both have one in this.
MARGIN_S = 30.0 * 3600.0


@dataclass(frozen=True, slots=True)
class Extreme:
    """One high or low water."""

    time_s: float  # Unix, UTC
    height_m: float
    kind: Literal["high", "low"]


@lru_cache(maxsize=32)
def _mid_year(year: int) -> Astronomy:
    return astronomy(datetime(year, 7, 2, 12, tzinfo=UTC).timestamp())


def harmonic_sum(harmonics: tuple[Harmonic, ...], time_s: ArrayLike) -> Floats:
    """Return the sum of constituents at Unix times, shape (n,), in their own unit, about their mean.

    Node factors and angles are those of the middle of each calendar year, as the agency whose constants these are
    uses them ([Schureman] tables 14 and 15); the published predictions are met more closely so than with factors
    of the moment (design/tide_node_year.py).
    """
    time = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    out = np.zeros_like(time)
    years = time.astype("datetime64[s]").astype("datetime64[Y]").astype(np.int64) + 1970
    for year in np.unique(years):
        here = years == year
        now, middle = astronomy(time[here]), _mid_year(int(year))
        total = np.zeros(int(here.sum()))
        for harmonic in harmonics:
            constituent = CONSTITUENTS[harmonic.name]
            argument = constituent.argument(now) - constituent.angle(now) + constituent.angle(middle)
            total += harmonic.amplitude * constituent.factor(middle) * np.cos(argument - harmonic.phase_rad)
        out[here] = total
    return out


def turning_points(harmonics: tuple[Harmonic, ...], start_s: float, end_s: float) -> list[tuple[float, float]]:
    """Return (time, value) of each maximum and minimum of the sum between two times, to the second."""
    grid = np.arange(start_s - SEARCH_STEP_S, end_s + 2 * SEARCH_STEP_S, SEARCH_STEP_S)
    values = harmonic_sum(harmonics, grid)
    slope = np.diff(values)
    found = []
    # By which way it goes, not by the sign of a product: two samples alike to both sides of the turn have no slope.
    rises = slope > 0.0
    for k in np.flatnonzero(rises[:-1] != rises[1:]) + 1:
        # A parabola through three points, refined once on a grid sixty times finer.
        fine = grid[k] + np.linspace(-SEARCH_STEP_S, SEARCH_STEP_S, 121)
        fine_values = harmonic_sum(harmonics, fine)
        best = int(np.argmax(fine_values) if slope[k - 1] > 0 else np.argmin(fine_values))
        best = min(max(best, 1), 119)
        a, b, c = fine_values[best - 1 : best + 2]
        shift = 0.0 if a - 2 * b + c == 0 else 0.5 * (a - c) / (a - 2 * b + c)
        time = float(fine[best] + shift * (fine[1] - fine[0]))
        if start_s <= time <= end_s:
            found.append((time, float(b - 0.25 * (a - c) * shift)))
    return found


class TideHere:
    """Heights at one station, reference or subordinate."""

    def __init__(self, station: TideStation, stations: Stations) -> None:
        """Raise NoCoverage if the station's own constants, its reference or a needed datum are not in the files."""
        self.station = station
        self._reference = station
        if station.offsets is not None:
            reference = stations.tides.get(station.offsets.reference)
            if reference is None or not reference.harmonics:
                raise NoCoverage(f"{station.name} follows {station.offsets.reference}, which is not among the stations")
            self._reference = reference
        if not self._reference.harmonics:
            raise NoCoverage(f"{station.name} has no harmonic constants")
        if self._reference.mean_level_m is None:
            raise NoCoverage(f"{self._reference.name}: mean level above {self._reference.datum} is not in its record")
        self._mean_m = self._reference.mean_level_m

    def over_datum_m(self, datum: str) -> float | None:
        """Return what to add to a height to have it above another datum; None where the record does not say."""
        datums = self.station.datums
        if datum == self.station.datum:
            return 0.0
        if datum not in datums or self.station.datum not in datums:
            return None
        return datums[self.station.datum] - datums[datum]

    @property
    def mean_high_water_m(self) -> float | None:
        """Mean high water above chart datum, by the station's own datums; None where its record does not say."""
        datums = self.station.datums
        if "MHW" not in datums or self.station.datum not in datums:
            return None
        return datums["MHW"] - datums[self.station.datum]

    def extremes(self, start_s: float, end_s: float) -> list[Extreme]:
        """Return the high and low waters between two Unix times, in order."""
        offsets = self.station.offsets
        pad = 0.0 if offsets is None else max(abs(offsets.high_s), abs(offsets.low_s))
        points = turning_points(self._reference.harmonics, start_s - pad - MARGIN_S, end_s + pad + MARGIN_S)
        found = []
        for index, (time, value) in enumerate(points):
            beside = points[index + 1][1] if index + 1 < len(points) else points[index - 1][1] if index else value
            high = value > beside
            height = value + self._mean_m
            if offsets is not None:
                time += offsets.high_s if high else offsets.low_s
                by = offsets.high if high else offsets.low
                height = height * by if offsets.is_ratio else height + by
            if start_s <= time <= end_s:
                found.append(Extreme(time, height, "high" if high else "low"))
        return sorted(found, key=lambda e: e.time_s)

    def heights(self, time_s: ArrayLike) -> Floats:
        """Return metres above chart datum at Unix times, shape (n,).

        A subordinate station's height between its turning points follows half a cosine: the rule of the agency's
        tide tables, "Height of tide at any time" (table 3).
        """
        time = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
        if self.station.offsets is None:
            return harmonic_sum(self._reference.harmonics, time) + self._mean_m
        turns = self.extremes(float(time.min()) - MARGIN_S, float(time.max()) + MARGIN_S)
        return half_cosine(time, [t.time_s for t in turns], [t.height_m for t in turns])


def half_cosine(time_s: Floats, at_s: list[float], value: list[float]) -> Floats:
    """Return values that go from each turning point to the next along half a cosine; NaN outside them."""
    if len(at_s) < 2:
        return np.full(time_s.shape, math.nan)
    times, values = np.asarray(at_s), np.asarray(value)
    after = np.clip(np.searchsorted(times, time_s, side="right"), 1, times.size - 1)
    fraction = (time_s - times[after - 1]) / (times[after] - times[after - 1])
    out = values[after - 1] + (values[after] - values[after - 1]) * 0.5 * (1.0 - np.cos(math.pi * fraction))
    return np.where((time_s < times[0]) | (time_s > times[-1]), math.nan, out)


@dataclass(frozen=True, slots=True, eq=False)
class TideBetween:
    """Heights at a place between stations: whose are used, with what weights, and how that is said."""

    parts: tuple[tuple[float, TideHere], ...]  # (weight, station); weights sum to 1
    how: str  # one plain sentence

    def heights(self, time_s: ArrayLike) -> Floats:
        """Return metres above chart datum at Unix times, shape (n,); NaN where a station cannot say."""
        return np.asarray(sum(weight * here.heights(time_s) for weight, here in self.parts))

    @property
    def datum(self) -> str:
        """What the heights stand above; of all its stations the same."""
        return self.parts[0][1].station.datum

    def over_datum_m(self, datum: str) -> float | None:
        """Return what to add to a height to have it above another datum; None where a station does not say."""
        steps = [(weight, here.over_datum_m(datum)) for weight, here in self.parts]
        if any(step is None for _, step in steps):
            return None
        return sum(weight * (step or 0.0) for weight, step in steps)

    @property
    def mean_high_water_m(self) -> float | None:
        """Mean high water above chart datum, weighted as the heights are; None where a station does not say."""
        levels = [(weight, here.mean_high_water_m) for weight, here in self.parts]
        if any(level is None for _, level in levels):
            return None
        return sum(weight * (level or 0.0) for weight, level in levels)


def tide_between(stations: Stations, lat_deg: float, lon_deg: float, within_m: float = 40_000.0) -> TideBetween:
    """Return the tide at a place: the nearest stations' heights weighted by the inverse of their distance.

    At most three stations are used, and one alone when it is within a kilometre.  Heights above different datums are
    never mixed: those of the nearest station's datum are used.
    Raises NoCoverage if none with usable constants is near enough: an unknown tide is not a flat one.
    """
    used: list[tuple[float, TideHere]] = []
    for distance, station in stations.tides_near(lat_deg, lon_deg, within_m):
        if used and station.datum != used[0][1].station.datum:
            continue
        try:
            used.append((distance, TideHere(station, stations)))
        except NoCoverage:
            continue
        if used[0][0] < 1000.0 or len(used) == 3:
            break
    if not used:
        place = f"{lat_deg:.4f}, {lon_deg:.4f}"
        raise NoCoverage(f"no tide station with constants within {within_m / 1852:.0f} NM of {place}")
    if used[0][0] < 1000.0:
        used = used[:1]
    weights = np.asarray([1.0 / max(d, 1.0) for d, _ in used])
    weights /= weights.sum()
    named = ", ".join(f"{here.station.name} {d / 1852:.1f} NM off" for d, here in used)
    how = f"Predicted tide at {named}" if len(used) == 1 else f"Interpolated by distance between {named}"
    parts = tuple((float(w), here) for w, (_, here) in zip(weights, used, strict=True))
    return TideBetween(parts, f"{how}, above {used[0][1].station.datum}. Wind and pressure are not in it.")
