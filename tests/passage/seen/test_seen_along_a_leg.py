"""What is seen along a leg, on every course: circles and sectors cut by a straight line, by hand.

At ten miles of visibility a light is seen as far as its nominal range says (the definition of that range), if it stands
high enough; the leg is looked along every hundred metres.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
import shapely

from moonless.boat.file import default_boat
from moonless.chart.lights import ChartLight, Sector
from moonless.chart.types import Feature, Mark
from moonless.constants import NAUTICAL_MILE_M
from moonless.frames import LocalFrame
from moonless.passage.night import Night
from moonless.passage.sight import calls_beside, index_lines, lights_on_leg, sample, unlit_marks, unranged_lights
from moonless.passage.way.route import Route, Waypoint

FRAME = LocalFrame(10.0, -140.0)
BOAT = replace(default_boat(), eye_height_m=2.2)
NIGHT = Night(visibility_m=10.0 * NAUTICAL_MILE_M)
COURSES = [0.0, 65.0, 190.0, 300.0]
LENGTH_M = 12_000.0


class _Water:
    """A leg on a course; things told as (along it, to its right)."""

    def __init__(self, course: float, length_m: float = LENGTH_M) -> None:
        self.course = course
        ends = [self.at(0.0, 0.0), self.at(length_m, 0.0)]
        places = [FRAME.to_geographic(*p) for p in ends]
        (self.leg,) = Route(
            "r", tuple(Waypoint(n, float(a), float(b)) for n, (a, b) in zip("AB", places, strict=True))
        ).legs
        self.local: Any = SimpleNamespace(
            frame=FRAME, land=shapely.MultiPolygon(), marks=(), features=lambda *names: ()
        )

    def at(self, along: float, right: float) -> tuple[float, float]:
        a = math.radians(self.course)
        return along * math.sin(a) + right * math.cos(a), along * math.cos(a) - right * math.sin(a)

    def light(
        self, along: float, right: float, *sectors: Sector, height_m: float | None = 20.0, name: str = "L"
    ) -> ChartLight:
        return ChartLight(name, "T", *self.at(along, right), height_m, "Fl 5s", True, sectors or (_sector(),))

    def box(self, along: tuple[float, float], right: tuple[float, float]) -> Any:
        corners = [
            self.at(a, r)
            for a, r in ((along[0], right[0]), (along[1], right[0]), (along[1], right[1]), (along[0], right[1]))
        ]
        return shapely.MultiPolygon([shapely.Polygon(corners)])

    def lights(self, *lights: ChartLight, night: Night = NIGHT) -> list[Any]:
        return lights_on_leg(3, self.leg, SimpleNamespace(local=self.local, lights=lights), BOAT, night)  # type: ignore[arg-type]

    def mark(self, along: float, right: float, **change: Any) -> Mark:
        mark = Mark("BCNLAT", "7", "T", "9", *self.at(along, right), 6.0, False, None, True, False, False, {})
        return replace(mark, **change)


def _sector(start: float | None = None, end: float | None = None, *, miles: float | None = 2.0,
            colours: tuple[int, ...] = (1,), obscured: bool = False, **attributes: Any) -> Sector:  # fmt: skip
    return Sector("1", start, end, colours, miles, obscured, False, attributes)


@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("right", [3000.0, -3000.0])
def test_a_light_is_seen_within_its_range(course: float, right: float) -> None:
    """Two miles are 3704 m; 3000 m abeam it is in sight for 2172 m to either side."""
    water = _Water(course)
    (seen,) = water.lights(water.light(6000.0, right))
    assert 3828.0 <= seen.first_along_m <= 3930.0 and 8072.0 <= seen.last_along_m <= 8173.0
    assert seen.nearest_m == pytest.approx(3000.0, abs=1.5) and seen.range_m == pytest.approx(3704.0, rel=0.01)
    relative = math.copysign(math.degrees(math.atan2(3000.0, 6000.0 - seen.first_along_m)), right)
    assert seen.relative_deg == pytest.approx(relative, abs=0.1)
    assert math.remainder(seen.bearing_deg - course - relative, 360.0) == pytest.approx(0.0, abs=0.1)
    assert (seen.leg, seen.name, seen.text, seen.colour, seen.leading) == (3, "L", "Fl 5s", "white", False)
    assert FRAME.to_plane(seen.lat_deg, seen.lon_deg) == pytest.approx(water.at(6000.0, right), abs=0.1)
    assert water.lights(water.light(6000.0, math.copysign(3750.0, right))) == []


def test_what_stands_low_or_is_seen_through_rain_or_has_no_range_is_seen_less_far() -> None:
    water = _Water(65.0)
    # Over the horizon: 1.17 (sqrt 7.2 + sqrt h) miles, heights in feet (Bowditch); one not charted is taken for 3 m.
    far = _sector(miles=20.0)
    for height, miles in ((20.0, 12.62), (3.0, 6.81), (None, 6.81)):
        (seen,) = water.lights(water.light(6000.0, 3000.0, far, height_m=height))
        assert seen.range_m == pytest.approx(miles * NAUTICAL_MILE_M, rel=0.02)
    (seen,) = water.lights(water.light(6000.0, 300.0), night=replace(NIGHT, visibility_m=NAUTICAL_MILE_M))
    assert seen.range_m < 0.5 * 3704.0
    assert water.lights(water.light(6000.0, 300.0, _sector(miles=None))) == []


@pytest.mark.parametrize("course", COURSES)
def test_sectors_and_their_colours(course: float) -> None:
    """Limits are bearings from seaward: of one to starboard red is shown until she is abeam, green after it."""
    water = _Water(course)

    def true(relative: float) -> float:
        return (course + relative) % 360.0

    red, green = _sector(true(0.0), true(90.01), colours=(3,)), _sector(true(90.01), true(180.0), colours=(4,))
    first, second = water.lights(water.light(6000.0, 2000.0, green, red))
    assert (first.colour, second.colour) == ("red", "green")
    assert 5900.0 <= first.last_along_m <= 6001.0 <= second.first_along_m <= 6100.0
    # What is charted as not seen takes its part away.
    dark = _sector(true(60.0), true(120.0), obscured=True)
    (seen,) = water.lights(water.light(6000.0, 2000.0, _sector(), dark))
    # 2000 / tan 60 = 1155 before and after abeam, and the next place that is looked from.
    assert math.hypot(2000.0, 1154.0) <= seen.nearest_m <= math.hypot(2000.0, 1256.0)
    (none,) = water.lights(water.light(6000.0, 2000.0, _sector(colours=())))
    assert none.colour == "colour not charted"
    (two,) = water.lights(water.light(6000.0, 2000.0, _sector(colours=(1, 3))))
    assert two.colour == "white/red"


@pytest.mark.parametrize("course", COURSES)
def test_land_between_hides_a_light(course: float) -> None:
    water = _Water(course)
    water.local.land = water.box((4000.0, 6000.0), (1000.0, 1400.0))
    (seen,) = water.lights(water.light(6000.0, 2000.0, _sector(miles=1.5)))
    # The line of sight passes the land's far end (6000, 1000..1400) when she is abeam of it.
    assert seen.first_along_m == pytest.approx(6000.0, abs=101.0) and seen.last_along_m > 7000.0
    # The ground it stands on does not.
    water.local.land = water.box((5950.0, 6050.0), (1950.0, 2050.0))
    (seen,) = water.lights(water.light(6000.0, 2000.0, _sector(miles=1.5)))
    assert seen.nearest_m == pytest.approx(2000.0, abs=1.5)


@pytest.mark.parametrize(
    ("off", "category", "leads"),
    [
        (1.9, "4", True),
        (-1.9, "12", True),
        (2.1, "4", False),
        (180.0, "4", False),
        (0.0, "1", False),
        (None, "4", False),
    ],
)
def test_a_leading_light_leads_on_its_own_line(off: float | None, category: str, leads: bool) -> None:
    water = _Water(300.0)
    attributes = {"CATLIT": [category], **({} if off is None else {"ORIENT": (300.0 + off) % 360.0})}
    (seen,) = water.lights(water.light(13_000.0, 0.0, _sector(**attributes)))
    assert seen.leading is leads


@pytest.mark.parametrize("course", COURSES)
def test_lights_come_in_the_order_they_come_up(course: float) -> None:
    water = _Water(course)
    told = water.lights(water.light(9000.0, 500.0, name="late"), water.light(2000.0, 900.0, name="far"),
                        water.light(2000.0, -400.0, name="near"))  # fmt: skip
    assert [s.name for s in told] == ["near", "far", "late"]


@pytest.mark.parametrize("course", COURSES)
def test_a_light_without_a_range_is_listed_on_its_side(course: float) -> None:
    water = _Water(course)
    none = _sector(miles=None)
    stretch: Any = SimpleNamespace(local=water.local, lights=[
        water.light(9000.0, 3600.0, none, name="late"), water.light(2000.0, -500.0, none, name="early"),
        water.light(5000.0, 3800.0, none, name="far"), water.light(5000.0, 100.0, name="ranged"),
        water.light(4000.0, 200.0, _sector(miles=None, obscured=True), name="dark"),
        water.light(4000.0, 200.0, _sector((course + 100) % 360.0, (course + 200) % 360.0, miles=None), name="other"),
    ])  # fmt: skip
    told = [
        (u.name, u.side, round(u.nearest_m, -1), round(u.along_m, -2)) for u in unranged_lights(3, water.leg, stretch)
    ]
    assert told == [("early", "port", 500, 2000), ("late", "starboard", 3600, 9000)]


@pytest.mark.parametrize("course", COURSES)
def test_unlit_marks_near_the_track_on_their_side(course: float) -> None:
    water = _Water(course, 4000.0)
    water.local.marks = (
        water.mark(3000.0, 300.0, feature="b"), water.mark(1000.0, -200.0, feature="a"),
        water.mark(2000.0, 930.0, feature="far"),
        water.mark(2000.0, 100.0, lit=True, feature="lit"),
    )  # fmt: skip
    told = unlit_marks(3, water.leg, water.local, BOAT, NIGHT)
    assert [(u.thing[-1], u.side, round(u.off_m), round(u.along_m, -2)) for u in told] == [
        ("a", "port", 200, 1000), ("b", "starboard", 300, 3000),
    ]  # fmt: skip
    # One abeam of the very start or end has a side too.
    water.local.marks = (water.mark(0.0, 150.0, feature="s"), water.mark(0.0, -150.0, feature="p"),
                         water.mark(4000.0, -150.0, feature="q"))  # fmt: skip
    assert {u.thing[-1]: u.side for u in unlit_marks(3, water.leg, water.local, BOAT, NIGHT)} == {
        "s": "starboard", "p": "port", "q": "port",
    }  # fmt: skip
    water.local.marks = (water.mark(3000.0, 300.0, feature="b"), water.mark(1000.0, -200.0, feature="a"))
    # With a reflector it is held from a good way off, unless land stands between until then.
    free = told[1].radar_from_m
    assert free is not None and free < 2500.0
    water.local.land = water.box((2000.0, 2900.0), (100.0, 250.0))
    hidden = unlit_marks(3, water.leg, water.local, BOAT, NIGHT)[1].radar_from_m
    assert hidden is not None and hidden > max(free, 1900.0)


@pytest.mark.parametrize("course", COURSES[:2])
def test_a_parallel_index_wants_a_fixed_mark_abeam(course: float) -> None:
    water = _Water(course, 4000.0)
    # 370.4 m are a fifth of a mile, 926 m half of one.
    water.local.marks = (
        water.mark(1852.0, 370.4, name="near"),
        water.mark(926.0, -555.6, name="farther", has_reflector=True),
    )
    assert index_lines(water.leg, water.local, BOAT, NIGHT) == [
        "near 0.20 NM to starboard, abeam 1.00 NM along", "farther 0.30 NM to port, abeam 0.50 NM along",
    ]  # fmt: skip
    conspicuous = water.mark(3000.0, 741.0, name="tower", radar_conspicuous=True)
    water.local.marks = (*water.local.marks, conspicuous)
    assert [line.split()[0] for line in index_lines(water.leg, water.local, BOAT, NIGHT)] == ["tower", "near"]
    for change in ({"floating": True}, {"object": "WRECKS"}):
        water.local.marks = (water.mark(1852.0, 370.4, **change),)
        assert index_lines(water.leg, water.local, BOAT, NIGHT) == []
    for along, right in ((1852.0, 90.0), (-50.0, 300.0), (4050.0, 300.0), (2000.0, 1900.0)):
        water.local.marks = (water.mark(along, right),)
        assert index_lines(water.leg, water.local, BOAT, NIGHT) == []
    short = _Water(course, 700.0)
    short.local.marks = (short.mark(350.0, 200.0),)
    assert index_lines(short.leg, short.local, BOAT, NIGHT) == []


def test_radio_within_a_mile_is_told_once_with_its_channels() -> None:
    water = _Water(65.0)

    def station(right: float, channel: str | None, name: str = "Port") -> Feature:
        given: dict[str, Any] = {"OBJNAM": name, **({} if channel is None else {"COMCHA": channel})}
        return Feature("RDOCAL", "T", "1", shapely.Point(water.at(3000.0, right)), given, 10_000)

    found = (station(1800.0, "[VHF0012;VHF0016]"), station(1800.0, "[VHF0012;VHF0016]"), station(1900.0, "[VHF0009]"),
             station(100.0, None), station(100.0, "[]"))  # fmt: skip
    water.local.features = lambda *names: found if "RDOCAL" in names else ()
    assert calls_beside(water.leg, water.local) == ("Port: channel VHF0012, VHF0016",)


@pytest.mark.parametrize("length_m", [40.0, 250.0, 12_000.0])
def test_a_leg_is_looked_along_every_hundred_metres_at_most(length_m: float) -> None:
    water = _Water(190.0, length_m)
    points = sample(water.leg, water.local)
    assert points.along_m[0] == 0.0 and points.along_m[-1] == pytest.approx(length_m, rel=1e-3)
    assert max(b - a for a, b in zip(points.along_m[:-1], points.along_m[1:], strict=True)) <= 100.01
    assert (points.east_m[-1], points.north_m[-1]) == pytest.approx(water.at(length_m, 0.0), abs=0.5)


@pytest.mark.parametrize(
    ("night", "words"),
    [
        (Night(cloud=0.5, visibility_m=18_520.0, wave_height_m=1.5, wind=10.0 * 1852 / 3600, wind_from_deg=359.6),
         "cloud 50%, visibility 10 NM, waves 1.5 m, wind 10 kn from 000°, no rain"),
        (Night(visibility_m=18_520.0, rain_mmh=16.0, wind=0.0),
         "cloud 0%, visibility 10 NM (through this rain 1.09 NM), waves 0.3 m, wind 0 kn, rain 16 mm/h"),
    ],
)  # fmt: skip
def test_a_night_in_words(night: Night, words: str) -> None:
    # 11.6 km times 16 to the power of -0.63 are 2.02 km (Atlas 1953), 1.09 miles.
    assert night.words == words


def test_a_wind_raises_a_sea_and_stands_to_the_look() -> None:
    gale = Night(wind=20.0, wave_height_m=0.3, wind_from_deg=90.0)
    assert gale.waves_m > 0.3 and "the wind raises" in gale.words
    assert math.degrees(gale.off_wind_rad(100.0)) == pytest.approx(10.0)
    assert Night().off_wind_rad(100.0) == 0.0
    assert gale.weather.wind_from_rad == pytest.approx(math.pi / 2.0)
