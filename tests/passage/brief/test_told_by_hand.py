"""What page and go-or-not say of legs whose figures are written down by hand: no chart, no sky, no stations."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from moonless.boat.file import default_boat
from moonless.boat.types import StoppingTrial
from moonless.frames import LocalFrame
from moonless.passage.brief.content import PageSheet, Table, brief, enough_words, float_plan
from moonless.passage.brief.steering import break_off_words, traffic_words
from moonless.passage.go_no_go import points_for_and_against
from moonless.passage.night import Night
from moonless.passage.plan import _with_bailouts
from moonless.passage.types import DarkAt, LegDanger, LegPlan, LightSeen, Plan, Point, WaterAt
from moonless.passage.way.route import Route, Waypoint
from moonless.passage.words import clock_words, parse_time, zone_told
from moonless.units import kn_to_mps

FRAME = LocalFrame(10.0, -140.0)
WHEN = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()
BOAT = replace(default_boat(), draught_m=0.9, length_m=9.0, stopping=(StoppingTrial(5.0, 30.0),))
NIGHT = Night(visibility_m=10.0 * 1852.0, wave_height_m=0.3, wind=4.0)
DARK = DarkAt(WHEN, "moonlit night", 0.1, -30.0, 20.0, 40.0, 80.0)
WATER = WaterAt(WHEN, 1.4, "predicted", 210.0, 1.0, "predicted", lowest_m=0.55)


def _plan(*lengths_m: float, **of_leg: Any) -> Plan:
    """Legs east one after the other, half an hour each, alike but for what is given: by name, a value for each."""
    east = [sum(lengths_m[:k]) for k in range(len(lengths_m) + 1)]
    route = Route("run", tuple(Waypoint(f"W{k}", *FRAME.to_geographic(e, 0.0)) for k, e in enumerate(east, 1)))
    legs = []
    for k, leg in enumerate(route.legs):
        plain = LegPlan(
            k + 1, leg, 7.4, "as asked", 102.6, WHEN + 1800.0 * k, WHEN + 1800.0 * (k + 1), None, DARK, WATER,
            (), (), (), "", least_depth_m=3.29,
        )  # fmt: skip
        legs.append(replace(plain, **{name: values[k] for name, values in of_leg.items()}))
    return Plan(route, "Test", WHEN, "UTC", tuple(legs), (), (), (), (), boat=BOAT)


def _points(plan: Plan, boat: Any = BOAT, night: Night = NIGHT) -> dict[str, Point]:
    return {point.what: point for point in points_for_and_against(plan, boat, night)}


def _one(points: dict[str, Point], begins: str) -> Point:
    (found,) = [point for what, point in points.items() if what.startswith(begins)]
    return found


def _shoal(**change: Any) -> LegDanger:
    danger = LegDanger("shoal", 1, 500.0, 10.0, "port", None, "DEPARE", "T", "1", 1.0, -0.4, "stops", "charted 1.0 m")
    return replace(danger, **change)


def test_the_table_to_steer_by_has_each_figure_under_its_head() -> None:
    plan = _plan(1852.0, 3704.0)
    (sheet, *_) = [block for block in brief(plan, ZoneInfo("Europe/London"), "nm") if isinstance(block, PageSheet)]
    (grid,) = [block for block in sheet.blocks if isinstance(block, Table)]
    first, second = (
        {head: said.replace("\u00a0", " ") for head, said in zip(grid.heads, row, strict=True)} for row in grid.rows
    )
    assert (first["to"], first["track"], first["steer"], first["kn"]) == ("W2", "090°T", "103°T", "7.4")
    assert (first["length"], second["length"]) == ("1.00 NM", "2.00 NM")
    # London is at UTC on the 24th of March: the clocks go forward on the 30th (IANA).
    assert [(leg["leave"], leg["arrive"]) for leg in (first, second)] == [("07:00", "07:30"), ("07:30", "08:00")]
    # 3.29 m charted, 0.55 m of tide at its lowest, 0.9 m of draught: 2.94 m, and never told as more.
    assert (first["under keel"], first["tide"]) == ("2.9 m", "1.4 m")
    in_summer = brief(replace(plan, depart_s=WHEN), ZoneInfo("Asia/Tokyo"), "nm")
    assert "leave" in str(in_summer).lower() and "16:00" in str(in_summer)  # nine hours ahead of UTC


def test_a_run_over_clocks_put_back_does_not_arrive_before_it_leaves() -> None:
    # IANA, America/New_York: on 2026-11-01 at 02:00 EDT, 06:00 UTC, clocks go back to 01:00 EST.
    zone = ZoneInfo("America/New_York")
    leave, turn = (datetime(2026, 11, 1, 5, minute, tzinfo=UTC).timestamp() for minute in (30, 59))
    arrive = datetime(2026, 11, 1, 6, 20, tzinfo=UTC).timestamp()
    told = [clock_words(time, zone, leave) for time in (leave, turn, arrive)]
    assert told == ["01:30", "01:59", "01:20 EST"]
    assert clock_words(arrive, zone) == clock_words(arrive, zone, arrive) == "01:20"


def test_where_one_breaks_off_to() -> None:
    # 2, 2 and 4 km: the middles of the legs lie 1, 3 and 6 km along a run of 8.
    plan = _plan(2000.0, 2000.0, 4000.0)
    none = "no anchorage that is for her and deep enough, and no yacht harbour, is charted within half a mile"
    assert break_off_words(plan) == f"back to W1 on legs 1 to 2; on to W4 on leg 3; {none}"
    assert [leg.bailout for leg in _with_bailouts(plan.legs)] == [
        "nearest end: back to W1, 0.5 NM", "nearest end: back to W1, 1.6 NM", "nearest end: on to W4, 1.1 NM",
    ]  # fmt: skip


def test_when_there_is_water_enough() -> None:
    assert enough_words(_shoal(enough=((WHEN, WHEN + 5400.0),)), UTC) == "; enough 07:00 to 08:30"
    assert enough_words(_shoal(enough=()), UTC) == "; not enough at any time within half a day"
    assert enough_words(_shoal(), UTC) == ""


def test_someone_ashore_is_told_an_hour_after_the_time_due() -> None:
    lines = float_plan(_plan(1852.0), UTC, "nm").splitlines()
    due, overdue = (next(line for line in lines if line.startswith(head)) for head in ("Due", "Overdue"))
    assert "08:30" in overdue and "07:30" in due


def test_the_gravest_is_said_first() -> None:
    plan = _plan(1852.0, 1852.0, dangers=((_shoal(),), ()))
    told = [point.weight for point in points_for_and_against(plan, BOAT, NIGHT)]
    assert told == sorted(told, key=["stops", "against", "note", "for"].index) and told[0] == "stops"


def test_the_darkest_leg_and_the_way_home() -> None:
    dark = replace(DARK, word="dark night", lux=0.001)
    points = _points(_plan(1852.0, 1852.0, 1852.0, dark=(DARK, dark, DARK)))
    darkest = _one(points, "Darkest on leg 2: dark night")
    assert (darkest.weight, darkest.figure) == ("against", "0.001 lux")
    assert _one(_points(_plan(1852.0)), "Darkest").weight == "note"
    # An hour and a half out: three quarters of an hour on it is as far back as on, half way along the second leg.
    home = _one(points, "From here on it is sooner to go on")
    assert (home.figure, home.limit) == ("45 min out", "leg 2, 0.50 NM along")


@pytest.mark.parametrize(("what", "weight"), [("moonset", "against"), ("moonrise", "note")])
def test_the_moon_that_goes_under_way(what: str, weight: str) -> None:
    plan = replace(_plan(1852.0), events=((WHEN + 600.0, what),))
    told = _one(_points(plan), f"{what} under way")
    assert (told.weight, told.figure) == (weight, "10 min after leaving")
    late = replace(_plan(1852.0), events=((WHEN + 1800.0 + 900.0, what),))
    after = [point for said, point in _points(late).items() if "soon after arrival" in said]
    assert [point.figure for point in after] == (["15 min"] if what == "moonset" else [])


@pytest.mark.parametrize(
    ("wind_kn", "is_told"),
    # Beaufort 6 begins at 22 knots: WMO Manual on Codes, table 1100.
    [(21.0, False), (22.0, True), (30.0, True)],
)
def test_a_strong_breeze_speaks_against(wind_kn: float, is_told: bool) -> None:
    points = _points(_plan(1852.0), night=replace(NIGHT, wind=wind_kn * 1852.0 / 3600.0))
    assert any(what.startswith("Wind:") for what in points) is is_told


@pytest.mark.parametrize(("wave_m", "is_told"), [(1.4, False), (1.5, True)])
def test_a_sea_that_can_roll_her_speaks_against(wave_m: float, is_told: bool) -> None:
    # The highest of a thousand is 1.86 times the significant (Longuet-Higgins 1952); three tenths of 9 m are 2.7 m.
    points = _points(_plan(1852.0), night=replace(NIGHT, wave_height_m=wave_m))
    assert any(what.startswith("Sea:") for what in points) is is_told


def test_an_unknown_tide_speaks_against_only_where_it_is_shoal() -> None:
    unknown = replace(WATER, tide_m=None, lowest_m=None)
    shoal = _plan(1852.0, 1852.0, water=(WATER, unknown), dangers=((), (_shoal(leg=2, weight="against"),)))
    assert _one(_points(shoal), "The tide is not known where it is shoal: leg 2").weight == "against"
    deep = _plan(1852.0, 1852.0, water=(unknown, WATER))
    assert not any(what.startswith("The tide is not known") for what in _points(deep))


def test_of_the_lights_the_leading_one_is_steered_by() -> None:
    def light(name: str, nearest_m: float, leading: bool) -> LightSeen:
        return LightSeen(1, name, "Fl 5s", "white", 0.0, 900.0, 5000.0, 90.0, 0.0, nearest_m, 10.0, -140.0, leading)

    plan = _plan(1852.0, lights=((light("near", 200.0, False), light("range", 3000.0, True)),))
    words = str(brief(plan, UTC, "nm")[0])
    assert "range Fl 5s, leading" in words and "near Fl 5s" not in words


def test_a_speed_nobody_asked_for_is_told_as_a_bound() -> None:
    """Nobody should run faster than 30 to 35 knots at night and most far slower (common practice, no source)."""

    def said(asked_kn: float | None, limit_kn: float | None, made_kn: float) -> list[str]:
        limit = None if limit_kn is None else kn_to_mps(limit_kn)
        boat = replace(BOAT, skipper=replace(BOAT.skipper, night_limit=limit))
        plan = _plan(1852.0)
        fast = replace(plan, legs=tuple(replace(leg, speed_kn=made_kn) for leg in plan.legs))
        points = points_for_and_against(fast, boat, replace(NIGHT, wanted_kn=asked_kn))
        return [f"{p.weight} {p.figure}" for p in points if "No speed was asked for" in p.what]

    assert said(None, None, 30.6) == ["against 31 kn"]
    assert said(None, 20.0, 20.0) == ["note 20 kn"]
    assert said(None, None, 6.0) == ["note 6 kn"]
    assert said(22.0, None, 22.0) == []


def test_times_are_told_in_the_offset_the_departure_was_given_in_where_the_boat_has_no_zone() -> None:
    # RFC 3339 section 5.8: 1996-12-19T16:39:57-08:00.
    text = "1996-12-19T16:39:57-08:00"
    assert clock_words(parse_time(text, UTC), zone_told(text, UTC)) == "16:40"
    london = ZoneInfo("Europe/London")
    assert zone_told(text, london) is london
    assert zone_told("1996-12-19T16:39:57", UTC) is UTC


def test_fairways_and_ferries_are_told_once_with_their_legs() -> None:
    fairway, ferry = (
        _shoal(kind=kind, object=what, name=name, weight="note", say=kind)
        for kind, what, name in (("fairway", "FAIRWY", "Inner"), ("ferry", "FERYRT", None))
    )
    plan = _plan(*[1000.0] * 5, dangers=((fairway,), (fairway, fairway), (fairway, ferry), (), (fairway,)))
    inner = "fairway Inner on legs 1 to 3, 5: do not impede, keep to its starboard side (Rule 9)"
    assert traffic_words(plan) == f"{inner}; ferry route on leg 3"
    assert traffic_words(_plan(1000.0)) == "nothing is charted on the way"
