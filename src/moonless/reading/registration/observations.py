"""What this turn's scan offers for holding radar and chart together: shore edges and single echoes, as vectors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.echo.types import EchoPicture
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Floats = NDArray[np.float64]

# Shore points kept a turn; neighbours tell the same.
MAX_SHORE_POINTS = 360
NEAR_M, NEAR_PULSES = 120.0, 3.0
LEAST_ROWS = 4
# Echo that begins at the boat's side and goes more than a quarter of the way round her is sea, not shore.
RING_STARTS_M, RING_TURN_RAD, RING_MARGIN_M = 60.0, 1.6, 40.0


@dataclass(frozen=True, slots=True, eq=False)
class Sightings:
    """Vectors from the boat by reported heading, and the reported place of the boat at each one's own time."""

    shore_rel: Floats  # (m, 2) near edge of extended echoes, east/north metres
    shore_own: Floats  # (m, 2)
    plot_rel: Floats  # (p, 2) single echoes
    plot_own: Floats  # (p, 2)
    plot_range_sigma: Floats  # (p,)
    plot_azimuth_sigma: Floats  # (p,) radians

    @property
    def n(self) -> int:
        """How many there are of both."""
        return len(self.shore_rel) + len(self.plot_rel)


def _vectors(reach: Floats, bearing: Floats) -> Floats:
    return np.column_stack([reach * np.sin(bearing), reach * np.cos(bearing)])


def _ring_m(picture: EchoPicture) -> float:
    """Return how far out the sea's own clutter round the boat reaches, where it was taken for an extended echo."""
    touching = [s for s in picture.shores if float(s.near_range_m.min()) < RING_STARTS_M]
    turned = sum(float(np.ptp(s.azimuth_rel_rad)) for s in touching)
    if turned < RING_TURN_RAD:
        return 0.0
    return max(float(np.percentile(s.far_range_m, 90.0)) for s in touching) + RING_MARGIN_M


def sight(
    scan: Scan, picture: EchoPicture, frame: LocalFrame, held_own: tuple[float, float] | None = None
) -> Sightings:
    """Return the sightings of one turn; those without a known heading or position are left out.

    ``held_own``: the boat's place carried on by the registration, used when the reported position is gone.
    """
    n_spoke = scan.echo.shape[0]
    if held_own is None:
        east, north = frame.to_plane(scan.lat_deg, scan.lon_deg)
    else:
        east, north = np.full(n_spoke, held_own[0]), np.full(n_spoke, held_own[1])
    # Round the boat lies the sea's own clutter, in one body with whatever it touches; and a stretch of a bearing or
    # two is a scrap, not a shore.
    least_m = max(NEAR_M, NEAR_PULSES * scan.errors.pulse_m, _ring_m(picture))
    shores = [s for s in picture.shores if len(s.near_range_m) >= LEAST_ROWS]
    azimuth = np.concatenate([s.azimuth_rel_rad for s in shores]) if shores else np.zeros(0)
    reach = np.concatenate([s.near_range_m for s in shores]) if shores else np.zeros(0)
    azimuth, reach = azimuth[reach > least_m], reach[reach > least_m]
    spoke = np.round(azimuth / TAU * n_spoke).astype(np.int64) % n_spoke
    shore_own = np.column_stack([east[spoke], north[spoke]])
    shore_rel = _vectors(reach, azimuth + scan.heading_true_rad[spoke])
    good = np.isfinite(shore_rel).all(axis=1) & np.isfinite(shore_own).all(axis=1)
    keep = np.flatnonzero(good)
    if keep.size > MAX_SHORE_POINTS:
        keep = keep[np.linspace(0, keep.size - 1, MAX_SHORE_POINTS).astype(np.int64)]
    plots = picture.plots
    if held_own is None:
        plot_east, plot_north = frame.to_plane(plots.own_lat_deg, plots.own_lon_deg)
    else:
        plot_east, plot_north = np.full(len(plots), held_own[0]), np.full(len(plots), held_own[1])
    plot_rel = _vectors(plots.range_m, plots.azimuth_rel_rad + plots.heading_true_rad)
    plot_own = np.column_stack([np.atleast_1d(plot_east), np.atleast_1d(plot_north)]).reshape(-1, 2)
    sound = np.isfinite(plot_rel).all(axis=1) & np.isfinite(plot_own).all(axis=1) & (plots.false_parent < 0)
    return Sightings(
        shore_rel[keep],
        shore_own[keep],
        plot_rel[sound],
        plot_own[sound],
        plots.range_sigma_m[sound],
        plots.azimuth_sigma_rad[sound],
    )
