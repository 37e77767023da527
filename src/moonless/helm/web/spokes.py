"""The radar picture as the helm keeps it: one row a bearing, each with its age and place; newest wins."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.clock import SystemClock, steady_s
from moonless.constants import EARTH_MEAN_RADIUS_M, TAU
from moonless.helm.web.protocol import FORGET, FROM_BOW, SpokeFrame
from moonless.watch.types import SpokesNow

# A tablet's screen shows about this many cells from boat to edge; more would be sent to be thrown away.
MAX_CELLS = 1024
# A heading change between two spokes can leave a row or two unlit; wider gaps are real and stay.
FILL_ROWS = 4


class SpokeStore:
    """Rules: a row is replaced whole; `version` rises with every change and tells each client what it lacks."""

    def __init__(self) -> None:
        self.version = 0
        self.picture = 0
        self._shape: tuple[int, int, float, float, bool] | None = None
        self._started = 0  # version at which the present shape began: older clients must forget
        self._echo: NDArray[np.uint8] = np.zeros((0, 0), np.uint8)
        self._row_version: NDArray[np.int64] = np.zeros(0, np.int64)
        self._received_s: NDArray[np.float64] = np.zeros(0)
        self._lat: NDArray[np.float64] = np.zeros(0)
        self._lon: NDArray[np.float64] = np.zeros(0)
        self._received_unix_ms = math.nan
        self._last_row: int | None = None

    @property
    def newest_s(self) -> float | None:
        """Steady time of the newest row; None before the first."""
        return float(self._received_s.max()) if self.version and self._received_s.size else None

    def clear(self) -> None:
        """Forget every row: the story began again or the radar changed its range."""
        self.version += 1
        self._started = self.version
        self._shape = None

    def withdraw(self) -> None:
        """Take every row off the screens: what they show is not the present."""
        if self._shape is None or not np.isfinite(self._received_s).any():
            return
        self.version += 1
        self.picture += 1
        self._started = self.version
        self._begin(self._shape)
        self._started = self.version

    def add(self, batch: SpokesNow, ages: NDArray[np.float64] | None = None) -> None:
        """Lay spokes into the picture; ``ages`` are seconds since each was received, where they differ."""
        if batch.echo.shape[0] == 0:
            return
        factor = max(1, -(-batch.echo.shape[1] // MAX_CELLS))
        echo = _pool(batch.echo, factor)
        first_m = batch.first_cell_m + batch.cell_m * (factor - 1) / 2.0
        cell_m = batch.cell_m * factor
        shape = (batch.n_spoke, echo.shape[1], round(first_m, 3), round(cell_m, 5), batch.from_bow)
        if shape != self._shape:
            self._begin(shape)
        self.version += 1
        self.picture += 1
        n = batch.n_spoke
        now_s = steady_s()
        received_s = batch.received_s if batch.received_s > 0.0 else now_s
        self._received_unix_ms = SystemClock().now_ns() / 1e6 - (now_s - received_s) * 1e3
        rows = np.mod(np.rint(batch.azimuth_rad * (n / TAU)).astype(np.int64), n)
        for i, row in enumerate(rows.tolist()):
            for index in self._span(row):
                self._echo[index] = echo[i]
                self._row_version[index] = self.version
                self._received_s[index] = received_s - (0.0 if ages is None else ages[i])
                self._lat[index] = batch.lat_deg[i]
                self._lon[index] = batch.lon_deg[i]
            self._last_row = row

    def frame_since(self, seen: int) -> SpokeFrame | None:
        """Return the rows a client that has seen version ``seen`` lacks; None when it lacks none."""
        if self.version <= seen or self._shape is None:
            return None
        n_spoke, _, first_m, cell_m, from_bow = self._shape
        row = np.flatnonzero(self._row_version > seen)
        flags = (FORGET if seen < self._started else 0) | (FROM_BOW if from_bow else 0)
        lat, lon = self._lat[row], self._lon[row]
        known = np.isfinite(lat)
        ref_lat = float(lat[known][-1]) if np.any(known) else 0.0
        ref_lon = float(lon[known][-1]) if np.any(known) else 0.0
        # A boat moves metres in a turn: a plane of degrees scaled at the reference is exact enough here.
        north = np.radians(lat - ref_lat) * EARTH_MEAN_RADIUS_M
        east = np.radians(lon - ref_lon) * EARTH_MEAN_RADIUS_M * math.cos(math.radians(ref_lat))
        return SpokeFrame(
            n_spoke=n_spoke,
            flags=flags,
            first_cell_m=first_m,
            cell_m=cell_m,
            ref_lat_deg=ref_lat if np.any(known) else math.nan,
            ref_lon_deg=ref_lon if np.any(known) else math.nan,
            received_unix_ms=self._received_unix_ms,
            picture=self.picture,
            age_s=np.maximum(steady_s() - self._received_s[row], 0.0).astype(np.float32),
            east_m=np.where(known, east, 0.0).astype(np.float32),
            north_m=np.where(known, north, 0.0).astype(np.float32),
            row=row.astype(np.uint16),
            echo=self._echo[row],
        )

    def _begin(self, shape: tuple[int, int, float, float, bool]) -> None:
        n_spoke, n_cell = shape[0], shape[1]
        self._shape = shape
        self._started = self.version + 1
        self._echo = np.zeros((n_spoke, n_cell), np.uint8)
        self._row_version = np.zeros(n_spoke, np.int64)
        self._received_s = np.full(n_spoke, -math.inf)
        self._lat = np.full(n_spoke, math.nan)
        self._lon = np.full(n_spoke, math.nan)
        self._last_row = None

    def _span(self, row: int) -> list[int]:
        """Return the row itself and the few just passed over, so that a turning boat leaves no dark spokes."""
        assert self._shape is not None
        n = self._shape[0]
        if self._last_row is None:
            return [row]
        ahead = (row - self._last_row) % n
        if 1 < ahead <= FILL_ROWS:
            return [(self._last_row + k) % n for k in range(1, ahead + 1)]
        return [row]


def _pool(echo: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """Return the strongest of every ``factor`` cells: a small echo must not be averaged away."""
    if factor == 1:
        return echo
    n, n_cell = echo.shape
    padded = np.zeros((n, -(-n_cell // factor) * factor), np.uint8)
    padded[:, :n_cell] = echo
    pooled: NDArray[np.uint8] = padded.reshape(n, -1, factor).max(axis=2)
    return pooled
