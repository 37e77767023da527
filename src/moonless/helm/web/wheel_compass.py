"""What the compass at the wheel shows on true courses where the boat is: orders are true, a wheel's compass is not."""

from __future__ import annotations

import math
from collections.abc import Sequence

from moonless.boat.compass import compass_deg
from moonless.helm.bodies.sheet import CompassBody
from moonless.reading.types import Own
from moonless.wire.magnetic import variation_at

STEP_DEG = 10


class WheelCompass:
    """Rules: without a position nothing is said; without a deviation card what it shows is the magnetic course."""

    def __init__(self, card: Sequence[Sequence[float]] = ()) -> None:
        self._card = tuple((float(heading), float(deviation)) for heading, deviation in card)
        self._variation_rad: float | None = None
        self._body: CompassBody | None = None

    def body(self, own: Own, time_ns: int) -> CompassBody | None:
        """Return what it shows there and then; None: no position."""
        if own.lat is None or own.lon is None:
            return None
        variation_rad = variation_at(own.lat, own.lon, time_ns)
        if variation_rad != self._variation_rad:
            self._variation_rad = variation_rad
            shows = [(true - math.degrees(variation_rad)) % 360.0 for true in range(0, 360, STEP_DEG)]
            if self._card:
                shows = [compass_deg(self._card, magnetic) for magnetic in shows]
            self._body = {"by": "card" if self._card else "variation", "shows_deg": [round(one, 1) for one in shows]}
        return self._body
