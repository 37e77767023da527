"""The boat in the plane of the tracks, as reported and as put right by the registration."""

from __future__ import annotations

import math
from dataclasses import dataclass

from moonless.frames import LocalFrame
from moonless.reading.situation import Situation


@dataclass(frozen=True, slots=True)
class OwnPlane:
    """Own position in metres, heading and motion; None: not known."""

    frame: LocalFrame
    east_m: float
    north_m: float
    heading_rad: float | None  # true
    cog_rad: float | None
    sog: float | None

    @property
    def velocity(self) -> tuple[float, float]:
        """East and north m/s over the ground; nought where the motion is not known."""
        if self.cog_rad is None or self.sog is None:
            return 0.0, 0.0
        return self.sog * math.sin(self.cog_rad), self.sog * math.cos(self.cog_rad)

    @property
    def ahead_rad(self) -> float | None:
        """The way the boat goes: course over ground when under way, else heading."""
        if self.cog_rad is not None and self.sog is not None and self.sog > 0.5:
            return self.cog_rad
        return self.heading_rad if self.heading_rad is not None else self.cog_rad


def own_in_plane(situation: Situation) -> OwnPlane | None:
    """Return the boat in the frame of the tracks; None when position is unknown or withdrawn by a fault."""
    own = situation.own
    withdrawn = {fault.what for fault in situation.faults if fault.state != "disagrees"}
    if situation.held is not None:
        withdrawn.discard("position")
    if own.lat_deg is None or own.lon_deg is None or "position" in withdrawn or "clock" in withdrawn:
        return None
    frame = situation.frame or LocalFrame(own.lat_deg, own.lon_deg)
    east, north = frame.to_plane(own.lat_deg, own.lon_deg)
    heading = None if "heading" in withdrawn else own.heading_true_rad
    return OwnPlane(frame, float(east), float(north), heading, own.cog_rad, own.sog)
