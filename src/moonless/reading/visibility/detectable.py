"""Where an echo could be seen at all: what the tracker asks before it holds a miss against a track."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.reading.line import HiddenBy
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.raster import CAUSE_OF, CAUSES, VisibilityRaster
from moonless.scan.types import Scan

Floats = NDArray[np.float64]
InView = Callable[[Floats, Floats], Floats]
"""(east, north) of places in the plane -> how likely a thing there is in view."""

# What is behind land may still show over a low point, the edge of hidden water is not known to a metre, and a thing out
# of sight for minutes is not where it was reckoned to be: a track in there is remembered for a minute or two, not for
# ever.  0.15 takes a sure track to an even chance in about forty turns.  Our own figures, no source.
IN_VIEW_HIDDEN = 0.15
# Charts draw land where there is none any more, miss what is low, and lie beside the true coast; and a radar sees over
# low land.  Where echoes come out of hidden water as densely as out of open water at the same ranges, nothing is hidden
# there, and a thing in it is missed like any other.
IN_VIEW_ANSWERING = 0.8
ANSWER_KEEP = 0.8  # of what was learnt, from turn to turn
ANSWER_TURNS = 12  # places at the same range that each echo is held against
ANSWER_LEAST = 0.05  # share of these in hidden water, below which nothing is learnt
# In clutter strong things are still seen, weak ones are not.
IN_VIEW_CLUTTER = 0.6
# Hidden behind a vessel moves with her; the last turn's is not where this turn's is.
_STAYS_HIDDEN: tuple[HiddenBy, ...] = ("land", "blind sector", "near range", "horizon")
_IS_HIDDEN = np.isin(np.arange(len(CAUSES) + 1), [CAUSE_OF[by] for by in _STAYS_HIDDEN])


class HiddenAnswers:
    """Learns how much of what the chart hides answers all the same."""

    def __init__(self) -> None:
        self.answers = 0.0  # 0: as little as land hides; 1: as much as open water

    @property
    def in_view(self) -> float:
        """How likely a thing in hidden water is seen."""
        return IN_VIEW_HIDDEN + (IN_VIEW_ANSWERING - IN_VIEW_HIDDEN) * self.answers

    def learn(self, own: OwnPlane, raster: VisibilityRaster | None, east_m: Floats, north_m: Floats) -> None:
        """Take in where a turn's plots lie, (n,) each, in the plane of ``own``; ``raster`` as last filled."""
        sound = np.isfinite(east_m) & np.isfinite(north_m)
        if raster is None or not np.any(sound):
            return
        east, north = east_m[sound] - own.east_m, north_m[sound] - own.north_m
        turn = np.arange(ANSWER_TURNS)[:, None] * (TAU / ANSWER_TURNS)
        c, s = np.cos(turn), np.sin(turn)
        # The first row is the plots themselves, the others the same ranges on other bearings.
        at_east, at_north = own.east_m + east * c + north * s, own.north_m + north * c - east * s
        share = _IS_HIDDEN[raster.cause_at(at_east, at_north)].mean(axis=1)
        elsewhere = float(share[1:].mean())
        if elsewhere >= ANSWER_LEAST:
            now = min(float(share[0]) / elsewhere, 1.0)
            self.answers = ANSWER_KEEP * self.answers + (1.0 - ANSWER_KEEP) * now


def detectability(
    scan: Scan,
    own: OwnPlane,
    heading_bias: float = 0.0,
    raster: VisibilityRaster | None = None,
    in_hidden: float = IN_VIEW_HIDDEN,
) -> InView:
    """Return how likely a thing is in view, from a boat put right; ``heading_bias``: taken out of the scan's headings.

    It is 0 along rows that were not received and beyond or inside the picture; ``in_hidden`` in water that the last
    turn's raster, of the same plane, has hidden (None: not known, taken as in view); else 1.
    """
    heading = _mean_heading(scan) - heading_bias
    weight = np.where(_IS_HIDDEN, in_hidden, 1.0)
    weight[CAUSE_OF["clutter"]] = IN_VIEW_CLUTTER

    def in_view(east_m: Floats, north_m: Floats) -> Floats:
        east, north = np.asarray(east_m) - own.east_m, np.asarray(north_m) - own.north_m
        away = np.hypot(east, north)
        row = np.rint((np.arctan2(east, north) - heading - scan.azimuth_offset_rad) * scan.n_spoke / TAU).astype(int)
        seen = scan.shows(np.mod(row, scan.n_spoke), away)
        likely = np.asarray(seen, dtype=np.float64)
        if raster is not None:
            before, after = raster.causes_beside(east_m, north_m)
            likely *= np.minimum(weight[before], weight[after])
        return likely

    return in_view


def _mean_heading(scan: Scan) -> float:
    """Return the mean heading of a turn; 0 where nothing was received."""
    if not scan.is_received.any():
        return 0.0
    # Headings round north must not be averaged as numbers; the middle row's own is near enough where they wrap.
    if np.ptp(scan.heading_true_rad) > np.pi:
        return float(scan.heading_true_rad[scan.n_spoke // 2])
    return float(scan.heading_true_rad[np.isfinite(scan.heading_true_rad)].mean())
