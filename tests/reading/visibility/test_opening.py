"""What hidden water opens next, and where the corners are that hide it."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, FakeChart, make_boat, make_situation
from reading_rasters import behind

from moonless.reading.judge import Judge
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.opening import next_opening
from moonless.sight.along import corners, sight_along
from moonless.sight.edges import edges_of

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)


def test_the_water_behind_a_point_opens_where_geometry_says() -> None:
    # A point to port, its tip 400 m ahead and 100 m off; behind it water that opens as the tip is passed.
    edges = edges_of(shapely.box(-2000.0, 300.0, -100.0, 400.0))
    judge = Judge(make_boat(), FakeChart(land=shapely.MultiPolygon([shapely.box(-2000.0, 300.0, -100.0, 400.0)])))
    reading = judge.read(make_situation())
    assert reading.hidden is not None
    water = behind(shapely.box(-2000.0, 300.0, -100.0, 400.0), 3000.0)
    opening = next_opening(edges, OWN, water, 3000.0)
    assert opening is not None
    # Seen from the course at the moment of opening, the line to the water clears the tip.
    at = np.array([0.0, 5.0 * opening.in_s])
    line = shapely.LineString([at, (opening.east_m, opening.north_m)])
    assert not line.intersects(shapely.box(-2000.0, 300.0, -102.0, 400.0))
    assert opening.distance_then_m == pytest.approx(line.length, abs=1.0)


def test_on_a_route_the_water_round_the_turn_opens() -> None:
    # A wall to starboard ends 500 m ahead; the route turns east past its end, and only there what it hides opens close
    # on the new leg's bow.  On the present course, north, the same water opens too, but not ahead of the new leg.
    wall = shapely.box(100.0, -2000.0, 140.0, 500.0)
    edges = edges_of(wall)
    water = behind(wall, 3000.0)
    held = next_opening(edges, OWN, water, 3000.0)
    way = np.array([[0.0, 600.0], [3000.0, 600.0]])
    turned = next_opening(edges, OWN, water, 3000.0, way)
    assert held is not None and turned is not None
    # Westward there is nothing hidden, so a route that turns away from the wall opens nothing forward of its beam once
    # it has turned; before that it opens what the course opens.
    away = next_opening(edges, OWN, water, 3000.0, np.array([[0.0, 50.0], [-3000.0, 50.0]]))
    assert away is None
    # Forward of the beam on her leg at that moment: north up to the turn, east after it.
    run_m = turned.in_s * 5.0
    course = 0.0 if run_m < 600.0 else np.pi / 2
    assert np.cos(turned.bearing_then_rad - course) > 0.0
    # The line of sight from the route's own place clears the wall.
    at = np.array([max(0.0, run_m - 600.0), min(run_m, 600.0)])
    sight = shapely.LineString([at, (turned.east_m, turned.north_m)])
    assert not shapely.intersects(sight, wall.buffer(-1.0))


def test_a_corner_is_where_the_range_of_land_leaps() -> None:
    edges = edges_of(shapely.box(-2000.0, 300.0, -100.0, 400.0))
    [first] = sight_along(edges, np.array([[0.0, 0.0]]), 3000.0)
    found = corners(first, 3000.0, 1200.0, 250.0)
    # The end of the wall is seen from its near corner to its far one at (-100, 400): there the range leaps.  A bearing
    # is half a degree, which is 15 m along a face seen so aslant.
    assert [corner.distance_m for corner in found] == pytest.approx([np.hypot(100.0, 400.0)], abs=15.0)
    assert math.degrees(found[0].bearing_rad) == pytest.approx(346.0, abs=0.5)
    # Nothing of an edge out of reach is looked at.
    [none] = sight_along(edges, np.array([[0.0, 9000.0]]), 3000.0)
    assert np.isinf(none).all()
