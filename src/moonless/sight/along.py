"""Lines of sight from place to place along a way: what opens on the present course, a route, a planned leg."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.sight.lines import N_BEARINGS, first_land_m

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Corner:
    """A point of land past which the range of the first land leaps: it hides what lies behind it."""

    bearing_rad: float  # true
    distance_m: float


def sight_along(edges: Floats, places_en: Floats, reach_m: float) -> Iterator[Floats]:
    """Yield for each place (n, 2) the range of the first land on each of `N_BEARINGS` true bearings, inf for none.

    Only land that can be seen from somewhere on the way is looked at: the rest costs time at every place.
    """
    if not len(places_en):
        return
    west, south = places_en.min(axis=0) - reach_m
    east, north = places_en.max(axis=0) + reach_m
    near = (
        (np.maximum(edges[:, 0], edges[:, 2]) >= west)
        & (np.minimum(edges[:, 0], edges[:, 2]) <= east)
        & (np.maximum(edges[:, 1], edges[:, 3]) >= south)
        & (np.minimum(edges[:, 1], edges[:, 3]) <= north)
    )
    kept = np.ascontiguousarray(edges[near])
    for place in places_en:
        yield first_land_m(kept, float(place[0]), float(place[1]), reach_m)


def corners(first_m: Floats, reach_m: float, within_m: float, leap_m: float) -> list[Corner]:
    """Return the corners in one place's ranges of first land, as `sight_along` gives them, in order of bearing.

    ``within_m``: farther ones are left out; ``leap_m``: the least leap from the corner to what is seen past it.
    """
    beside = np.roll(first_m, -1)
    near = np.minimum(first_m, beside)
    far = np.minimum(np.maximum(first_m, beside), reach_m)
    found = []
    for k in np.flatnonzero((near < within_m) & (far - near > leap_m)).tolist():
        row = k + (0 if first_m[k] <= beside[k] else 1)
        found.append(Corner(row * TAU / N_BEARINGS, float(near[k])))
    return found
