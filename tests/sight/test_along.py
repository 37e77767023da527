"""Lines of sight along a way, against lines cut with drawn land by shapely."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from moonless.sight.along import sight_along
from moonless.sight.edges import edges_of


@pytest.mark.parametrize("seed", range(6))
def test_land_on_every_side_is_looked_at_from_every_place(seed: int) -> None:
    """Squares of land strewn about a way far from the origin: each bearing's first land by cutting the line of it."""
    rng = np.random.default_rng(seed)
    middle = rng.uniform(-9000.0, 9000.0, 2)
    corners_en = middle + rng.uniform(-2500.0, 2500.0, (14, 2))
    lands = [shapely.box(*at, *(at + rng.uniform(80.0, 300.0, 2))) for at in corners_en]
    lands = [land for land in lands if shapely.distance(land, shapely.LineString([middle, middle + 400.0])) > 60.0]
    # And walls that run from near by to far out of reach, one on each side.
    for way in range(4):
        c, s = round(math.cos(way * math.pi / 2)), round(math.sin(way * math.pi / 2))
        wall = np.array([(500.0, 800.0), (560.0, 800.0), (560.0, 6000.0), (500.0, 6000.0)])
        lands.append(shapely.Polygon(middle + wall @ np.array([[c, -s], [s, c]])))
    land = shapely.union_all(lands)
    places = middle + np.linspace(0.0, 400.0, 3)[:, None]
    for place, first in zip(places, sight_along(edges_of(land), places, 2000.0), strict=True):
        for row in range(0, len(first), 12):
            bearing = math.tau * row / len(first)
            ray = shapely.LineString([place, place + 2000.0 * np.array([math.sin(bearing), math.cos(bearing)])])
            met = shapely.intersection(ray, land)
            if met.is_empty:
                assert first[row] > 1990.0
            elif shapely.length(met) > 30.0:  # not a mere corner
                assert first[row] == pytest.approx(shapely.distance(shapely.Point(place), met), abs=8.0)
