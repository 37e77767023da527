"""Made scans for the echo room: noise, targets and clutter with known truth, through a known receiver."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from moonless.scan.types import Scan, ScanErrors

LN16 = 4.0 * math.log(2.0)


@dataclass
class Made:
    """Mean power over noise, built up echo by echo, then drawn through a receiver."""

    n_spoke: int = 512
    n_cell: int = 384
    cell_m: float = 6.0
    beam_deg: float = 4.0
    pulse_m: float = 24.0
    level: float = 60.0  # counts of the mean noise
    db_per_count: float = 0.4
    full_scale: int = 255
    seed: int = 1
    heading_rad: float = 0.3
    power: NDArray[np.float64] = field(init=False)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        self.power = np.zeros((self.n_spoke, self.n_cell))

    @property
    def beam_rad(self) -> float:
        return math.radians(self.beam_deg)

    def point(self, azimuth_rad: float, range_m: float, snr_db: float) -> None:
        """Add a point: Gaussian two-way beam, rectangular pulse."""
        az = np.arange(self.n_spoke) * 2 * math.pi / self.n_spoke
        off = np.mod(az - azimuth_rad + math.pi, 2 * math.pi) - math.pi
        beam = np.exp(-2.0 * LN16 * (off / self.beam_rad) ** 2)
        r = np.arange(self.n_cell) * self.cell_m
        # Share of each cell that the pulse covers.
        lo, hi = range_m - self.pulse_m / 2, range_m + self.pulse_m / 2
        cover = np.clip(np.minimum(r + self.cell_m / 2, hi) - np.maximum(r - self.cell_m / 2, lo), 0, self.cell_m)
        self.power += 10 ** (snr_db / 10) * beam[:, None] * (cover / self.cell_m)[None, :]

    def draw(self, power: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """Return one look of square-law video: steady echoes in exponential noise."""
        mean = self.power if power is None else power
        shape = (self.n_spoke, self.n_cell)
        i = np.sqrt(mean) + self.rng.standard_normal(shape) * math.sqrt(0.5)
        q = self.rng.standard_normal(shape) * math.sqrt(0.5)
        return i * i + q * q

    def counts(self, video: NDArray[np.float64]) -> NDArray[np.uint8]:
        """Return logarithmic receiver counts."""
        raw = self.level + 10 * np.log10(np.maximum(video, 1e-9)) / self.db_per_count
        return np.clip(np.rint(raw), 0, self.full_scale).astype(np.uint8)

    def scan(self, echo: NDArray | None = None, received: NDArray[np.bool_] | None = None, number: int = 0) -> Scan:
        """Return the scan of ``echo`` (drawn when None)."""
        n = self.n_spoke
        if echo is None:
            echo = self.counts(self.draw())
        return Scan(
            echo=echo,
            is_received=np.ones(n, np.bool_) if received is None else received,
            time_ns=1_900_000_000_000_000_000 + number * 2_500_000_000 + (np.arange(n) * 2_500_000_000 // n),
            lat_deg=np.full(n, 10.0),
            lon_deg=np.full(n, -30.0),
            heading_true_rad=np.full(n, self.heading_rad),
            pose_age=np.zeros(n),
            first_cell_m=0.0,
            cell_m=self.cell_m,
            full_scale=self.full_scale,
            errors=ScanErrors(self.beam_rad, self.pulse_m, 0.005, 5.0),
            number=number,
        )


@pytest.fixture
def made() -> type[Made]:
    return Made
