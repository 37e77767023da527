"""Questions about the chart around the boat, in metres, with coverage told apart from emptiness."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from made_charts import ORIGIN, at, box, lonlat, make_index

from moonless.chart.around import boxes_about
from moonless.chart.index import CellIndex
from moonless.chart.library import Chart
from moonless.errors import InputError, NoCoverage
from moonless.frames import LocalFrame, destination, geodesic


def test_features_lie_where_they_were_put(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    (beacon,) = local.features("BCNLAT")
    assert (beacon.shape.x, beacon.shape.y) == pytest.approx((500.0, 0.0), abs=2e-3)
    assert beacon.name == "Channel Beacon 1"
    assert beacon.attributes["COLOUR"] == [4]
    assert beacon.number("HEIGHT") == 5.0
    assert beacon.number("VERLEN") is None
    assert beacon.scale == 12000 and beacon.cell == "cays"


def test_within_is_by_distance_nearest_first(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    found = local.within(500.0, 0.0, 301.0, "PILPNT", "BCNLAT", "BOYSPP")
    assert [f.object for f in found] == ["BCNLAT", "PILPNT"]
    assert local.within(500.0, 0.0, 299.0, "PILPNT") == ()


def test_in_region_touches(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    corridor = shapely.LineString([(-600, 0), (600, 0)]).buffer(50.0)
    assert {f.object for f in local.in_region(corridor, "BOYSPP", "BCNLAT", "PILPNT", "UWTROC")} == {"BOYSPP", "BCNLAT"}


def test_land_and_shoreline(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    assert local.land.geom_type == "MultiPolygon"
    assert shapely.area(local.land) == pytest.approx(1e6, rel=1e-5)
    # The cay's outline and the jetty.
    assert shapely.length(local.shoreline) == pytest.approx(4000.0 + 100.0, rel=1e-5)


def test_an_island_drawn_as_a_line_is_land() -> None:
    thin = lonlat(shapely.LineString([(-500.0, 0.0), (-400.0, 0.0)]))
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1}),
        ("LNDARE", thin, {}),
        ("LNDARE", box(0, 0, 100, 100), {}),
        ("LNDARE", at(500, 500), {}),
    ]
    local = Chart([make_index("A", 10_000, rows)]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1500.0)
    assert shapely.intersects_xy(local.land, -450.0, 1.0)
    assert shapely.area(local.land) == pytest.approx(10_000.0 + 800.0, rel=1e-3)
    assert [m.object for m in local.marks] == ["LNDARE"]
    # The feature itself stays the line it is on the chart.
    assert sorted(f.shape.geom_type for f in local.features("LNDARE")) == ["LineString", "Point", "Polygon"]


def test_lights_bear_the_name_of_what_carries_them(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    assert [(light.name, light.text) for light in local.lights] == [("Channel Beacon 1", "Fl G 4s 5m 4M")]


def test_structures_are_what_has_an_extent(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    assert [f.object for f in local.structures] == ["SLCONS"]


def test_no_chart_is_not_open_water(waters: Chart) -> None:
    with pytest.raises(NoCoverage, match=r"no chart covers any place within 1000 m of 21\.0"):
        waters.around(21.0, ORIGIN.lon_deg, 1000.0)
    edge = waters.around(*ORIGIN.to_geographic(3500.0, 0.0), 1000.0)  # type: ignore[call-arg]
    assert 0.1 < edge.covered_fraction(shapely.Point(0.0, 0.0).buffer(1000.0)) < 0.3
    assert edge.covered_fraction(shapely.Point(0.0, 0.0)) == 0.0
    assert edge.covered_fraction(shapely.LineString([(-1000.0, 0.0), (0.0, 0.0)])) == pytest.approx(0.5, abs=1e-3)


def test_an_empty_region_has_no_share(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    flat = shapely.Polygon([(0.0, 0.0), (100.0, 0.0), (50.0, 0.0)])
    for region in (shapely.Polygon(), flat):
        with pytest.raises(InputError, match="region that is empty"):
            local.covered_fraction(region)


@pytest.mark.parametrize("radius_m", [0.0, -5.0, math.nan])
def test_a_radius_must_be_positive(waters: Chart, radius_m: float) -> None:
    with pytest.raises(InputError, match="must be positive"):
        waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, radius_m)


def test_without_a_frame_the_origin_is_the_place_itself(waters: Chart) -> None:
    first = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 2000.0)
    assert first.frame == ORIGIN
    assert waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 2000.0) is first
    moved = waters.around(ORIGIN.lat_deg + 1e-4, ORIGIN.lon_deg, 2000.0)
    assert moved is not first
    assert moved.frame.lat_deg == ORIGIN.lat_deg + 1e-4


@settings(deadline=None)
@given(st.floats(-180.0, 180.0), st.lists(st.floats(0.0, 400.0), min_size=1, max_size=6))
def test_with_a_frame_the_asked_circle_is_always_inside(waters: Chart, course: float, legs: list[float]) -> None:
    lat, lon = ORIGIN.lat_deg, ORIGIN.lon_deg
    for leg in legs:
        lat, lon = destination(lat, lon, course, leg)
        local = waters.around(lat, lon, 1500.0, frame=ORIGIN)
        assert local.frame == ORIGIN
        moved_m, _ = geodesic(lat, lon, local.centre_lat_deg, local.centre_lon_deg)
        assert moved_m + 1500.0 <= local.radius_m + 1e-3


def test_with_a_frame_a_small_move_cuts_nothing_anew(waters: Chart) -> None:
    # A radius that no other test asks for: parts are kept by it, wherever they were cut.
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1510.0, frame=ORIGIN)
    assert waters.around(ORIGIN.lat_deg + 0.001, ORIGIN.lon_deg, 1510.0, frame=ORIGIN) is local
    assert waters.around(ORIGIN.lat_deg + 0.01, ORIGIN.lon_deg, 1510.0, frame=ORIGIN) is not local


def test_a_screen_asking_in_between_does_not_push_the_reading_out(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1400.0, frame=ORIGIN)
    waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 4000.0)
    waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1400.0)
    assert waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1400.0, frame=ORIGIN) is local


def test_another_frame_moves_the_metres_and_not_the_places(waters: Chart) -> None:
    local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    other = LocalFrame(*ORIGIN.to_geographic(1000.0, 200.0))
    moved = local.reframed(other)
    assert moved.frame == other
    assert local.reframed(ORIGIN) is local
    (one,), (two,) = local.features("BCNLAT"), moved.features("BCNLAT")
    assert (two.shape.x, two.shape.y) == pytest.approx((-500.0, -200.0), abs=0.05)
    places = [frame.to_geographic(f.shape.x, f.shape.y) for frame, f in ((ORIGIN, one), (other, two))]
    assert places[0] == pytest.approx(places[1], abs=1e-8)
    assert len(moved.marks) == len(local.marks)


@given(st.floats(-89.0, 89.0), st.floats(-180.0, 180.0), st.floats(10.0, 50_000.0), st.floats(0.0, 360.0))
def test_boxes_hold_the_circle(lat: float, lon: float, radius_m: float, bearing: float) -> None:
    other_lat, other_lon = destination(lat, lon, bearing, radius_m)
    other_lon = (other_lon + 180.0) % 360.0 - 180.0
    assert any(w <= other_lon <= e and s <= other_lat <= n for w, s, e, n in boxes_about(lat, lon, radius_m))


def test_boxes_across_the_date_line_are_two() -> None:
    boxes = boxes_about(0.0, 179.99, 5000.0)
    assert len(boxes) == 2
    assert all(-180.0 <= w < e <= 180.0 for w, _, e, _ in boxes)


def test_the_table_runs_in_parallel(waters: Chart) -> None:
    table = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0).table
    assert len(table.objects) == len(table.shapes) == len(table.features) > 15
    assert all(f.object == name for f, name in zip(table.features, table.objects, strict=True))
    assert not np.any(shapely.is_missing(table.shapes))


def test_a_chart_goes_on_across_the_date_line() -> None:
    def cell(name: str, west: float, east: float) -> CellIndex:
        middle = (west + east) / 2
        rows: list[tuple[str, Any, dict[str, Any]]] = [
            ("M_COVR", shapely.box(west, -0.05, east, 0.05), {"CATCOV": 1}),
            ("LNDARE", shapely.box(west + 0.01, -0.01, east - 0.01, 0.01), {}),
            ("PILPNT", shapely.Point(middle, 0.02), {}),
        ]
        return make_index(name, 10_000, rows)

    chart = Chart([cell("E", 179.95, 180.0), cell("W", -180.0, -179.95)])
    local = chart.around(0.0, 180.0, 4000.0)
    assert {c.name for c in local.cells} == {"E", "W"}
    # 0.025 degree of longitude on the equator: a * pi / 180 * 0.025 = 2783 m.
    assert sorted(m.east_m for m in local.marks) == pytest.approx([-2783.0, 2783.0], abs=1.0)
    assert len(local.land.geoms) == 2
    assert shapely.area(local.land) == pytest.approx(2 * 0.03 * 0.02 * 111_319.5 * 110_574.0, rel=1e-3)
    assert local.covered_fraction(shapely.Point(0.0, 0.0).buffer(2000.0)) == pytest.approx(1.0, abs=1e-6)
