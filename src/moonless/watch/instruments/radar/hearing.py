"""Whether the radar hears: a receiver's own noise looks like a calm and empty sea, and is not.

A radar that hears shows it turn after turn, by the return of the sea about the boat, or by echoes that stand where they
stood a turn before.  One that has shown so much and at once shows none of it is deaf: nothing on the water does that.
What it does not show then is unknown, never empty.

Measured on the demo and three scenes, with `RadarUse.loss_db` at 160 as the deaf one: the near floor lies at 13 to
44 dB and 19 echoes or more stand, against 0.2 dB and none.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import EchoPicture
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Floats = NDArray[np.float64]

# The innermost share of the cells, where the sea's own return is looked for, and how far its floor must stand over the
# receiver's noise.  Own choice between the two figures above.
NEAR_SHARE = 1.0 / 6.0
RETURN_DB = 3.0
# Less of a turn than this proves nothing either way.
LEAST_RECEIVED = 0.5
# How far an echo that stands may seem to move between two turns: a boat at 20 knots runs 31 m in 3 s, the beam and the
# heading's error are the rest.
STANDS_M, STANDS_RAD = 50.0, math.radians(2.0)
# Over the ground: what is left of the beam, the heading and the position from one turn to the next; own figures.
ON_GROUND_M, ON_GROUND_RAD, LEAST_ON_GROUND = 15.0, math.radians(1.0), 2
# An echo tells by standing only where chance alone would have let it find another less often than every second time.
TELLS_BELOW = 0.5
# So many standing echoes, or so much return, that losing all of it in one turn is no weather.
AMPLE_ECHOES, AMPLE_DB = 3, 6.0
# Turns without any of it: where there was little before, and where there never was any, for one echo that stands shows
# itself in the third.
TURNS, TURNS_AT_FIRST = 2, 3


class RadarHearing:
    """Takes in pictures; says since when the radar has not shown that it hears."""

    def __init__(self) -> None:
        self.deaf_since_ns: int | None = None
        self._heard_ns: int | None = None
        self._was_ample = False
        self._n_nothing = 0
        self._n_standing = 0
        self._last: list[tuple[Floats, Floats]] | None = None
        self._origin: LocalFrame | None = None

    def measured_anew(self) -> None:
        """Forget where echoes stood: the set's metres are taken otherwise from here on, and none stands there again."""
        self._last = None

    def picture(self, scan: Scan, picture: EchoPicture) -> None:
        """Take in what a turn shows."""
        began_ns = int(scan.time_ns.min())
        near = picture.clutter_db[:, : max(1, round(scan.n_cell * NEAR_SHARE))]
        known = near[np.isfinite(near)]
        if known.size == 0 or scan.received_fraction < LEAST_RECEIVED:
            return  # what little was received proves nothing: another fault's matter
        return_db = float(np.median(known))
        can_stand = self._last is not None or self._heard_ns is None
        before, self._n_standing = self._n_standing, self._standing(picture, scan.max_range_m)
        hears = return_db > RETURN_DB or self._n_standing >= 2 or (self._n_standing >= 1 and before >= 1)
        if hears:
            self._heard_ns = scan.end_ns
            self._was_ample = return_db > AMPLE_DB or self._n_standing >= AMPLE_ECHOES
            self._n_nothing, self.deaf_since_ns = 0, None
            return
        if not can_stand:
            return  # there is nothing to hold this turn against
        self._n_nothing += 1
        turns = TURNS_AT_FIRST if self._heard_ns is None else TURNS
        # A set that cuts noise and sea away shows nothing where nothing is: how far it sees is then not known, no more.
        is_long = self._n_nothing >= turns and not picture.is_cut
        if self.deaf_since_ns is None and (self._was_ample or is_long):
            self.deaf_since_ns = self._heard_ns if self._heard_ns is not None else began_ns

    @property
    def is_shown(self) -> bool:
        """Whether the newest turn, or one before it, has shown that the radar hears."""
        return self._heard_ns is not None and self.deaf_since_ns is None and self._n_nothing < TURNS

    def _standing(self, picture: EchoPicture, reach_m: float) -> int:
        """Return how many more echoes stand where one stood a turn before than noise strewn about would make."""
        plots = picture.plots
        range_m, now = plots.range_m, []
        # From the bow and from north: a compass that leaps, or is lost, moves nothing on the water.
        for bearing in (plots.azimuth_rel_rad, plots.azimuth_rel_rad + plots.heading_true_rad):
            now.append((range_m * np.sin(bearing), range_m * np.cos(bearing)))
        # And over the ground, where the boat's own way is out of it: what is close by in a harbour shows there.
        own_e, own_n = self._ground(plots.own_lat_deg, plots.own_lon_deg)
        now.append((now[1][0] + own_e, now[1][1] + own_n))
        last, self._last = self._last, now
        if last is None or last[0][0].size == 0 or range_m.size == 0:
            return 0
        apart = [_nearest(here, there) for here, there in zip(now, last, strict=True)]
        near_m, close_m = STANDS_M + STANDS_RAD * range_m, ON_GROUND_M + ON_GROUND_RAD * range_m
        n_last = last[0][0].size
        about = _beyond_chance(np.fmin(apart[0], apart[1]) < near_m, 2 * n_last, near_m, range_m, reach_m)
        on_ground = _beyond_chance(apart[2] < close_m, n_last, close_m, range_m, reach_m)
        # One alone there may be what was left of the turn in which the radar went deaf.
        return max(about, on_ground if on_ground >= LEAST_ON_GROUND else 0)

    def _ground(self, lat_deg: Floats, lon_deg: Floats) -> tuple[Floats, Floats]:
        """Return where the boat was at each plot, metres east and north of where she was first known to be."""
        known = np.flatnonzero(np.isfinite(lat_deg) & np.isfinite(lon_deg))
        if self._origin is None and known.size:
            self._origin = LocalFrame(float(lat_deg[known[0]]), float(lon_deg[known[0]]))
        if self._origin is None:
            return np.full(lat_deg.shape, np.nan), np.full(lat_deg.shape, np.nan)
        return self._origin.to_plane(lat_deg, lon_deg)


def _nearest(here: tuple[Floats, Floats], there: tuple[Floats, Floats]) -> Floats:
    """Return (n,) how far each place (east, north) here lies from the nearest there; infinite where not known."""
    apart = np.hypot(here[0][:, None] - there[0][None, :], here[1][:, None] - there[1][None, :])
    return np.asarray(np.where(np.isfinite(apart), apart, np.inf).min(axis=1))


def _beyond_chance(found: NDArray[np.bool_], n_last: int, near_m: Floats, range_m: Floats, reach_m: float) -> int:
    """Return how many more of ``found`` (n,) there are than noise strewn evenly over range and bearing would make.

    ``n_last`` echoes were there to be found within ``near_m`` (n,).  An echo that would find one of them anyway, as
    each does in the sea about the boat, tells nothing and is not asked: a hundred such hid ten ships that stood.
    """
    share = np.minimum(near_m / reach_m * np.minimum(near_m / (math.pi * np.maximum(range_m, near_m)), 1.0), 1.0)
    chance = n_last * share
    asked = chance < TELLS_BELOW
    by_chance = float(chance[asked].sum())
    return max(round(np.count_nonzero(found & asked) - by_chance - 2.0 * math.sqrt(by_chance)), 0)
