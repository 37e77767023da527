"""What the radar model says should be seen from here: marks, the edge of land, and the shadow behind it.

The scan is asked for on true bearings (a pose heading north, no blind sectors), so that its rows are those of `polar`;
the boat's blind sectors are put in where they belong.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from moonless.boat.types import Boat
from moonless.constants import TAU
from moonless.radar.expected import expected_marks, expected_scan
from moonless.radar.link.budget import scale_of
from moonless.radar.types import PointTarget, RadarPose, ScanGrid, Weather
from moonless.radar.world import World
from moonless.reading.chart_around import Place
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.situation import Situation

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# The marks are asked anew when the boat has moved this far; their chances change no faster.
MARKS_AGAIN_M = 15.0
# Echo as strong as this share of the mark's own, at its place, and it cannot be told apart.
MERGED_SHARE = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """The model's answers for one turn; arrays over the marks of the place, NaN where not asked (ashore, too far)."""

    mark_snr: Floats  # (k,) mean single-pulse signal to noise, linear
    mark_p: Floats  # (k,) chance of an echo this turn, at the radar's own figures
    mark_merged: Bools  # (k,) land or a structure echoes in the same cell
    edge: Floats  # (m, 2) near edges of land and structures as the radar would draw them
    edge_normal: Floats  # (m, 2) unit
    shadow_height_m: Floats  # (N_BEARINGS, N_CELLS)
    solid_p: Floats  # (N_BEARINGS, N_CELLS) chance of an echo of land, structures and marks


class Model:
    """Asks the radar model; its world is prepared once for each stretch of chart."""

    def __init__(self, boat: Boat) -> None:
        self._boat = boat
        self._radar_all_round = replace(boat.radar, blind_sectors_rad=())
        self._place: Place | None = None
        self._world: World | None = None
        self._targets: tuple[PointTarget, ...] = ()
        self._asked: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._marks_at: tuple[float, float, float, float] | None = None
        self._marks: tuple[Floats, Floats, Bools] | None = None

    def look(self, own: OwnPlane, place: Place, reach_m: float, weather: Weather) -> Outlook:
        """Return what should be seen from the boat (put right already)."""
        if place is not self._place:
            self._world = World.from_chart(place.chart)
            self._place = place
            self._targets = self._world.mark_targets
            self._marks_at = None
        assert self._world is not None
        scale = scale_of(reach_m)
        cell = reach_m / N_CELLS
        grid = ScanGrid(N_BEARINGS, N_CELLS, 0.5 * cell, cell)
        north_up = RadarPose(own.east_m, own.north_m, 0.0)
        scan = expected_scan(self._world, self._radar_all_round, north_up, grid, scale, weather)
        p = np.asarray(scan.p_detect, dtype=np.float64)
        edge, normal = near_edges(p, cell, own.east_m, own.north_m)
        snr, chance, merged = self._look_for_marks(own, place, reach_m, scale, weather)
        return Outlook(snr, chance, merged, edge, normal, np.asarray(scan.shadow_height_m, dtype=np.float64), p)

    def _look_for_marks(
        self, own: OwnPlane, place: Place, reach_m: float, scale: float, weather: Weather
    ) -> tuple[Floats, Floats, Bools]:
        heading = own.heading_rad or 0.0
        at = (own.east_m, own.north_m, heading, reach_m)
        if self._marks is not None and self._marks_at is not None:
            moved = np.hypot(at[0] - self._marks_at[0], at[1] - self._marks_at[1])
            turned = abs(heading - self._marks_at[2]) if self._boat.radar.blind_sectors_rad else 0.0
            if moved < MARKS_AGAIN_M and turned < 0.05 and at[3] == self._marks_at[3]:
                return self._marks
        n = len(place.marks)
        snr, chance, merged = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n, dtype=np.bool_)
        away = np.hypot(place.mark_en[:, 0] - own.east_m, place.mark_en[:, 1] - own.north_m)
        asked = np.flatnonzero(~place.mark_on_land & (away < reach_m)) if n else np.zeros(0, dtype=np.int64)
        if asked.size:
            pose = RadarPose(own.east_m, own.north_m, heading)
            targets = [self._targets[i] for i in asked]
            assert self._world is not None
            for one in expected_marks(self._world, self._boat.radar, pose, scale, targets, weather, reach_m):
                k = int(asked[one.index])
                snr[k], chance[k] = one.snr, one.p_detect
                merged[k] = one.beside_snr > MERGED_SHARE * max(one.snr, 1.0)
        self._marks_at = at
        self._marks = (snr, chance, merged)
        return self._marks


def weather_of(situation: Situation) -> Weather:
    """Return the sea and wind that the radar model is asked with."""
    if situation.wind_speed is None:
        return Weather()
    # A small boat's waters are sheltered: half a metre at 10 m/s, by the square.  Own choice, no source; what the sea
    # really returns is read from the picture.
    wave = min(2.0, 0.005 * situation.wind_speed**2 + 0.05)
    return Weather(wave, situation.wind_from_rad or 0.0, situation.wind_speed)


def near_edges(p_detect: Floats, cell_m: float, east_m: float, north_m: float) -> tuple[Floats, Floats]:
    """Return where echo begins along each bearing, as points (m, 2), and unit normals of the line they make.

    ``p_detect`` (N_BEARINGS, N_CELLS).  Places where the points make no line (single marks, the sides of headlands)
    are left out.
    """
    shown = p_detect > 0.5
    rows, columns = np.nonzero(shown[:, 1:] & ~shown[:, :-1])
    if rows.size < 6:
        return np.zeros((0, 2)), np.zeros((0, 2))
    before, after = p_detect[rows, columns], p_detect[rows, columns + 1]
    part = (0.5 - before) / np.maximum(after - before, 1e-6)
    reach = (columns + 0.5 + part) * cell_m
    bearing = rows * TAU / N_BEARINGS
    points = np.column_stack([reach * np.sin(bearing), reach * np.cos(bearing)])
    tree = cKDTree(points)
    distance, index = tree.query(points, k=5)
    span = 4.0 * np.maximum(reach * TAU / N_BEARINGS, cell_m)
    near = distance <= span[:, None]
    weight = near.astype(np.float64)
    around = points[index]
    total = weight.sum(axis=1)
    mean = (weight[..., None] * around).sum(axis=1) / total[:, None]
    off = (around - mean[:, None, :]) * weight[..., None]
    xx, yy, xy = (off[..., 0] ** 2).sum(1), (off[..., 1] ** 2).sum(1), (off[..., 0] * off[..., 1]).sum(1)
    half, root = (xx + yy) / 2.0, np.sqrt(((xx - yy) / 2.0) ** 2 + xy**2)
    # The long axis of the little cloud is the line; its normal lies across.
    axis = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    normal = np.column_stack([-np.sin(axis), np.cos(axis)])
    line = (total >= 4) & (half - root < 0.15 * (half + root))
    return points[line] + np.array([east_m, north_m]), normal[line]
