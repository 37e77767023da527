"""The demo's story: a run that could be made, and that holds what it promises."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ElementTree
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
import shapely

from moonless.boat.file import read_boat
from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Strip
from moonless.scene.file import demo_folder
from moonless.scene.motion import ScriptedMotion
from moonless.scene.story import demo_boat, open_demo
from moonless.sky.ephemeris import sky_state
from moonless.units import ns_to_utc

GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def story() -> Any:
    scene = open_demo()
    own = ScriptedMotion(scene.own, None)
    times = np.arange(0.0, own.end_s, 1.0)
    return scene, own, times, [ScriptedMotion(one.script, own.end_s) for one in scene.objects]


def test_takes_about_twenty_minutes(story: Any) -> None:
    _, own, _, _ = story
    assert 12.0 <= own.end_s / 60.0 <= 22.5


def test_lies_in_the_future_and_after_moonset(story: Any) -> None:
    scene, own, _, _ = story
    assert ns_to_utc(scene.start_ns) > datetime(2027, 1, 1, tzinfo=UTC)
    start_s = scene.start_ns / 1e9
    state = sky_state(
        scene.frame.lat_deg, scene.frame.lon_deg, np.array([start_s - 1800.0, start_s, start_s + own.end_s])
    )
    # The moon was up half an hour before and is down for all of the run; the sun is far below.
    assert state.moon_altitude_rad[0] > 0.0 > state.moon_altitude_rad[1] > state.moon_altitude_rad[2]
    assert np.all(np.degrees(state.sun_altitude_rad) < -18.0)


def test_own_track_keeps_to_water_with_room_under_the_keel(story: Any, local: Any) -> None:
    scene, own, times, _ = story
    track = own.at(times)
    half = scene.boat.beam_m / 2.0
    line = shapely.LineString(np.column_stack([track.east_m, track.north_m]))
    strip = Strip(line, half + 2.0, half + 2.0, half + 2.0, half + 2.0)
    held = StripDangers(ChartDangers(local), strip)
    least = held.least_depth_m()
    # Chart datum, without the tide there is.
    assert least is not None and least >= scene.boat.draught_m + 2.0 * scene.boat.skipper.depth_margin_m
    assert not shapely.intersects(local.land, line)
    met = {danger.kind for danger in held.refusals(Needs.of(scene.boat, 0.0))}
    assert not met & {"land", "shoal", "dries", "unsurveyed", "chart ends", "rock", "wreck", "obstruction"}


def test_passes_the_bridge_through_its_opening_and_below_it(story: Any, local: Any) -> None:
    scene, own, times, _ = story
    track = own.at(times)
    line = shapely.LineString(np.column_stack([track.east_m, track.north_m]))
    (bridge,) = local.bridges
    crossed = [span for span in bridge.spans if span.shape.intersects(line)]
    assert [span.opens for span in crossed] == [True]
    assert crossed[0].clearance_m is not None
    assert scene.boat.air_draught_m + scene.tide_m < crossed[0].clearance_m


def test_traffic_keeps_off_the_land(story: Any, local: Any) -> None:
    scene, _, times, movers = story
    for one, mover in zip(scene.objects, movers, strict=True):
        at = mover.at(times)
        assert not shapely.contains_xy(local.land, at.east_m, at.north_m).any(), one.name


def test_the_launch_is_hidden_until_the_point_is_open(story: Any, local: Any) -> None:
    scene, own, times, movers = story
    index = [one.name for one in scene.objects].index("boat behind the point")
    me, other = own.at(times), movers[index].at(times)
    sight = [
        shapely.intersects(local.land, shapely.LineString([(a, b), (c, d)]))
        for a, b, c, d in zip(me.east_m, me.north_m, other.east_m, other.north_m, strict=True)
    ]
    opened = next(k for k, hidden in enumerate(sight) if not hidden)
    assert opened > 100
    # It comes out less than six cables off and has no AIS.
    assert (
        400.0
        < math.hypot(me.east_m[opened] - other.east_m[opened], me.north_m[opened] - other.north_m[opened])
        < 1100.0
    )
    assert scene.objects[index].ais is None


def test_holds_what_it_promises(story: Any) -> None:
    scene, _, times, movers = story
    still = [m.at(times) for m in movers]
    anchored = [
        one for one, at in zip(scene.objects, still, strict=True) if np.ptp(at.east_m) + np.ptp(at.north_m) < 1.0
    ]
    assert len(anchored) >= 4
    assert any(one.kind == "float" and one.script.drift != (0.0, 0.0) for one in scene.objects)
    assert any(change.gone for change in scene.waters.changes)
    assert scene.skies.showers
    moving = [one for one in scene.objects if one.script.speed > 0.0]
    assert any(one.ais for one in moving) and any(one.ais is None for one in moving)
    assert len({one.ais.mmsi for one in scene.objects if one.ais}) == sum(one.ais is not None for one in scene.objects)


def test_route_follows_the_track(story: Any, local: Any) -> None:
    scene, own, times, _ = story
    track = own.at(times)
    line = shapely.LineString(np.column_stack([track.east_m, track.north_m]))
    points = ElementTree.parse(demo_folder() / "route.gpx").findall(f"{GPX}rte/{GPX}rtept")
    assert len(points) > 8
    for point in points:
        east, north = scene.frame.to_plane(float(point.attrib["lat"]), float(point.attrib["lon"]))
        assert line.distance(shapely.Point(east, north)) < 25.0


def test_boat_file_reads() -> None:
    boat = read_boat(demo_boat())
    assert boat.length_m == 9.0 and len(boat.stopping) >= 3
