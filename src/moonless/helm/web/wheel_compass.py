"""What the compass at the wheel shows on true courses where the boat is: orders are true, a wheel's compass is not."""

from __future__ import annotations

from collections.abc import Sequence

from moonless.boat.compass import compass_deg
from moonless.helm.bodies.sheet import CompassBody
from moonless.reading.types import Own
from moonless.wire.magnetic import decimal_year, variation_deg

STEP_DEG = 10
# Variation changes by less than a tenth of a degree within a tenth of a degree of place, the poles left aside.
_PLACES = 10.0


class WheelCompass:
    """Rules: without a position nothing is said; without a deviation card what it shows is the magnetic course."""

    def __init__(self, card: Sequence[Sequence[float]] = ()) -> None:
        self._card = tuple((float(heading), float(deviation)) for heading, deviation in card)
        self._at: tuple[float, float, float] | None = None
        self._body: CompassBody | None = None

    def body(self, own: Own, time_ns: int) -> CompassBody | None:
        """Return what it shows there and then; None: no position."""
        if own.lat is None or own.lon is None:
            return None
        at = (round(own.lat * _PLACES) / _PLACES, round(own.lon * _PLACES) / _PLACES, round(decimal_year(time_ns), 2))
        if at != self._at or self._body is None:
            self._at, variation = at, variation_deg(*at)
            shows = [(true - variation) % 360.0 for true in range(0, 360, STEP_DEG)]
            if self._card:
                shows = [compass_deg(self._card, magnetic) for magnetic in shows]
            self._body = {"by": "card" if self._card else "variation", "shows_deg": [round(one, 1) for one in shows]}
        return self._body
