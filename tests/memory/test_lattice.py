from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from moonless.memory.lattice import CELL_M, block_of, cells_within, corners_of, key_of, middle_of

GEOD = Geod(ellps="WGS84")
LAT = st.floats(-75.0, 75.0)
LON = st.floats(-179.9, 179.9)


@given(LAT, LON)
def test_a_place_lies_in_its_cell(lat: float, lon: float) -> None:
    key = int(key_of([lat], [lon])[0])
    ring = corners_of(key)
    west, south = ring[0]
    east, north = ring[2]
    assert south - 1e-9 <= lat <= north + 1e-9 and west - 1e-9 <= lon <= east + 1e-9
    assert int(key_of(*middle_of([key]))[0]) == key


@pytest.mark.parametrize("lat", [-60.0, -12.4, 0.0, 38.9, 57.5])
def test_cells_are_nearly_square_and_as_large_as_said(lat: float) -> None:
    ring = corners_of(int(key_of([lat], [10.0])[0]))
    _, _, wide = GEOD.inv(*ring[0], *ring[1])  # pyproj's geodesic on WGS 84
    _, _, high = GEOD.inv(*ring[1], *ring[2])
    # A degree of latitude is 110.6 km at the equator and 111.7 at the pole (WGS 84); a band is one degree wide.
    assert abs(high - CELL_M) < 0.8
    assert abs(wide / high - 1.0) < 0.025


@given(LAT, LON)
def test_the_cells_that_touch_one_are_those_next_to_it(lat: float, lon: float) -> None:
    key = key_of([lat], [lon])
    block = block_of(key)[:, 0]
    at_edge = math.floor((lat + 90.0) * 1000) % 1000 in (0, 999)  # of a degree, where columns do not stand in line
    assert key[0] in block and (len(np.unique(block)) == 9 or (at_edge and len(np.unique(block)) >= 7))
    # Middles of squares that touch lie within a square's diagonal; columns of two degrees do not stand in line.
    away = GEOD.inv(*([m] * 9 for m in reversed([float(x[0]) for x in middle_of(key)])), *reversed(middle_of(block)))[2]
    assert np.max(away) < 2.0 * CELL_M


def test_cells_of_a_box_are_those_whose_middles_lie_in_it() -> None:
    keys = cells_within(9.99, 57.0, 10.02, 57.012)
    lat, lon = middle_of(keys)
    rng = np.random.default_rng(1)
    tried = np.unique(key_of(rng.uniform(57.0, 57.012, 4000), rng.uniform(9.99, 10.02, 4000)))
    in_lat, in_lon = middle_of(tried)
    inside = tried[(in_lat >= 57.0) & (in_lat <= 57.012) & (in_lon >= 9.99) & (in_lon <= 10.02)]
    assert set(keys.tolist()) == set(inside.tolist()) and len(keys) > 100
    assert lat.min() >= 57.0 and lon.max() <= 10.02
