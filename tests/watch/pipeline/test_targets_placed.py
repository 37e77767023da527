"""Another radar's targets carried on and joined with AIS, and a run written down: by plain geometry."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import pytest
from watch_made_run import FRAME, T0

from moonless.reading.situation import OwnState
from moonless.reading.types import Echo, Own, Reading, Registration, SpeedAdvice
from moonless.track.types import AisTarget
from moonless.units import NS_PER_S
from moonless.watch.instruments.radar_targets import RadarTargets
from moonless.watch.pipeline.export import RunExport
from moonless.watch.pipeline.target_tracks import TargetTracks
from moonless.wire.nmea_events import TargetPlaceSaid, TargetSaid

RADAR: Any = ("RA", "")
COURSES = [0.0, 1.2, 2.9, 5.0]


def _own(heading: float | None = 0.0, east: float = 0.0, north: float = 0.0) -> OwnState:
    lat, lon = FRAME.to_geographic(east, north)
    return OwnState(float(lat), float(lon), heading, heading, 5.0)


def _said(number: int = 1, **change: Any) -> TargetSaid:
    fields: dict[str, Any] = {
        "range_m": 1000.0, "bearing_rad": 0.0, "is_relative": False, "speed": 6.0, "course_rad": 0.0, "cpa_m": None,
        "tcpa_s": None, "name": None, "status": "T", **change,
    }  # fmt: skip
    return TargetSaid(T0, T0, True, "RA", "TTM", number, **fields)


def _tracks(others: RadarTargets, now_s: float, *ais: AisTarget) -> list[Any]:
    return list(TargetTracks(others, False).tracks(ais, FRAME, T0 + round(now_s * NS_PER_S)))


@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("bearing", [0.3, 2.0, 4.0])
@pytest.mark.parametrize("heading", [None, 1.0, 5.5])
def test_a_target_stands_where_it_was_told_and_goes_on_as_it_was_told(
    course: float, bearing: float, heading: float | None
) -> None:
    others = RadarTargets()
    said = _said(bearing_rad=bearing - (heading or 0.0), is_relative=heading is not None, course_rad=course)
    others.add(said, RADAR, T0, _own(heading, 100.0, -50.0))
    (track,) = _tracks(others, 4.0)
    want = (100.0 + 1000.0 * math.sin(bearing) + 24.0 * math.sin(course),
            -50.0 + 1000.0 * math.cos(bearing) + 24.0 * math.cos(course))  # fmt: skip
    assert math.hypot(track.east_m - want[0], track.north_m - want[1]) < 1.0
    assert (track.velocity_east, track.velocity_north) == (
        pytest.approx(6.0 * math.sin(course)), pytest.approx(6.0 * math.cos(course)),
    )  # fmt: skip
    # Half a metre a second for four seconds beside what it was told with.
    (fresh,) = _tracks(others, 0.0)
    assert track.covariance[0, 0] == pytest.approx(fresh.covariance[0, 0] + 4.0) == track.covariance[1, 1]
    assert track.p_moving > 0.9 and math.isnan(track.strength_db) and track.length_m is None


def test_without_a_heading_a_bearing_from_the_bow_is_no_place() -> None:
    others = RadarTargets()
    others.add(_said(is_relative=True), RADAR, T0, _own(None))
    assert _tracks(others, 0.0) == []
    others.add(_said(range_m=None), RADAR, T0, _own())
    others.add(_said(bearing_rad=None), RADAR, T0, _own())
    assert _tracks(others, 0.0) == []


@pytest.mark.parametrize(
    ("speed", "course", "velocity", "p_moving"),
    [
        (0.2, 1.0, 0.0, 0.05),
        (0.65, 0.0, 0.65, 0.515),
        (1.5, 0.0, 1.5, 0.98),
        (None, 0.0, 0.0, 0.5),
        (3.0, None, 0.0, 0.98),
    ],
)
def test_what_it_is_said_to_do(speed: float | None, course: float | None, velocity: float, p_moving: float) -> None:
    others = RadarTargets()
    others.add(_said(speed=speed, course_rad=course), RADAR, T0, _own())
    (track,) = _tracks(others, 10.0)
    assert math.hypot(track.velocity_east, track.velocity_north) == pytest.approx(velocity)
    assert track.p_moving == pytest.approx(p_moving, abs=0.01)
    # A motion that nobody told may be five metres a second.
    known = speed is not None and (course is not None or speed < 0.3)
    assert track.covariance[2, 2] == pytest.approx(0.25 if known else 25.0)


def test_it_is_sure_when_told_twice_and_not_while_acquiring() -> None:
    others, makes = RadarTargets(), None
    states = []
    for k, status in enumerate(["Q", "Q", "T", "T"]):
        others.add(_said(status=status), RADAR, T0 + k * NS_PER_S, _own())
        (makes,) = _tracks(others, float(k))
        states.append((makes.state, makes.p_exists, makes.n_hits))
    assert states == [("tentative", 0.5, 1), ("tentative", 0.5, 2), ("confirmed", 0.9, 8), ("confirmed", 0.9, 9)]
    assert makes is not None and makes.started_ns == T0 and makes.last_plot_ns == T0 + 3 * NS_PER_S
    others.add(_said(status="L"), RADAR, T0 + 4 * NS_PER_S, _own())
    assert _tracks(others, 4.0) == []


def test_a_place_told_by_itself_keeps_the_motion_and_the_name_that_were_told() -> None:
    others = RadarTargets()
    others.add(_said(name="A", course_rad=math.pi / 2.0), RADAR, T0, _own())
    lat, lon = FRAME.to_geographic(500.0, 0.0)
    place = TargetPlaceSaid(T0, T0, True, "RA", "TLL", 1, float(lat), float(lon), None, "T")
    others.add(place, RADAR, T0 + NS_PER_S, _own())
    (track,) = _tracks(others, 3.0)
    assert track.east_m == pytest.approx(512.0, abs=0.5) and track.velocity_east == pytest.approx(6.0)
    assert track.other_radar is not None and track.other_radar.name == "A"


def _ais(mmsi: int, east: float, north: float, at_s: float = 0.0, **more: Any) -> AisTarget:
    lat, lon = FRAME.to_geographic(east, north)
    return AisTarget(mmsi, T0 + round(at_s * NS_PER_S), float(lat), float(lon), **more)


@pytest.mark.parametrize("course", COURSES)
def test_ais_is_carried_on_to_now_before_it_is_joined(course: float) -> None:
    """Twenty seconds old at 8 m/s: 160 m farther on."""
    others = RadarTargets()
    ahead = (160.0 * math.sin(course), 160.0 * math.cos(course))
    others.add(_said(bearing_rad=0.0, range_m=1000.0, speed=0.0), RADAR, T0, _own())
    told = _ais(5, -ahead[0], 1000.0 - ahead[1], -20.0, cog_rad=course, sog=8.0)
    (track,) = _tracks(others, 0.0, told)
    assert track.ais is not None and track.ais.mmsi == 5
    for other in (replace(told, sog=0.0), replace(told, cog_rad=course + math.pi), replace(told, is_own=True),
                  replace(told, is_virtual_aid=True), _ais(5, 0.0, 1000.0, -31.0)):  # fmt: skip
        (track,) = _tracks(others, 0.0, other)
        assert track.ais is None
    (track,) = _tracks(others, 0.0, _ais(5, 0.0, 1000.0, -29.0))
    assert track.ais is not None


def test_the_nearest_pairs_are_joined_first_and_each_once() -> None:
    others = RadarTargets()
    for number, east in ((1, 0.0), (2, 60.0)):
        others.add(_said(number, range_m=math.hypot(east, 1000.0), bearing_rad=math.atan2(east, 1000.0), speed=0.0),
                   RADAR, T0, _own())  # fmt: skip
    said = [_ais(7, 45.0, 1000.0), _ais(8, 52.0, 1000.0)]
    for order in (said, said[::-1]):
        named = {round(t.east_m): t.ais.mmsi for t in _tracks(others, 0.0, *order) if t.ais is not None}
        assert named == {60: 8, 0: 7}


def test_a_long_ship_reaches_farther() -> None:
    others = RadarTargets()
    others.add(_said(speed=0.0), RADAR, T0, _own())
    (track,) = _tracks(others, 0.0)
    gate = 3.0 * math.hypot(math.sqrt(track.covariance[0, 0]), 20.0)
    for off, length, is_joined in ((gate - 3.0, None, True), (gate + 3.0, None, False), (gate + 97.0, 200.0, True),
                                   (gate + 103.0, 200.0, False)):  # fmt: skip
        (track,) = _tracks(others, 0.0, _ais(5, off, 1000.0, length_m=length))
        assert (track.ais is not None) is is_joined


ECHO = Echo(
    id=7, lat=50.1, lon=-4.7, range_m=900.0, bearing_deg=45.0, relative_bearing_deg=15.0, cog_deg=190.0, sog_kn=12.5,
    length_m=None, kind="vessel", confidence=0.9, p_moving=0.99, charted_as=None, ais=None, cpa_m=None, tcpa_s=None,
    cpa_sigma_m=None, why="it <moves>",
)  # fmt: skip


def _reading(at_s: float, lat: float | None, lon: float | None, *echoes: Echo) -> Reading:
    return Reading(
        time_ns=T0 + round(at_s * NS_PER_S), own=Own(lat, lon, 0.0, 6.0, 30.0), echoes=echoes, missing=(), hidden=None,
        seeing=(), seeing_line=None, stopping_m=None, registration=Registration(None, None, None, None, None),
        speed=SpeedAdvice(None, "unknown"), faults=(), calls=(),
    )  # fmt: skip


def test_a_run_is_written_down_with_its_times_and_places() -> None:
    # 1 800 000 000 s after 1970 is 2027-01-15 08:00:00 UTC.
    run = RunExport()
    still = replace(ECHO, id=8, kind="uncharted", lat=50.2, lon=-4.6)
    for at_s, lat in ((0.0, 50.0), (0.5, 50.005), (1.5, 50.01), (61.5, 50.02), (122.0, 50.03)):
        run.add(
            _reading(at_s, lat, -4.8, replace(ECHO, lon=-4.7 + at_s / 1000.0), replace(still, lon=-4.6 + at_s / 1e4))
        )
    run.add(_reading(123.0, None, -4.8))
    own, second, moved, lies = run.geojson()["features"]
    times = [(f["properties"]["from"][11:21], f["properties"]["to"][11:21]) for f in (own, second, moved, lies)]
    # Within a second nothing more is kept; after a gap of more than a minute a new piece begins.
    assert times == [("08:00:00.0", "08:01:01.5"), ("08:02:02.0", "08:02:02.0"), ("08:00:00.0", "08:02:02.0"),
                     ("08:00:00.0", "08:02:02.0")]  # fmt: skip
    assert own["geometry"] == {"type": "LineString", "coordinates": [[-4.8, 50.0], [-4.8, 50.01], [-4.8, 50.02]]}
    assert second["geometry"] == {"type": "Point", "coordinates": [-4.8, 50.03]}
    assert len(moved["geometry"]["coordinates"]) == 5 and lies["geometry"]["type"] == "Point"
    assert lies["geometry"]["coordinates"] == [pytest.approx(-4.5878), 50.2]
    assert (moved["properties"]["id"], moved["properties"]["is"], lies["properties"]["is"]) == (
        7,
        "vessel",
        "uncharted",
    )
    root, ns = ET.fromstring(run.gpx()), {"g": "http://www.topografix.com/GPX/1/1"}
    segments = [[(float(p.attrib["lat"]), float(p.attrib["lon"])) for p in s] for s in root.iterfind(".//g:trkseg", ns)]
    assert segments == [[(50.0, -4.8), (50.01, -4.8), (50.02, -4.8)], [(50.03, -4.8)]]
    (point,) = root.iterfind("g:wpt", ns)
    assert (float(point.attrib["lat"]), point.findtext("g:name", "", ns), point.findtext("g:desc", "", ns)) == (
        50.2, "uncharted 8", "it <moves>",
    )  # fmt: skip
    assert str(point.findtext("g:time", "", ns))[11:19] == "08:02:02"
