"""Lines of sight, the raster of hidden water, and its polygons."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from reading_rasters import behind

from moonless.constants import TAU
from moonless.reading.polar import N_BEARINGS
from moonless.reading.visibility.raster import CAUSE_OF, horizon_mask
from moonless.sight.edges import edges_of
from moonless.sight.lines import crossings


def test_a_ray_through_land_goes_in_and_out() -> None:
    land = shapely.Point(300.0, 400.0).buffer(150.0)
    ranges, counts = crossings(edges_of(land), 0.0, 0.0, 5000.0)
    assert set(np.unique(counts)) <= {0, 2}
    row = round(math.atan2(300.0, 400.0) / TAU * N_BEARINGS)
    assert ranges[row, 0] == pytest.approx(350.0, abs=2.0) and ranges[row, 1] == pytest.approx(650.0, abs=2.0)


@pytest.mark.parametrize("n_side", [32, 24, 720, 45])
@pytest.mark.parametrize("start_deg", [0.0, 180.0, 0.5, -90.0])
def test_a_corner_that_lies_on_a_bearing_is_met_once(n_side: int, start_deg: float) -> None:
    """Corners dead north, south and on every half degree: round the boat each ray goes in once and out once."""
    a = np.radians(start_deg + np.arange(n_side) * 360.0 / n_side)
    for turned in (a, a[::-1]):
        ring = np.column_stack([np.sin(turned), np.cos(turned)])
        lagoon = shapely.Polygon(1900.0 * ring, [1200.0 * ring])
        _, counts = crossings(edges_of(lagoon), 0.0, 0.0, 5000.0)
        assert (counts == 2).all()


def test_raster_holds_land_and_what_is_behind_it() -> None:
    water = behind(shapely.box(-200.0, 500.0, 200.0, 700.0), 2000.0)
    north = water.range_m
    assert not water.land[0][north < 495].any() and water.land[0][(north > 505) & (north < 695)].all()
    assert (water.cause[0][north > 705] == CAUSE_OF["land"]).all()
    assert (water.cause[N_BEARINGS // 2] == 0).all()


def test_horizon_of_a_small_craft() -> None:
    from reading_fakes import RADAR

    r = np.linspace(0.0, 20_000.0, 2001)
    shut = horizon_mask(RADAR, r, 1.0)[0]
    # 4/3 earth, sum of both horizons (sqrt(2 k R h), elementary): 3 m and 1 m give 3.855 + 2.226 NM.
    assert r[np.argmax(shut)] / 1852.0 == pytest.approx(3.855 + 2.226, abs=0.01)
