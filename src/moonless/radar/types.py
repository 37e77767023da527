"""What is asked of the radar model and what it answers.

One model serves what should be seen now, what the plan will look like, practice, and the test scenes.  It never
reads a plot.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Swerling = Literal[0, 1, 2, 3, 4]


@dataclass(frozen=True, slots=True)
class ScanGrid:
    """The polar raster that is asked for: row i looks at ``i * 2 pi / n_spoke`` from the bow."""

    n_spoke: int
    n_cell: int
    first_cell_m: float
    cell_m: float

    @property
    def max_range_m(self) -> float:
        """Slant range to the far edge of the last cell."""
        return self.first_cell_m + (self.n_cell - 0.5) * self.cell_m


@dataclass(frozen=True, slots=True)
class RainCell:
    """A round shower; ``rate_mmh`` at its middle, falling to half at half the radius."""

    east_m: float
    north_m: float
    radius_m: float
    rate_mmh: float


@dataclass(frozen=True, slots=True)
class Weather:
    """Wind, sea and rain as the radar feels them.  Positions in the frame of the question."""

    wave_height_m: float = 0.3  # significant
    wind_from_rad: float = 0.0  # true
    wind_speed: float = 3.0  # m/s
    rain_everywhere_mmh: float = 0.0
    rain_cells: tuple[RainCell, ...] = ()


@dataclass(frozen=True, slots=True)
class PointTarget:
    """A thing that is not on the chart, or a charted mark asked about singly; a hull has length and heading."""

    name: str
    east_m: float
    north_m: float
    rcs_m2: float
    height_m: float  # of its radar-effective top above the sea
    swerling: Swerling = 1
    length_m: float = 0.0  # 0: a point
    beam_m: float = 0.0
    heading_rad: float = 0.0
    casts_shadow: bool = False


@dataclass(frozen=True, slots=True)
class RadarPose:
    """Where the antenna is and which way the bow points, held for a whole turn."""

    east_m: float
    north_m: float
    heading_rad: float  # true


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedScan:
    """Mean power and detection in each cell, no randomness.

    All arrays (n_spoke, n_cell).  ``p_detect`` is for one turn at the design false-alarm rate.
    """

    grid: ScanGrid
    snr: NDArray[np.float32]  # mean echo power over mean receiver noise, linear: targets, land, clutter, rain
    clutter_to_noise: NDArray[np.float32]  # sea and rain part of it, linear
    p_detect: NDArray[np.float32]  # that something standing in the cell, as charted, shows this turn
    shadow_height_m: NDArray[np.float32]  # a thing lower than this here is below the line of sight (inf: fully hidden)
    loss: NDArray[np.float32] = field(default_factory=lambda: np.ones((0, 0), np.float32))  # two-way air and rain


@dataclass(frozen=True, slots=True)
class MarkExpectation:
    """What one charted mark or target should give this turn."""

    index: int  # into the asked sequence
    range_m: float
    azimuth_rel_rad: float
    snr: float  # mean, linear, single look integrated as the set does
    p_detect: float  # this turn
    hidden_by_land: bool
    beside_snr: float = 0.0  # mean echo of land and built things in the same cell: a stronger one swallows the mark
