"""Plots: the connected echoes of one scan."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.echo.raised_ground import RaisedGround

FalseCause = Literal["side lobe", "indirect", "multiple", "second trace", "interference"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Plots:
    """The plots of one scan as parallel arrays, all (n,).  Azimuths are from the bow, at each plot's own time."""

    time_ns: NDArray[np.int64]  # when the beam crossed the centroid
    range_m: NDArray[np.float64]  # slant range to the centroid
    azimuth_rel_rad: NDArray[np.float64]
    heading_true_rad: NDArray[np.float64]  # own heading at that time, NaN where unknown
    own_lat_deg: NDArray[np.float64]  # own position at that time
    own_lon_deg: NDArray[np.float64]
    range_sigma_m: NDArray[np.float64]  # of the centroid, from pulse, cell and strength; without own-pose errors
    azimuth_sigma_rad: NDArray[np.float64]
    range_extent_m: NDArray[np.float64]  # with the pulse taken out; 0: not resolved
    cross_extent_m: NDArray[np.float64]  # across the beam, with the beam taken out; 0: not resolved
    orientation_rel_rad: NDArray[np.float64]  # of the long axis from the bow, [0, pi); NaN where not resolved
    strength_db: NDArray[np.float64]  # peak above the local floor
    peak_count: NDArray[np.float64]  # receiver counts at the peak
    n_cells: NDArray[np.int64]
    is_clipped: NDArray[np.bool_]  # the peak sits at full scale: strength is a lower bound
    false_parent: NDArray[np.int64]  # index of the plot whose ghost this is, -1: none
    false_cause: tuple[FalseCause | None, ...] = ()
    # A piece that stands out of an extended echo; where nobody says so, none is.
    is_of_shore: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    # Plots with the same number hang together in one body of echo; -1: where nobody says so, or in what is too large
    # for a ship.
    body: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def __post_init__(self) -> None:
        if self.is_of_shore.shape != self.range_m.shape:
            object.__setattr__(self, "is_of_shore", np.zeros(self.range_m.shape, dtype=np.bool_))
        if self.body.shape != self.range_m.shape:
            object.__setattr__(self, "body", np.full(self.range_m.shape, -1, dtype=np.int64))

    def __len__(self) -> int:
        return int(self.range_m.shape[0])

    def __repr__(self) -> str:
        return f"Plots({len(self)})"


@dataclass(frozen=True, slots=True, eq=False)
class ShoreEcho:
    """One stretch of extended echo: land, a quay, a long bridge.  Its near edge, spoke by spoke."""

    azimuth_rel_rad: NDArray[np.float64]  # (m,)
    near_range_m: NDArray[np.float64]  # (m,)
    far_range_m: NDArray[np.float64]  # (m,)
    time_ns: NDArray[np.int64]  # (m,)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class EchoPicture:
    """All that the detector says of one scan.

    ``floor`` and ``threshold`` are in receiver counts, (n_spoke, n_cell) or broadcastable; ``db_per_count`` is the
    learnt amplitude curve (None: not learnt yet).  ``clutter_db`` is the local clutter level above receiver noise.
    """

    plots: Plots
    shores: tuple[ShoreEcho, ...]
    floor: NDArray[np.float32]
    threshold: NDArray[np.float32]
    clutter_db: NDArray[np.float32]
    db_per_count: float | None
    noise_counts: float
    spikes_removed: int = 0
    notes: tuple[str, ...] = field(default_factory=tuple)
    is_cut: bool = False  # the set sends next to nothing of noise and sea: what is left is there or is cut away
    db_per_count_sigma: float | None = None  # one standard deviation of ``db_per_count``; None with it
    # Decibels that ten times the count are worth: 20 of a linear receiver, 10 of a square law; None: of a logarithmic
    # one, where ``db_per_count`` holds everywhere.
    db_per_tenfold: float | None = None
    raised: RaisedGround | None = None  # ground that stands a little over the water; None: nobody watches it

    def over_noise_db(self, counts: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return dB over the mean noise of receiver counts, where the curve has been learnt (``db_per_count``)."""
        if self.db_per_tenfold is None:
            return np.asarray((counts - self.noise_counts) * (self.db_per_count or 0.0))
        # Count 0 is "less than half a count".
        return np.asarray(self.db_per_tenfold * np.log10(np.maximum(counts, 0.5) / max(self.noise_counts, 0.5)))

    def __repr__(self) -> str:
        return f"EchoPicture({len(self.plots)} plots, {len(self.shores)} shores)"
