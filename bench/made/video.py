"""Made radar video with known truth, for the echo benchmarks and tests: noise, echoes, spiky sea, rain, a receiver.

Powers are in units of the mean noise power.  Nothing here comes from a real radar, and nothing here is shared with the
project's own radar model: the detector is not to be tested against its own assumptions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from moonless.scan.types import Scan, ScanErrors

Floats = NDArray[np.float64]
LN16 = 4.0 * math.log(2.0)
# Counts go as this power of the echo's power.
EXPONENT = {"linear": 0.5, "square": 1.0, "root": 0.25}
TURN_NS = 2_500_000_000


@dataclass
class Made:
    """One radar geometry and receiver; ``power`` is the mean steady echo, built up echo by echo."""

    n_spoke: int = 512
    n_cell: int = 384
    cell_m: float = 6.0
    beam_deg: float = 4.0
    pulse_m: float = 24.0
    law: Literal["log", "linear", "square", "root"] = "log"
    level: float = 60.0  # counts of the mean noise
    db_per_count: float = 0.4  # of a logarithmic receiver
    full_scale: int = 255
    seed: int = 1
    heading_rad: float = 0.3
    lat_deg: float = 10.0
    lon_deg: float = -30.0
    power: Floats = field(init=False)
    rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        self.clear()

    def clear(self) -> None:
        """Take all echoes away."""
        self.power = np.zeros((self.n_spoke, self.n_cell))

    @property
    def beam_rad(self) -> float:
        """Half-power beam."""
        return math.radians(self.beam_deg)

    def beam(self, azimuth_rad: float) -> Floats:
        """Return (n_spoke,) the Gaussian two-way gain toward one bearing from the bow."""
        az = np.arange(self.n_spoke) * 2 * math.pi / self.n_spoke
        off = np.mod(az - azimuth_rad + math.pi, 2 * math.pi) - math.pi
        return np.asarray(np.exp(-2.0 * LN16 * (off / self.beam_rad) ** 2))

    def pulse(self, range_m: float) -> Floats:
        """Return (n_cell,) the share of each cell that a pulse about this range covers."""
        r = np.arange(self.n_cell) * self.cell_m
        lo, hi = range_m - self.pulse_m / 2, range_m + self.pulse_m / 2
        cover = np.minimum(r + self.cell_m / 2, hi) - np.maximum(r - self.cell_m / 2, lo)
        return np.asarray(np.clip(cover, 0, self.cell_m) / self.cell_m)

    def point(self, azimuth_rad: float, range_m: float, snr_db: float) -> None:
        """Add a point whose peak stands ``snr_db`` over the noise."""
        self.power += 10 ** (snr_db / 10) * self.beam(azimuth_rad)[:, None] * self.pulse(range_m)[None, :]

    def texture(self, shape: float, patch_rows: int, patch_cols: int) -> Floats:
        """Return gamma texture of mean 1, each patch its own value."""
        rows, cols = -(-self.n_spoke // patch_rows), -(-self.n_cell // patch_cols)
        values = self.rng.gamma(shape, 1.0 / shape, (rows, cols))
        return np.repeat(np.repeat(values, patch_rows, 0), patch_cols, 1)[: self.n_spoke, : self.n_cell]

    def draw(self, diffuse: Floats | float = 0.0) -> Floats:
        """Return one look of square-law video: steady echoes, plus noise, plus ``diffuse`` speckled clutter power."""
        size = (self.n_spoke, self.n_cell)
        sigma = np.sqrt(0.5 * (1.0 + np.asarray(diffuse)))
        i = np.sqrt(self.power) + self.rng.standard_normal(size) * sigma
        q = self.rng.standard_normal(size) * sigma
        return np.asarray(i * i + q * q)

    def counts(self, video: Floats) -> NDArray[Any]:
        """Return what the receiver's word says."""
        if self.law == "log":
            raw = self.level + 10 * np.log10(np.maximum(video, 1e-12)) / self.db_per_count
        else:
            raw = self.level * video ** EXPONENT[self.law]
        clipped = np.clip(np.rint(raw), 0, self.full_scale)
        return clipped.astype(np.uint8 if self.full_scale <= 255 else np.uint16)

    def scan(
        self,
        echo: NDArray[Any] | None = None,
        received: NDArray[np.bool_] | None = None,
        number: int = 0,
        lat_deg: float | None = None,
    ) -> Scan:
        """Return the scan of ``echo`` (drawn when None)."""
        n = self.n_spoke
        if echo is None:
            echo = self.counts(self.draw())
        return Scan(
            echo=echo,
            is_received=np.ones(n, np.bool_) if received is None else received,
            time_ns=1_900_000_000_000_000_000 + number * TURN_NS + (np.arange(n) * TURN_NS // n),
            lat_deg=np.full(n, self.lat_deg if lat_deg is None else lat_deg),
            lon_deg=np.full(n, self.lon_deg),
            heading_true_rad=np.full(n, self.heading_rad),
            pose_age=np.zeros(n),
            first_cell_m=0.0,
            cell_m=self.cell_m,
            full_scale=self.full_scale,
            errors=ScanErrors(self.beam_rad, self.pulse_m, 0.005, 5.0),
            number=number,
        )
