"""What the radar should show from one place at one moment: the picture, and every charted mark's chance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from moonless.boat.types import RadarSet
from moonless.chart.local import LocalChart
from moonless.chart.types import Mark
from moonless.constants import NAUTICAL_MILE_M
from moonless.radar.drawn import drawn_scan
from moonless.radar.expected import expected_marks, expected_scan
from moonless.radar.link.receiver import counts_of
from moonless.radar.picture import render
from moonless.radar.types import MarkExpectation, RadarPose, RainCell, ScanGrid, Weather
from moonless.radar.world import World

N_SPOKE, N_CELL = 2048, 1024


@dataclass(frozen=True, slots=True)
class RainShower:
    """A round shower; ``rate_mmh`` at its middle, falling to half at half the radius."""

    lat_deg: float
    lon_deg: float
    radius_m: float
    rate_mmh: float


@dataclass(frozen=True, slots=True)
class PredictionAsked:
    """The question.  ``seed`` None: the mean picture; else one random turn."""

    lat_deg: float
    lon_deg: float
    heading_rad: float
    reach_m: float
    scale_nm: float  # the range scale the set is on, which decides its pulse
    wave_height_m: float = 0.3
    wind_from_rad: float = 0.0
    wind_speed: float = 3.0
    rain_mmh: float = 0.0
    showers: tuple[RainShower, ...] = ()
    seed: int | None = 0


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Prediction:
    """The answer: made, not received."""

    asked: PredictionAsked
    grid: ScanGrid
    counts: NDArray[np.uint8]  # (n_spoke, n_cell), receiver counts; row i looks i/n_spoke of a turn from the bow
    marks: tuple[tuple[Mark, MarkExpectation], ...]  # within reach

    def image(self, size: int = 900) -> Image.Image:
        """Return the picture, bow up, by night colours; its caption says that it is predicted."""
        asked = self.asked
        kind = "mean" if asked.seed is None else f"one turn, seed {asked.seed}"
        heading, reach_nm = math.degrees(asked.heading_rad), asked.reach_m / NAUTICAL_MILE_M
        caption = (
            f"predicted ({kind})  {asked.lat_deg:.4f}, {asked.lon_deg:.4f}  heading {heading:05.1f}  {reach_nm:g} NM"
        )
        return render(self.counts, self.grid, reach_nm, asked.heading_rad, caption, size)


def chart_margin_m(reach_m: float) -> float:
    """Return how far the chart must be cut for a picture that reaches so far."""
    return reach_m * 1.05 + 500.0


def predict(local: LocalChart, radar: RadarSet, asked: PredictionAsked, *, heights: Path | None = None) -> Prediction:
    """Return what a radar should show.

    ``local``: the chart around the place, out to `chart_margin_m`; ``heights``: any GDAL raster of ground heights.
    Raises SourceError if the raster cannot be read.
    """
    world = World.from_chart(local, heights=heights)
    east, north = (float(v) for v in local.frame.to_plane(asked.lat_deg, asked.lon_deg))
    # The chart is asked about the position antenna; the radar stands where the boat file says.
    ahead, aside = radar.forward_m, radar.starboard_m
    sin, cos = math.sin(asked.heading_rad), math.cos(asked.heading_rad)
    pose = RadarPose(east + ahead * sin + aside * cos, north + ahead * cos - aside * sin, asked.heading_rad)
    weather = Weather(
        asked.wave_height_m, asked.wind_from_rad, asked.wind_speed, asked.rain_mmh, _cells(local, asked.showers)
    )
    cell_m = asked.reach_m / N_CELL
    # Category 240 counts range in whole cells, so the first cell's centre lies one cell out.
    grid = ScanGrid(N_SPOKE, N_CELL, cell_m, cell_m)
    if asked.seed is None:
        counts = counts_of(expected_scan(world, radar, pose, grid, asked.scale_nm, weather).snr)
    else:
        rng = np.random.default_rng(asked.seed)
        counts = drawn_scan(world, radar, pose, grid, asked.scale_nm, weather, rng=rng)
    seen = expected_marks(world, radar, pose, asked.scale_nm, world.marks, weather, range_m=asked.reach_m)
    within = tuple((world.marks[one.index], one) for one in seen if one.range_m <= asked.reach_m)
    return Prediction(asked, grid, counts, within)


def _cells(local: LocalChart, showers: Sequence[RainShower]) -> tuple[RainCell, ...]:
    cells = []
    for one in showers:
        east, north = local.frame.to_plane(one.lat_deg, one.lon_deg)
        cells.append(RainCell(float(east), float(north), one.radius_m, one.rate_mmh))
    return tuple(cells)
