"""Visibility: one raster of what is hidden around the boat, how far small things are seen, and what opens next.

It is asked after identification, for vessels and islets hide water too; all that ask for hidden water afterwards ask
the raster of its `View`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.constants import TAU
from moonless.echo.types import Plots
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, bearing_index
from moonless.reading.registration.stage import Placed
from moonless.reading.situation import Situation
from moonless.reading.visibility import hidden_boats, hidden_water
from moonless.reading.visibility.detectable import HiddenAnswers, InView, detectability
from moonless.reading.visibility.hidden_boats import HiddenAhead
from moonless.reading.visibility.hidden_water import Obstruction
from moonless.reading.visibility.opening import Opening, next_opening
from moonless.reading.visibility.raster import VisibilityRaster
from moonless.reading.visibility.seeing import (
    CROSS_SECTIONS_M2,
    Curve,
    RadarPerformance,
    clutter_at,
    curve_for,
    seeing_line,
)
from moonless.scan.types import Scan
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# Half the width of the way ahead whose seeing line limits the speed.
WAY_RAD = math.radians(6.0)
# Less of the picture than this with a floor learnt: nothing can be said of how far things are seen.
RECEIVED_SHARE = 0.5
# What opens is looked for every few seconds: it changes slowly, and costs a dozen sweeps.
OPENING_EVERY_S, OPENING_REACH_M = 5.0, 4000.0


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """What is seen from the boat, and what is not."""

    raster: VisibilityRaster | None  # None: no chart or no heading, and nothing is known of what is hidden
    seeing_line_m: Floats | None  # (N_BEARINGS,) cut off by land and hidden water; None: no picture
    seeing_m: tuple[tuple[float, float | None], ...]  # cross-section and how far it is held
    seen_ahead_m: float | None  # the seeing line on the way, before land cuts it
    hidden_ahead: tuple[HiddenAhead, ...]  # that a boat may come out of
    opening: Opening | None


class VisibilityStage:
    """Keeps what is laid out for a stretch of chart, and what opens next."""

    def __init__(self, boat: Boat) -> None:
        self._boat = boat
        self._flats = hidden_boats.Flats()
        self._answers = HiddenAnswers()
        self.begin_again()

    def begin_again(self) -> None:
        """Forget what opens and what was hidden."""
        self._opening: Opening | None = None
        self._opening_ns = 0
        self._raster: VisibilityRaster | None = None

    def withdraw(self) -> None:
        """Say that nothing is known now of what is hidden."""
        self._raster = None

    def in_view(self, scan: Scan, plots: Plots, own: OwnPlane, heading_bias: float) -> InView:
        """Return how likely a thing at each place is in view this turn, by the water hidden as of the last one.

        ``own``: put right; ``heading_bias``: what is taken out of the scan's headings and the plots'.
        """
        bearing = plots.heading_true_rad + plots.azimuth_rel_rad - heading_bias
        east, north = own.east_m + plots.range_m * np.sin(bearing), own.north_m + plots.range_m * np.cos(bearing)
        if self._raster is not None:
            self._raster = self._raster.in_frame(own.frame)
        self._answers.learn(own, self._raster, east, north)
        return detectability(scan, own, heading_bias, self._raster, self._answers.in_view)

    def look(self, placed: Placed, obstructions: Sequence[Obstruction], performance: RadarPerformance) -> View:
        """Return what is seen and hidden this turn."""
        own, place, situation = placed.own, placed.place, placed.situation
        skipper, wave_m = self._boat.skipper, placed.weather.wave_height_m
        curve = curve_for(self._boat.radar, placed.reach_m, skipper.smallest_height_m, wave_m)
        raster = None
        if place is not None and own.heading_rad is not None and not situation.targets_only:
            pulse_m = placed.link.pulse_m if situation.scan is None else situation.scan.errors.pulse_m
            shadow = None if placed.outlook is None else placed.outlook.shadow_height_m
            raster = hidden_water.fill(
                self._boat, own, place, placed.reach_m, obstructions, shadow, curve, performance.offset_db,
                situation.scan, situation.picture, pulse_m,
            )  # fmt: skip
        self._raster = raster
        line = self._seeing_line(situation, own, curve, performance)
        return View(
            raster=raster,
            seeing_line_m=None if line is None else cut_off(line, raster, placed.reach_m),
            seeing_m=self._seeing(situation, own, curve, performance),
            seen_ahead_m=_seen_ahead(own, line),
            hidden_ahead=self._hidden_ahead(placed, raster),
            opening=self._next_opening(placed, raster),
        )

    def _seeing_line(
        self, situation: Situation, own: OwnPlane, curve: Curve, performance: RadarPerformance
    ) -> Floats | None:
        """Return the seeing line on each true bearing, before land cuts it; None without a picture."""
        scan, picture = situation.scan, situation.picture
        if scan is None or picture is None or own.heading_rad is None or not situation.is_hearing_shown:
            return None
        clutter = clutter_at(
            picture.clutter_db, scan.first_cell_m, scan.cell_m, own.heading_rad, curve.range_m, N_BEARINGS
        )
        smallest_m2, least_m = self._boat.skipper.smallest_rcs_m2, self._boat.radar.min_range_m
        return seeing_line(curve, smallest_m2, performance.cautious_db, clutter, least_m)

    def _seeing(
        self, situation: Situation, own: OwnPlane, curve: Curve, performance: RadarPerformance
    ) -> tuple[tuple[float, float | None], ...]:
        """Return how far each size is held; none where nothing was received or it cannot be laid out."""
        picture = situation.picture
        if situation.scan is None or picture is None or own.heading_rad is None or not situation.is_hearing_shown:
            return ()
        if not np.isfinite(picture.clutter_db).mean() > RECEIVED_SHARE:
            return ()
        least = self._boat.radar.min_range_m
        return tuple((size, curve.held_to_m(size, performance.cautious_db, least)) for size in CROSS_SECTIONS_M2)

    def _hidden_ahead(self, placed: Placed, raster: VisibilityRaster | None) -> tuple[HiddenAhead, ...]:
        """Return the hidden water ahead, the picture's own edge too: a shorter scale must not let her go faster."""
        edge = () if placed.situation.scan is None else (HiddenAhead(placed.reach_m, 0.0, is_edge=True),)
        if raster is None or placed.place is None:
            return edge
        flats = self._flats.mask(placed.place, placed.situation.tide_m, placed.own, raster)
        return (*hidden_boats.ahead(placed.own, raster, flats), *edge)

    def _next_opening(self, placed: Placed, raster: VisibilityRaster | None) -> Opening | None:
        """Return what opens next, as last looked for; None where nothing is known of hidden raster."""
        if placed.place is None or raster is None:
            return None
        time_ns = placed.situation.time_ns
        if not 0 <= time_ns - self._opening_ns < OPENING_EVERY_S * NS_PER_S:
            reach = min(placed.reach_m, OPENING_REACH_M)
            way = _way(placed.situation, placed.own)
            self._opening = next_opening(placed.place.land_edges, placed.own, raster, reach, way)
            self._opening_ns = time_ns
        return self._opening


def _seen_ahead(own: OwnPlane, line: Floats | None) -> float | None:
    """Return the seeing line on the way, the median over a few degrees; None where either is not known."""
    way = own.ahead_rad
    if line is None or way is None:
        return None
    middle, span = bearing_index(way), round(WAY_RAD / TAU * N_BEARINGS)
    return float(np.median(line[(middle + np.arange(-span, span + 1)) % N_BEARINGS]))


def _way(situation: Situation, own: OwnPlane) -> Floats | None:
    """Return the turns of the route still ahead in the plane; None while no route is followed."""
    if not situation.way:
        return None
    lat, lon = np.array(situation.way, dtype=np.float64).T
    return np.column_stack(own.frame.to_plane(lat, lon))


def cut_off(line: Floats, raster: VisibilityRaster | None, reach_m: float) -> Floats:
    """Return the seeing line cut off where land begins or water is hidden by land, a vessel or a blind sector."""
    cut = np.minimum(line, reach_m)
    if raster is None:
        return cut
    shut = raster.land | ((raster.cause >= 1) & (raster.cause <= 3))
    first = np.where(shut.any(axis=1), np.argmax(shut, axis=1) * raster.cell_m, np.inf)
    return np.minimum(cut, np.maximum(first, raster.cell_m))
