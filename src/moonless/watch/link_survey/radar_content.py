"""The radar video of one link: spokes a second, the rate of turning, and a small picture of what comes."""

from __future__ import annotations

import math
from collections import Counter, deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.scan.types import Spoke
from moonless.units import NS_PER_S

# Spokes a second and the rate of turning are told over this long.
RATE_NS = 4 * NS_PER_S
# The small fan that shows spokes coming in: bearings and cells.
FAN_ROWS, FAN_CELLS = 180, 40


@dataclass(slots=True)
class RadarContent:
    """The radar video of one link, as far as it has been heard."""

    spokes: int = 0
    n_cell: int = 0
    cell_m: float = math.nan
    first_cell_m: float = math.nan
    bits: int = 0
    has_time: bool = False
    sources: Counter[tuple[int, int]] = field(default_factory=Counter)  # spokes of each SAC/SIC
    fan: NDArray[np.uint8] = field(default_factory=lambda: np.zeros((FAN_ROWS, FAN_CELLS), np.uint8))
    fan_ns: NDArray[np.int64] = field(default_factory=lambda: np.zeros(FAN_ROWS, np.int64))  # 0: not yet
    newest_row: int = 0
    last_ns: int = 0
    _turned: deque[tuple[int, int, float]] = field(default_factory=deque)  # (time, spokes, unwrapped angle)
    _u: float = 0.0
    _azimuth: float = math.nan
    _steps: deque[float] = field(default_factory=lambda: deque(maxlen=200))

    @property
    def range_m(self) -> float:
        """Slant range to the end of the last cell."""
        return self.first_cell_m + (self.n_cell - 0.5) * self.cell_m

    def spokes_per_s(self, now_ns: int) -> float:
        """Spokes that came in a second, over the last seconds."""
        recent = [t for t in self._turned if now_ns - t[0] <= RATE_NS]
        if len(recent) < 2:
            return 0.0
        span = max(now_ns - recent[0][0], 1) / NS_PER_S
        return (recent[-1][1] - recent[0][1]) / span

    @property
    def turns_per_min(self) -> float | None:
        """Turns of the antenna a minute, negative anticlockwise; None while it cannot be told."""
        if len(self._turned) < 3:
            return None
        (t0, _, u0), (t1, _, u1) = self._turned[0], self._turned[-1]
        if t1 - t0 < NS_PER_S // 2:
            return None
        return (u1 - u0) / TAU / ((t1 - t0) / NS_PER_S) * 60.0

    @property
    def spokes_per_turn(self) -> int | None:
        """Spokes in a turn by their spacing; None while it cannot be told."""
        if len(self._steps) < 20:
            return None
        step = float(np.median(np.abs(self._steps)))
        return round(TAU / step) if step > 1e-5 else None

    def take(self, spoke: Spoke, received_ns: int) -> None:
        """Take in one spoke."""
        self.spokes += 1
        self.last_ns = received_ns
        self.n_cell, self.cell_m, self.first_cell_m = spoke.echo.shape[0], spoke.cell_m, spoke.first_cell_m
        azimuth = spoke.azimuth_start_rad
        if math.isfinite(self._azimuth):
            step = (azimuth - self._azimuth + math.pi) % TAU - math.pi
            if step:
                self._steps.append(step)
            self._u += step
        self._azimuth = azimuth
        if not self._turned or received_ns - self._turned[-1][0] >= NS_PER_S // 20:
            self._turned.append((received_ns, self.spokes, self._u))
            while received_ns - self._turned[0][0] > RATE_NS:
                self._turned.popleft()
        row = int(azimuth / TAU * FAN_ROWS) % FAN_ROWS
        cells = _pooled(spoke)
        if row == self.newest_row and received_ns - int(self.fan_ns[row]) < NS_PER_S:
            cells = np.maximum(cells, self.fan[row])
        self.fan[row], self.fan_ns[row], self.newest_row = cells, received_ns, row


def _pooled(spoke: Spoke) -> NDArray[np.uint8]:
    """Return the strongest echo of each of the fan's cells, of 255."""
    echo = spoke.echo
    if echo.shape[0] == 0:
        return np.zeros(FAN_CELLS, np.uint8)
    if echo.shape[0] >= FAN_CELLS:
        at = np.arange(FAN_CELLS) * echo.shape[0] // FAN_CELLS
        pooled = np.maximum.reduceat(echo, at)
    else:
        pooled = echo[np.arange(FAN_CELLS) * echo.shape[0] // FAN_CELLS]
    return (pooled.astype(np.uint32) * 255 // spoke.full_scale).astype(np.uint8)
