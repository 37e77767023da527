"""A bearing bias by one vessel alone: told only where her own doubt leaves it sure, and never surer than she is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from reading_coasts import NONE
from reading_fakes import FRAME, T0, S, make_boat

from moonless.reading.own import OwnPlane
from moonless.reading.registration.bearing_bias import BearingSearch
from moonless.reading.registration.observations import Sightings
from moonless.track.types import AisTarget

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 2.0)


def _told(range_m: float, bias_deg: float, turns: int = 60) -> list[tuple[float, float] | None]:
    """A vessel that crosses ahead at a range; her plots stand ``bias_deg`` clockwise of where she says she is."""
    search = BearingSearch(make_boat())
    out = []
    for k in range(turns):
        east, now = -60.0 + 2.0 * 2.5 * k, T0 + round(2.5 * k * S)
        north = math.sqrt(range_m**2 - east**2)
        bearing = math.atan2(east, north) + math.radians(bias_deg)
        plot = np.array([[range_m * math.sin(bearing), range_m * math.cos(bearing)]])
        lat, lon = FRAME.to_geographic(east, north)
        her = AisTarget(1, now, float(lat), float(lon), math.radians(90.0), 2.0)
        seen = Sightings(NONE, NONE, plot, np.zeros((1, 2)), np.full(1, 5.0), np.full(1, 0.005))
        got = search.update(now, seen, OWN, None, (her,))
        out.append(None if got is None else (math.degrees(got.bias), math.degrees(got.sigma)))
    return out


@pytest.mark.parametrize("bias_deg", [-4.0, 2.5])
def test_a_far_vessel_tells_it_and_her_own_errors_stay_in_the_doubt(bias_deg: float) -> None:
    """Half a degree that is hers alone, and 20 m of her place over 4 km, 0.3 degrees: 0.58 at the least, always."""
    told = [one for one in _told(4000.0, bias_deg) if one is not None]
    assert len(told) > 20
    bias, sigma = told[-1]
    assert bias == pytest.approx(bias_deg, abs=0.4)
    assert all(0.55 < s < 2.0 for _, s in told)
    assert sigma < 1.2


def test_a_near_vessel_tells_nothing() -> None:
    # 20 m of her place at 600 m are 1.9 degrees: more than what may be spoken of, 1.5.
    assert _told(600.0, 3.0) == [None] * 60
