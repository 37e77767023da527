"""Hidden water that binds the speed: only such as may hold a boat that can come out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, FakeChart
from reading_rasters import behind

from moonless.constants import TAU
from moonless.reading.chart_around import lay_out
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.visibility import hidden_boats, raster
from moonless.reading.visibility.raster import VisibilityRaster

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)
REACH_M = 2000.0


def _water(land: Any) -> VisibilityRaster:
    return behind(land, REACH_M)


def test_water_behind_a_point_binds_at_its_own_distance() -> None:
    found = hidden_boats.ahead(OWN, _water(shapely.box(-60.0, 500.0, 60.0, 600.0)))
    on_course = [h for h in found if h.off_course_rad == pytest.approx(0.0)]
    assert on_course[0].distance_m == pytest.approx(600.0, abs=REACH_M / N_CELLS)
    assert all(abs(h.off_course_rad) < np.radians(8.0) for h in found)


def test_a_strip_narrower_than_a_boat_does_not_bind() -> None:
    water = _water(shapely.MultiPolygon())
    water.cause[0, 50:200] = raster.CAUSE_OF["vessel"]  # one bearing: 2.2 m wide at 250 m, 8.7 m at 1 km
    found = hidden_boats.ahead(OWN, water)
    assert len(found) == 1
    step = TAU / N_BEARINGS
    assert found[0].distance_m * step == pytest.approx(hidden_boats.HOLDS_WIDTH_M, abs=0.1)
    water.cause[0, 100:] = 0
    assert hidden_boats.ahead(OWN, water) == []


def test_a_strip_shallower_than_a_boat_does_not_bind() -> None:
    water = _water(shapely.MultiPolygon())
    water.cause[-20:, 100:102] = raster.CAUSE_OF["land"]  # ten metres along the bearing
    assert hidden_boats.ahead(OWN, water) == []
    water.cause[-20:, 100:105] = raster.CAUSE_OF["land"]
    assert hidden_boats.ahead(OWN, water)


def test_a_pool_shut_in_by_land_does_not_bind_and_one_with_an_entrance_does() -> None:
    island = shapely.Point(0.0, 700.0).buffer(200.0)
    shut = island - shapely.Point(0.0, 700.0).buffer(100.0)
    near = {h.off_course_rad: h.distance_m for h in hidden_boats.ahead(OWN, _water(shut))}
    assert near[0.0] == pytest.approx(900.0, abs=6.0)  # past the island, not its pool
    entrance = shut - shapely.box(-40.0, 600.0, 40.0, 950.0)
    near = {h.off_course_rad: h.distance_m for h in hidden_boats.ahead(OWN, _water(entrance))}
    assert near[0.0] < 620.0


def test_an_island_across_north_shuts_its_pool_too() -> None:
    """The raster's first and last bearing touch: a pool that lies over both is one pool."""
    shut = shapely.Point(0.0, 700.0).buffer(200.0) - shapely.Point(0.0, 700.0).buffer(100.0)
    open_ = hidden_boats.with_a_way_out(_water(shut).land)
    cell = int(700.0 / REACH_M * N_CELLS)
    assert not open_[[0, 1, N_BEARINGS - 1], cell].any()
    assert open_[0, int(950.0 / REACH_M * N_CELLS)] and open_[0, 10]


@dataclass
class _Area:
    shape: Any
    deepest_m: float
    object: str = "DEPARE"
    name: str | None = None

    def number(self, attribute: str) -> float | None:
        return self.deepest_m if attribute == "DRVAL2" else self.deepest_m - 2.0


def test_a_flat_binds_only_while_it_is_afloat() -> None:
    land = shapely.box(-300.0, 500.0, 300.0, 520.0)
    flat = _Area(shapely.box(-1500.0, 510.0, 1500.0, 1990.0), 0.0)
    chart = FakeChart(land=shapely.MultiPolygon([land]), depths=(flat,))
    place = lay_out(chart, FRAME, 0.0, 0.0, REACH_M)
    assert place is not None
    water, flats = _water(land), hidden_boats.Flats()

    def nearest(tide_m: float | None) -> float:
        found = hidden_boats.ahead(OWN, water, flats.mask(place, tide_m, OWN, water))
        return min((h.distance_m for h in found if abs(h.off_course_rad) < 0.3), default=float("inf"))

    assert nearest(0.0) > 1900.0
    assert nearest(1.5) == pytest.approx(520.0, abs=6.0)
    # As soon as there are the three tenths of a metre that the smallest boat floats in: steps of tide only go up.
    assert nearest(0.31) == pytest.approx(520.0, abs=6.0)
    # Not known: a boat may be afloat there.
    assert nearest(None) == pytest.approx(520.0, abs=6.0)


def test_in_a_lagoon_shut_all_round_water_behind_an_islet_binds() -> None:
    """Nothing leads out of the picture, but the boat is in it too: who lies behind the islet can come to her."""
    # Not quite round the boat: no corner of it lies exactly on a bearing of the raster.
    lagoon = shapely.Point(3.1, 2.7).buffer(1900.0) - shapely.Point(3.1, 2.7).buffer(1200.0)
    islet = shapely.box(-60.0, 500.0, 60.0, 600.0)
    found = hidden_boats.ahead(OWN, _water(shapely.union_all([lagoon, islet])))
    ahead = [h.distance_m for h in found if h.off_course_rad == pytest.approx(0.0)]
    assert ahead == [pytest.approx(600.0, abs=REACH_M / N_CELLS)]
