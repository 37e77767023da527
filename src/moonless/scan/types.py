"""The polar scan and the spokes it is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.errors import InputError
from moonless.units import iso_utc

AntennaAngle = Literal["bow", "true"]
"""What a radar counts its antenna angle from; the boat file says which, "bow" unless told."""


@dataclass(frozen=True, slots=True, eq=False)
class Spoke:
    """One radial of video as it came off the wire, before it has a place in a scan."""

    time_ns: int  # Unix time of transmission, UTC; from the record where it carries one, else of receipt
    azimuth_start_rad: float  # antenna angle where the spoke begins, clockwise, from the bow or from north
    azimuth_end_rad: float  # where it ends; may be smaller than the start across zero
    first_cell_m: float  # slant range to the centre of cell 0
    cell_m: float  # slant range from one cell to the next
    echo: NDArray[np.uint8] | NDArray[np.uint16]  # (n_cell,), receiver counts
    full_scale: int  # largest count the encoding can carry
    sequence: int  # 32-bit message sequence number


@dataclass(frozen=True, slots=True)
class ScanErrors:
    """How exactly this source knows where a cell is; one standard deviation unless said otherwise.

    A CAT240 radar's are small.  A scan won another way is the same type with larger ones.
    """

    beam_rad: float  # half-power width of the antenna beam, full angle
    pulse_m: float  # slant range that one pulse covers, c tau / 2
    azimuth_sigma_rad: float  # antenna angle and bow alignment, after the boat file's correction
    range_sigma_m: float  # range offset of the whole picture
    time_sigma_s: float = 0.01
    pulse_interval_s: float | None = None  # from one pulse to the next, of the set; None: not known
    is_pictured: bool = False  # the counts are the colours of a screen


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Scan:
    """One turn of the antenna: row i looks at ``i * 2 pi / n_spoke + azimuth_offset_rad`` from the bow.

    ``echo[i, j]`` is the echo strength of spoke ``i`` at range cell ``j`` in receiver counts.  A row that was
    never received is zero and ``is_received`` is False there: unknown, not empty.  Own position and heading
    are per spoke and NaN where unknown.
    """

    echo: NDArray[np.uint8] | NDArray[np.uint16]  # (n_spoke, n_cell)
    is_received: NDArray[np.bool_]  # (n_spoke,)
    time_ns: NDArray[np.int64]  # (n_spoke,), Unix UTC; gaps interpolated
    lat_deg: NDArray[np.float64]  # (n_spoke,)
    lon_deg: NDArray[np.float64]  # (n_spoke,)
    heading_true_rad: NDArray[np.float64]  # (n_spoke,)
    pose_age: NDArray[np.float64]  # (n_spoke,) seconds from the nearest real sample of position or heading
    first_cell_m: float  # slant range to the centre of cell 0
    cell_m: float
    full_scale: int  # 15, 255, 65535 ...
    errors: ScanErrors
    number: int = 0  # counts turns since the source was opened
    azimuth_offset_rad: float = 0.0  # of row 0 from the bow, within half a row: where the radar's own spokes look
    covered: NDArray[np.bool_] | None = None  # (n_spoke, n_cell) left out of spokes that were sent: unknown, not empty

    def __post_init__(self) -> None:
        if self.echo.ndim != 2:
            raise InputError(f"echo must have shape (n_spoke, n_cell), not {self.echo.shape}")
        n_spoke = self.echo.shape[0]
        for name in ("is_received", "time_ns", "lat_deg", "lon_deg", "heading_true_rad", "pose_age"):
            got = getattr(self, name).shape
            if got != (n_spoke,):
                raise InputError(f"{name} must have shape ({n_spoke},), not {got}")
        # Shared by detector, recorder and screens; freezing turns a stray write into an immediate error.
        for name in ("echo", "is_received", "time_ns", "lat_deg", "lon_deg", "heading_true_rad", "pose_age"):
            getattr(self, name).flags.writeable = False

    def __repr__(self) -> str:
        missing = "" if self.is_whole else f", {self.received_fraction:.0%} received"
        return (
            f"Scan({iso_utc(self.end_ns)}, {self.n_spoke} spokes x {self.n_cell} cells of {self.cell_m:.2f} m, "
            f"to {self.max_range_m:.0f} m{missing})"
        )

    def shows(self, row: NDArray[np.intp], range_m: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Say of places, each a row and a slant range, whether the radar sent what it saw there."""
        seen: NDArray[np.bool_] = self.is_received[row] & (range_m >= self.first_cell_m) & (range_m <= self.max_range_m)
        if self.covered is not None:
            cell = np.rint((range_m - self.first_cell_m) / self.cell_m)
            seen &= ~self.covered[row, np.clip(cell, 0, self.n_cell - 1).astype(np.intp)]
        return seen

    @property
    def n_spoke(self) -> int:
        """Rows: spokes in a full turn."""
        return int(self.echo.shape[0])

    @property
    def n_cell(self) -> int:
        """Columns: range cells."""
        return int(self.echo.shape[1])

    @property
    def azimuth_rel_rad(self) -> NDArray[np.float64]:
        """(n_spoke,) clockwise from the bow, of each row's centre; the first may be just below zero."""
        return np.float64(self.azimuth_offset_rad) + np.arange(self.n_spoke) * np.float64(TAU / self.n_spoke)

    @property
    def range_m(self) -> NDArray[np.float64]:
        """(n_cell,) slant range to each cell's centre."""
        return np.float64(self.first_cell_m) + np.arange(self.n_cell, dtype=np.float64) * np.float64(self.cell_m)

    @property
    def max_range_m(self) -> float:
        """Slant range to the far edge of the last cell."""
        return self.first_cell_m + (self.n_cell - 0.5) * self.cell_m

    @property
    def received_fraction(self) -> float:
        """Share of the turn that was received; 1.0 when the scan is whole."""
        return float(np.mean(self.is_received))

    @property
    def is_whole(self) -> bool:
        """True when every row was received."""
        return bool(np.all(self.is_received))

    @property
    def end_ns(self) -> int:
        """When the turn was complete: the latest spoke's time."""
        return int(self.time_ns.max())
