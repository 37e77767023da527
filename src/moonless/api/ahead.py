"""Charts opened, and what the radar should show from a place on them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from moonless.api.inputs import Paths, boat_of, paths_of, place_of
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.constants import NAUTICAL_MILE_M
from moonless.errors import InputError
from moonless.radar import prediction as radar_prediction
from moonless.units import kn_to_mps


def open_chart(paths: Paths) -> Chart:
    """Return the chart held in files and folders: ENC cells, GeoPackages, or any vector source of S-57 layers.

    The first opening reads the source and keeps an index in the user's cache folder.
    Raises ChartError in one line if nothing could be read.
    """
    return Chart.open(paths_of(paths))


@dataclass(frozen=True, slots=True)
class MarkAhead:
    """One charted mark, and the chance that one turn of the radar shows it."""

    object: str  # S-57 class
    name: str | None
    range_m: float
    bearing_deg: float  # true
    p_detect: float
    is_hidden_by_land: bool


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Prediction:
    """What the radar should show: made, not received."""

    counts: NDArray[np.uint8]  # (n_spoke, n_cell), receiver counts
    bearing_deg: NDArray[np.float64]  # (n_spoke,), true, of each row
    range_m: NDArray[np.float64]  # (n_cell,), slant range to each cell's centre
    marks: tuple[MarkAhead, ...]  # within the range, nearest first
    _found: radar_prediction.Prediction

    def image(self, size: int = 900) -> Image.Image:
        """Return the picture, bow up, by night colours; its caption says that it is predicted."""
        return self._found.image(size)

    def __repr__(self) -> str:
        likely = sum(mark.p_detect >= 0.5 for mark in self.marks)
        n_spoke, n_cell = self.counts.shape
        reach = f"{n_spoke} spokes x {n_cell} cells, to {self._found.asked.reach_m / NAUTICAL_MILE_M:g} NM"
        return f"Prediction({reach}, {likely} of {len(self.marks)} marks likely)"


def predict(
    chart: Chart | Paths,
    boat: Boat | str | Path | None = None,
    *,
    at: tuple[float, float],
    heading_deg: float = 0.0,
    range_nm: float = 3.0,
    scale_nm: float | None = None,
    wind_kn: float = 6.0,
    wind_from_deg: float = 0.0,
    wave_height_m: float = 0.3,
    rain_mmh: float = 0.0,
    seed: int | None = 0,
) -> Prediction:
    """Return what the radar should show.

    Parameters
    ----------
    chart : an opened chart, or what `open_chart` takes
    boat : whose radar it is; None: an assumed 9 m launch with a small radome
    at : (latitude, longitude), degrees, of the position antenna
    heading_deg : true
    range_nm : how far the picture reaches
    scale_nm : the range scale the set is on, which decides its pulse; the range unless told
    wave_height_m : significant
    seed : of one random turn; None: the mean picture

    Raises
    ------
    InputError  For what is no place, no heading, or a range outside 0.05 to 48 NM.
    NoCoverage  If no chart covers the place.
    """
    lat, lon = place_of(at)
    if not (math.isfinite(range_nm) and 0.05 <= range_nm <= 48.0):
        raise InputError(f"range_nm is {range_nm}; a picture reaches 0.05 to 48 NM")
    if not math.isfinite(heading_deg):
        raise InputError(f"heading_deg is {heading_deg}")
    opened = chart if isinstance(chart, Chart) else open_chart(chart)
    asked = radar_prediction.PredictionAsked(
        lat,
        lon,
        math.radians(heading_deg),
        range_nm * NAUTICAL_MILE_M,
        range_nm if scale_nm is None else scale_nm,
        wave_height_m,
        math.radians(wind_from_deg),
        kn_to_mps(wind_kn),
        rain_mmh,
        seed=seed,
    )
    local = opened.around(lat, lon, radar_prediction.chart_margin_m(asked.reach_m))
    found = radar_prediction.predict(local, boat_of(boat).radar, asked)
    n_spoke, n_cell = found.counts.shape
    marks = [
        MarkAhead(
            mark.object,
            mark.name,
            one.range_m,
            math.degrees(one.azimuth_rel_rad + asked.heading_rad) % 360.0,
            one.p_detect,
            one.hidden_by_land,
        )
        for mark, one in found.marks
    ]
    return Prediction(
        found.counts,
        np.mod(heading_deg + np.arange(n_spoke, dtype=np.float64) * (360.0 / n_spoke), 360.0),
        found.grid.first_cell_m + np.arange(n_cell, dtype=np.float64) * found.grid.cell_m,
        tuple(sorted(marks, key=lambda mark: mark.range_m)),
        found,
    )
