"""The radar-chart fix: where the boat is when the position receiver says nothing.

The last position that was put right is carried on by heading and last known speed; each turn the shore and the marks
are held against the chart from there, as the registration does, and pull it back.  The sigma grows while nothing is
seen that fixes it.
"""

from __future__ import annotations

import math
from dataclasses import replace

from moonless.boat.types import Boat
from moonless.frames import wrap_pi
from moonless.reading.own import OwnPlane
from moonless.reading.register import Agreement, Registrar
from moonless.units import NS_PER_S

# How fast a position carried on by heading and old speed goes wrong, metres per square root of a second.
WALK_M = 2.0
# Without a fix from radar and chart for this long, nothing is said.
GIVE_UP_SIGMA_M = 60.0


class CarriedOn:
    """The boat's place without a position receiver."""

    def __init__(self, boat: Boat, agreement: Agreement, own: OwnPlane, time_ns: int) -> None:
        self._boat = boat
        self.registrar = Registrar(boat)
        self.registrar.start_from(agreement, time_ns)
        # The last reported place, with the registration that went with it, goes on as if it were still reported.
        self.own = own
        self.time_ns = time_ns
        self._speed = own.sog or 0.0
        heading, course = own.heading_rad, own.cog_rad
        self._leeway = (
            wrap_pi(course - heading) if heading is not None and course is not None and self._speed > 1.0 else 0.0
        )

    def carry(self, time_ns: int, heading_rad: float | None, sog: float | None) -> OwnPlane:
        """Move the carried place to a time and return it."""
        elapsed = max(0.0, (time_ns - self.time_ns) / NS_PER_S)
        self.time_ns = max(time_ns, self.time_ns)
        speed = self._speed if sog is None else sog
        course = None if heading_rad is None else heading_rad + self._leeway
        if course is None:
            course = self.own.cog_rad
        step = 0.0 if course is None else speed * elapsed
        self.own = replace(
            self.own,
            east_m=self.own.east_m + step * math.sin(course or 0.0),
            north_m=self.own.north_m + step * math.cos(course or 0.0),
            heading_rad=heading_rad,
            cog_rad=course,
            sog=speed,
        )
        return self.own
