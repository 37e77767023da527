"""What a recorded polar set is once read: turns of the antenna, each an array with its angles and times."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.errors import SourceError
from moonless.scan.pose import PoseSample
from moonless.scan.types import AntennaAngle, Spoke

# More than these in a spoke or a turn is no radar's; a damaged size must not fill the memory.
MOST_CELLS, MOST_SPOKES = 65_536, 65_536


class PolarError(SourceError):
    """A polar set that cannot be read: which file, what it holds, what it should."""

    def __init__(self, path: Path, problem: str) -> None:
        self.path = path
        super().__init__(f"{path}: {problem}")


@dataclass(frozen=True, slots=True, eq=False)
class PolarTurn:
    """Some spokes in the order they were sent: a turn, a part of one, or a sector.

    ``echo`` (n_spoke, n_cell) uint8 or uint16, receiver counts; ``azimuth_rad`` (n_spoke,), the middle of each spoke,
    clockwise, from the bow or from north as the run says; ``time_ns`` (n_spoke,), Unix UTC.
    """

    echo: NDArray[np.uint8] | NDArray[np.uint16]
    azimuth_rad: NDArray[np.float64]
    time_ns: NDArray[np.int64]
    first_cell_m: float  # slant range to the centre of cell 0
    cell_m: float
    full_scale: int
    poses: tuple[PoseSample, ...] = ()  # the boat's, as far as the file knows it


@dataclass(frozen=True, slots=True, eq=False)
class PolarRun:
    """A set, opened.  ``turns`` reads one after the other, so a long run needs no more memory than a turn."""

    path: Path
    format: str  # in words
    angle_from: AntennaAngle
    sources: tuple[Path, ...]
    notes: list[str] = field(default_factory=list)  # what had to be assumed
    _read: Callable[[PolarRun], Iterator[PolarTurn]] = field(kw_only=True)

    def turns(self) -> Iterator[PolarTurn]:
        """Yield the turns.  Raises PolarError where a file cannot be used."""
        for turn in self._read(self):
            yield checked(self.path, turn)

    def spokes(self) -> Iterator[Spoke]:
        """Yield the spokes of all turns, as they would have come off a wire."""
        for _, spokes in self.turns_and_spokes():
            yield from spokes

    def turns_and_spokes(self) -> Iterator[tuple[PolarTurn, list[Spoke]]]:
        """Yield each turn with its spokes."""
        sequence = 0
        for turn in self.turns():
            half = 0.5 * spacing(turn.azimuth_rad)
            yield (
                turn,
                [
                    Spoke(
                        int(turn.time_ns[i]),
                        (float(turn.azimuth_rad[i]) - half) % TAU,
                        (float(turn.azimuth_rad[i]) + half) % TAU,
                        turn.first_cell_m,
                        turn.cell_m,
                        turn.echo[i],
                        turn.full_scale,
                        sequence + i,
                    )
                    for i in range(turn.echo.shape[0])
                ],
            )
            sequence += turn.echo.shape[0]


def spacing(azimuth_rad: NDArray[np.float64]) -> float:
    """Return the usual angle from one spoke to the next, not signed; a degree where there is but one."""
    if azimuth_rad.size < 2:
        return math.radians(1.0)
    step = np.abs(np.mod(np.diff(azimuth_rad) + math.pi, TAU) - math.pi)
    return float(np.median(step[step > 0.0])) if np.any(step > 0.0) else math.radians(1.0)


def checked(path: Path, turn: PolarTurn) -> PolarTurn:
    """Return a turn that can be what it says.  Raises PolarError."""
    if turn.echo.ndim != 2 or turn.echo.dtype not in (np.uint8, np.uint16):
        raise PolarError(path, f"video of shape {turn.echo.shape} and type {turn.echo.dtype}; 2-D counts are needed")
    n_spoke, n_cell = turn.echo.shape
    if not (1 <= n_spoke <= MOST_SPOKES and 2 <= n_cell <= MOST_CELLS):
        raise PolarError(path, f"{n_spoke} spokes of {n_cell} cells cannot be a turn of a radar")
    for name in ("azimuth_rad", "time_ns"):
        got = getattr(turn, name).shape
        if got != (n_spoke,):
            raise PolarError(path, f"{name} has shape {got} for {n_spoke} spokes")
    if not np.all(np.isfinite(turn.azimuth_rad)):
        raise PolarError(path, "an antenna angle is not a number")
    if not (math.isfinite(turn.cell_m) and 0.01 <= turn.cell_m <= 10_000.0):
        raise PolarError(path, f"cells of {turn.cell_m:g} m; 0.01 to 10000 m can be")
    if not (math.isfinite(turn.first_cell_m) and abs(turn.first_cell_m) <= 200_000.0):
        raise PolarError(path, f"the first cell at {turn.first_cell_m:g} m")
    if turn.full_scale < 1 or int(turn.echo.max()) > turn.full_scale:
        raise PolarError(path, f"counts to {int(turn.echo.max())}, more than the {turn.full_scale} said to be the most")
    return turn
