"""Lines of sight, the raster of hidden water, and its polygons."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, RADAR, FakeChart, make_boat
from reading_rasters import HERE, behind

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M, TAU
from moonless.reading.chart_around import lay_out
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.visibility.hidden_water import fill
from moonless.reading.visibility.raster import CAUSE_OF, blind_mask, horizon_mask
from moonless.reading.visibility.seeing import Curve
from moonless.sight.edges import edges_of
from moonless.sight.lines import crossings
from moonless.sight.shadow import shadow_if_higher


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
    r = np.linspace(0.0, 20_000.0, 2001)
    shut = horizon_mask(RADAR, r, 1.0)[0]
    # 4/3 earth, sum of both horizons (sqrt(2 k R h), elementary): 3 m and 1 m give 3.855 + 2.226 NM.
    assert r[np.argmax(shut)] / 1852.0 == pytest.approx(3.855 + 2.226, abs=0.01)


@pytest.mark.parametrize(
    ("heading_deg", "clear_deg", "shut_deg"),
    # A mast from 150 to 170 degrees clockwise from the bow: steering east it stands at 240 to 260, steering north-west
    # at 105 to 125 true.
    [
        (90.0, (230.0, 270.0, 100.0, 200.0), (241.0, 250.0, 259.0)),
        (315.0, (100.0, 130.0, 205.0), (106.0, 115.0, 124.0)),
    ],
)
def test_a_blind_sector_turns_with_the_boat(
    heading_deg: float, clear_deg: tuple[float, ...], shut_deg: tuple[float, ...]
) -> None:
    radar = replace(RADAR, blind_sectors_rad=((math.radians(150.0), math.radians(170.0)),))
    shut = blind_mask(radar, math.radians(heading_deg))[:, 0]
    row_deg = 360.0 / N_BEARINGS
    assert shut[[round(d / row_deg) for d in shut_deg]].all()
    assert not shut[[round(d / row_deg) for d in clear_deg]].any()
    assert shut.sum() * row_deg == pytest.approx(20.0, abs=2.0 * row_deg)


@pytest.mark.parametrize(("wall_m", "told_m"), [(4.0, 6.5), (7.0, 9.5), (12.0, 14.5)])
def test_land_hides_as_far_as_the_ray_over_it_were_it_a_sigma_higher(wall_m: float, told_m: float) -> None:
    """A wall 600 m off to the east, an antenna at 12 m, boats 1 m high; 2.5 m more is a sigma of what stands on land.

    By the straight ray over the top with the earth's fall (4/3 earth, 8 495 km), elementary; walls are not charted with
    a height, so the told shadow ends where one of ``told_m`` would end.
    """
    boat = make_boat(radar=replace(RADAR, height_m=12.0))
    cell = 3000.0 / N_CELLS
    r = (np.arange(N_CELLS) + 0.5) * cell

    def over(top_m: float) -> np.ndarray:
        at = r[80]
        return 12.0 + (top_m - 12.0) * r / at + r * (r - at) / (2.0 * 8.495e6)

    shadow = np.zeros((N_BEARINGS, N_CELLS))
    shadow[N_BEARINGS // 4, 81:] = np.maximum(over(wall_m), 0.0)[81:]
    place = lay_out(FakeChart(), FRAME, 0.0, 0.0, 3000.0)
    assert place is not None
    curve = Curve(np.array([1.0, 3000.0]), np.array([1e9, 1e9]), 20.0)
    water = fill(boat, HERE, place, 3000.0, [], shadow, curve, 0.0, None, None, 1.0)
    by_land = water.cause == CAUSE_OF["land"]
    assert (by_land[N_BEARINGS // 4] == ((over(told_m) > 1.0) & (np.arange(N_CELLS) > 80))).all()
    assert by_land.sum() == by_land[N_BEARINGS // 4].sum() > 0


def test_the_horizon_of_the_sea_is_no_land_that_could_be_higher() -> None:
    """Past its own horizon (7.1 km at 3 m, 4/3 earth) low water is out of sight; that edge stands no higher."""
    twice_earth_m = 2.0 * EFFECTIVE_EARTH_RADIUS_M
    r = (np.arange(N_CELLS) + 0.5) * 30.0
    edge = int(math.sqrt(3.0 * twice_earth_m) / 30.0)
    shadow = np.zeros((1, N_CELLS))
    past = r[edge + 1 :]
    shadow[0, edge + 1 :] = 3.0 + past * (past / twice_earth_m - 3.0 / r[edge] - r[edge] / twice_earth_m)
    np.testing.assert_allclose(shadow_if_higher(shadow, 30.0, 3.0, 2.5), shadow, atol=1e-3)
