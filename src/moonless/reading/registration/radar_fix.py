"""The radar-chart fix: where the boat is when the position receiver says nothing.

The last position that was put right is carried on by heading and last known speed; each turn the shore and the marks
are held against the chart from there, as the registration does, and pull it back.  What they pull by, turn after turn,
is speed and stream that were not known, and is learnt.  The sigma grows while nothing is seen that fixes it.

The carried place goes on as if it were still reported, with the offset that the receiver had: so tracks keep their
places, and nothing jumps when the receiver speaks again.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from moonless.boat.types import Boat
from moonless.frames import wrap_pi
from moonless.reading.own import OwnPlane
from moonless.reading.registration.registrar import Agreement, Registrar
from moonless.reading.situation import Held
from moonless.units import NS_PER_S

# How fast a position carried on by heading and old speed goes wrong, metres per square root of a second.
WALK_M = 2.0
# Without a fix from radar and chart for this long, nothing is said.
GIVE_UP_SIGMA_M = 60.0
# Good enough to rest echoes, hidden water and speed on: each axis, and confirmed by radar and chart so lately.  Own
# figures, no source: half a cable's tenth is what a skipper would steer by; eight turns is a point passed close by.
GOOD_SIGMA_M, GOOD_AGE_S = 20.0, 20.0
# So many sightings fix it, and so many of them must fit, for a turn to count as confirming.
CONFIRM_SIGHTINGS, CONFIRM_FITS = 3, 0.4
# Share of each turn's pull that is taken for a motion not known, and the most that it may come to.
DRIFT_SHARE, DRIFT_MOST = 0.15, 4.0


class CarriedOn:
    """The boat's place without a position receiver."""

    def __init__(self, boat: Boat, agreement: Agreement, own: OwnPlane, time_ns: int) -> None:
        self._boat = boat
        self.registrar = Registrar(boat)
        self.registrar.start_from(agreement, time_ns)
        # The last reported place, with the registration that went with it, goes on as if it were still reported.
        self.own = own
        self.time_ns = time_ns
        self.confirmed_ns = time_ns
        self.was_fixed = agreement.is_known
        self._offset = agreement.state[1:].copy()
        self._corrected_ns = time_ns
        self._drift = np.zeros(2)
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
        velocity = self._drift.copy()
        if course is not None:
            velocity += speed * np.array([math.sin(course), math.cos(course)])
        over_ground = float(np.hypot(*velocity))
        self.own = replace(
            self.own,
            east_m=self.own.east_m + float(velocity[0]) * elapsed,
            north_m=self.own.north_m + float(velocity[1]) * elapsed,
            heading_rad=heading_rad,
            cog_rad=math.atan2(velocity[0], velocity[1]) % math.tau if over_ground > 0.1 else course,
            sog=over_ground,
        )
        return self.own

    def correct(self, agreement: Agreement) -> None:
        """Take in a turn's registration: pull the place back by what its offset has grown, and learn from the pull."""
        pull = agreement.state[1:] - self._offset
        self.own = replace(self.own, east_m=self.own.east_m - float(pull[0]), north_m=self.own.north_m - float(pull[1]))
        self.registrar.move_offset(self._offset)
        elapsed = (self.time_ns - self._corrected_ns) / NS_PER_S
        self._corrected_ns = self.time_ns
        if agreement.n_used >= CONFIRM_SIGHTINGS and (agreement.fits is None or agreement.fits >= CONFIRM_FITS):
            self.confirmed_ns = self.time_ns
            if elapsed > 0.5:
                drift = self._drift - DRIFT_SHARE * pull / elapsed
                self._drift = drift * min(1.0, DRIFT_MOST / max(float(np.hypot(*drift)), 1e-9))

    @property
    def age_s(self) -> float:
        """Seconds since radar and chart last confirmed the place."""
        return (self.time_ns - self.confirmed_ns) / NS_PER_S

    def held(self) -> Held:
        """Return the carried place as it stands."""
        agreement = self.registrar.now
        lat, lon = self.own.frame.to_geographic(self.own.east_m, self.own.north_m)
        sigma, age = agreement.position_sigma_m, self.age_s
        good = self.was_fixed and agreement.worse_axis_m <= GOOD_SIGMA_M and age <= GOOD_AGE_S
        return Held(float(lat), float(lon), self.own.cog_rad, self.own.sog, self.own.velocity, sigma, age, good)
