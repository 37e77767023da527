"""Routes proposed over the made chart."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.errors import InputError
from moonless.frames import LocalFrame
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.propose import propose

FRAME = LocalFrame(10.0, -140.0)
NIGHT = Night(wanted_kn=8.0)
WHEN = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()


def _at(east: float, north: float) -> tuple[float, float]:
    lat, lon = FRAME.to_geographic(east, north)
    return float(lat), float(lon)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ((-1000.0, 600.0), (3000.0, 600.0)),  # the cay lies between
        ((0.0, -4500.0), (0.0, -1500.0)),  # the nursery lies between
        ((1000.0, -1300.0), (3000.0, -1300.0)),  # the low bridge lies between
        ((-4000.0, 0.0), (-1000.0, 0.0)),  # the rock lies between
    ],
)
def test_goes_round_and_is_not_refused(
    made_chart: Chart, boat: Boat, start: tuple[float, float], end: tuple[float, float]
) -> None:
    route = propose(made_chart, boat, _at(*start), _at(*end)).route
    assert make_plan(made_chart, route, boat, WHEN, NIGHT).refused == ()
    straight = shapely.distance(shapely.Point(start), shapely.Point(end))
    assert straight < route.length_m < 2.0 * straight


def test_keeps_off_where_there_is_room(made_chart: Chart, boat: Boat) -> None:
    route = propose(made_chart, boat, _at(-1500, 600), _at(3500, 600)).route
    track = shapely.LineString([FRAME.to_plane(w.lat_deg, w.lon_deg) for w in route.waypoints])
    assert shapely.distance(track, shapely.box(500, 300, 1500, 900)) > 0.5 * boat.skipper.keep_off_m


@pytest.mark.parametrize("course_deg", range(0, 360, 45))
def test_open_water_is_crossed_in_a_straight_line(made_chart: Chart, boat: Boat, course_deg: int) -> None:
    # 700 m each way from the middle of deep water: nothing to go round.
    east, north = 700.0 * math.sin(math.radians(course_deg)), 700.0 * math.cos(math.radians(course_deg))
    route = propose(made_chart, boat, _at(3500 - east, -4000 - north), _at(3500 + east, -4000 + north)).route
    assert len(route.waypoints) == 2
    assert route.length_m == pytest.approx(1400.0, abs=45.0)  # a square of its grid at either end


@pytest.mark.parametrize(("east", "inside_m"), [(-4200.0, 60.0), (0.0, 150.0), (2600.0, 200.0)])
def test_a_start_in_shoal_water_is_moved_to_the_nearest_deep(
    made_chart: Chart, boat: Boat, east: float, inside_m: float
) -> None:
    # The shoal's southern edge is at north 2000.
    route = propose(made_chart, boat, _at(east, 2000.0 + inside_m), _at(east, -500.0)).route
    first = FRAME.to_plane(route.waypoints[0].lat_deg, route.waypoints[0].lon_deg)
    assert first[0] == pytest.approx(east, abs=25.0)
    assert 2000.0 - 45.0 < first[1] < 2000.0


def test_draught_shuts_the_shoal(made_chart: Chart, boat: Boat) -> None:
    # A band of half a metre lies across the chart from north 2000 to 3000.
    with pytest.raises(InputError, match="no water deep enough on the chart joins"):
        propose(made_chart, boat, _at(0, 1500), _at(0, 4000))


def test_places_that_cannot_be_used(made_chart: Chart, boat: Boat) -> None:
    with pytest.raises(InputError, match="the end lies more than"):
        propose(made_chart, boat, _at(0, -500), _at(0, 2500))
    with pytest.raises(InputError, match="too far"):
        propose(made_chart, boat, _at(0, 0), (30.0, -140.0))


def test_a_low_boat_takes_the_bridge(made_chart: Chart, boat: Boat) -> None:
    low = replace(boat, air_draught_m=2.0)
    route = propose(made_chart, low, _at(1000, -1300), _at(3000, -1300)).route
    assert route.length_m == pytest.approx(2000, rel=0.02)


@pytest.mark.data
def test_through_a_real_harbour(data_dir: Path, boat: Boat, tmp_path: Path) -> None:
    chart = Chart.open([data_dir / "enc" / "US5MA11M"], cache_dir=tmp_path)
    shallow = replace(boat, draught_m=0.8, air_draught_m=3.0)
    route = propose(chart, shallow, (42.3345, -70.9670), (42.3590, -71.0400)).route
    plan = make_plan(chart, route, shallow, WHEN, NIGHT)
    met = [d.say for d in plan.refused if d.kind in ("land", "shoal", "structure", "dries")]
    assert met == []
