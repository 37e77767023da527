"""Correction and tracking: plots to tracks over the ground, in the one frame that registration has put right."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from moonless.boat.types import Boat
from moonless.frames import LocalFrame
from moonless.reading.judge import Judge
from moonless.reading.own import own_in_plane
from moonless.reading.situation import OwnState, Situation
from moonless.track.settings import PoseErrors
from moonless.track.tracker import Tracker
from moonless.track.types import Former, RadarTarget, Track

# The tracks' plane is laid anew when the boat is this far from where it touches the earth, and the tracks are carried
# over: distances across it are still true to some parts in a million.
ANCHOR_M = 20_000.0


class Tracking:
    """Keeps the tracker and its plane; what radar and chart say of the reported pose goes into the measurement."""

    def __init__(self, boat: Boat, judge: Judge) -> None:
        self._boat = boat
        self._judge = judge
        self._tracker: Tracker | None = None
        self._former: tuple[Former, ...] = ()  # of a watch that ended; their numbers are taken up

    @property
    def frame(self) -> LocalFrame | None:
        """The plane of the tracks; None before there are any."""
        return None if self._tracker is None else self._tracker.frame

    def take_up(self, former: tuple[Former, ...]) -> None:
        """Go on for a watch that ended, with the numbers of its tracks."""
        self._former = former
        if self._tracker is not None:
            self._tracker.take_up(former)

    def forget(self) -> None:
        """Begin anew: what was tracked is not where it seems."""
        self._tracker = None

    def begin_again(self) -> None:
        """The time line has moved: what was hidden before says nothing either."""
        self._tracker = None
        self._judge.forget_view()

    def lay_plane(self, own: OwnState) -> None:
        """See that there is a tracker, in a plane that touches the earth near the boat."""
        if own.lat_deg is None or own.lon_deg is None or own.heading_true_rad is None:
            return
        if self._tracker is None:
            frame = LocalFrame(own.lat_deg, own.lon_deg)
            self._tracker = Tracker(frame, pose_errors=_pose_errors(self._boat), former=self._former)
        elif np.hypot(*self._tracker.frame.to_plane(own.lat_deg, own.lon_deg)) > ANCHOR_M:
            self._tracker.reframe(LocalFrame(own.lat_deg, own.lon_deg))

    def update(self, situation: Situation, others: Iterable[RadarTarget] = ()) -> tuple[Track, ...]:
        """Return the tracks after this turn, in the true frame; none while echoes cannot be placed on the earth.

        ``others``: targets of other radars, to be joined with the tracks they belong to.
        """
        scan, picture, tracker = situation.scan, situation.picture, self._tracker
        own = own_in_plane(situation)
        if scan is None or picture is None or tracker is None or own is None or own.heading_rad is None:
            return ()
        before = self._judge.before_tracking(situation)
        if before is None:
            return ()
        return tracker.update(
            situation.time_ns, picture.plots, scan.errors,
            ais=situation.ais, others=others, p_visible=before.in_view, correction=before.correction,
        )  # fmt: skip


def _pose_errors(boat: Boat) -> PoseErrors:
    return PoseErrors(
        heading_sigma_rad=boat.heading_sigma_rad,
        position_sigma_m=boat.position_sigma_m,
        antenna_height_m=boat.radar.height_m,
    )
