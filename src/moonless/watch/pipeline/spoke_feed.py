"""Spokes as they come, for screens that draw before the turn is whole."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

import numpy as np

from moonless.boat.types import RadarSet
from moonless.constants import TAU
from moonless.scan.pose import PoseSeries
from moonless.scan.types import Spoke
from moonless.watch.types import SpokesNow

# Widths are given in whole steps of the antenna's encoder: so many are averaged.  Own figures.
WIDTHS, LEAST_SPOKES, MOST_SPOKES = 16, 16, 16_384


class SpokeFeed:
    """Lays spokes on true bearings where the heading is known, and hands them on; ``on_spokes`` None: to nobody."""

    def __init__(self, on_spokes: Callable[[SpokesNow], None] | None) -> None:
        self._on_spokes = on_spokes
        self.is_quiet = False  # nothing is handed on: what comes in is read, and not shown
        # Before the first turn is whole: the widths of its spokes, and how many of them would make a turn.
        self._widths: deque[float] = deque(maxlen=4 * WIDTHS)
        self._by_width: int | None = None

    @property
    def is_heard(self) -> bool:
        """Whether there is anybody to hand spokes to now."""
        return self._on_spokes is not None and not self.is_quiet

    def send(self, spokes: list[Spoke], n_spoke: int | None, poses: PoseSeries, radar: RadarSet) -> None:
        """Hand spokes on; ``n_spoke``: how many make a turn, None before that is learnt."""
        if self._on_spokes is None or self.is_quiet:
            return
        n_spoke = n_spoke or self._count_by_width(spokes)
        if n_spoke is None:
            return  # how wide a spoke is drawn is not known yet
        first = spokes[0]
        same = [s for s in spokes if s.cell_m == first.cell_m and s.first_cell_m == first.first_cell_m]
        time_ns = np.array([s.time_ns for s in same], dtype=np.int64)
        at = poses.at(time_ns)
        azimuth = np.array([_middle(s) for s in same]) + radar.bow_offset_rad
        from_bow = radar.angle_from == "bow"
        if from_bow and bool(np.isfinite(at.heading_true_rad).all()):
            azimuth, from_bow = azimuth + at.heading_true_rad, False
        echo = np.zeros((len(same), max(s.echo.shape[0] for s in same)), dtype=np.uint8)
        for row, spoke in enumerate(same):
            scaled = spoke.echo if spoke.full_scale == 255 else spoke.echo.astype(np.uint32) * 255 // spoke.full_scale
            echo[row, : spoke.echo.shape[0]] = scaled
        self._on_spokes(
            SpokesNow(
                azimuth_rad=np.mod(azimuth, TAU),
                from_bow=from_bow,
                echo=echo,
                n_spoke=n_spoke,
                first_cell_m=first.first_cell_m + radar.range_offset_m,
                cell_m=first.cell_m,
                lat_deg=at.lat_deg,
                lon_deg=at.lon_deg,
                time_ns=time_ns,
                received_s=0.0,
            )
        )

    def _count_by_width(self, spokes: list[Spoke]) -> int | None:
        """Return how many spokes make a turn, by their own widths: the first turn is drawn before it is whole.

        None before there are enough, or when spokes have no width.
        """
        if self._by_width is None:
            for spoke in spokes:
                self._widths.append(float(np.mod(spoke.azimuth_end_rad - spoke.azimuth_start_rad, TAU)))
            mean = sum(self._widths) / len(self._widths)
            if len(self._widths) < WIDTHS or not TAU / MOST_SPOKES < mean < TAU / LEAST_SPOKES:
                return None
            self._by_width = round(TAU / mean)
        return self._by_width


def _middle(spoke: Spoke) -> float:
    return spoke.azimuth_start_rad + 0.5 * float(np.mod(spoke.azimuth_end_rad - spoke.azimuth_start_rad, TAU))
