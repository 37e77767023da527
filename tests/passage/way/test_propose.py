"""Routes proposed over the made chart."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError
from moonless.frames import LocalFrame
from moonless.passage.night import Night
from moonless.passage.plan import make_plan, survey
from moonless.passage.way.grid import grow
from moonless.passage.way.propose import propose
from moonless.passage.way.route import Route, Waypoint

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
    turns = len(route.waypoints) - 2
    assert [w.name for w in route.waypoints] == ["start", *(f"turn {n}" for n in range(1, turns + 1)), "end"]
    assert turns >= 1


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


def test_a_moved_start_is_said_with_how_far(made_chart: Chart, boat: Boat) -> None:
    found = propose(made_chart, boat, _at(0.0, 2150.0), _at(0.0, -500.0))
    first = FRAME.to_plane(found.route.waypoints[0].lat_deg, found.route.waypoints[0].lon_deg)
    moved = math.hypot(first[0], first[1] - 2150.0)
    assert found.notes == (
        f"the start was moved {moved:.0f} m to water deep enough on the chart; what lies between is not planned",
    )
    assert not any("moved" in note for note in propose(made_chart, boat, _at(0.0, 1000.0), _at(0.0, -500.0)).notes)


def test_a_pond_beside_the_berth_is_not_taken_for_the_way(chart_with: Callable[[Any], Chart], boat: Boat) -> None:
    # A basin 120 m wide lies 100 m from the start, shut in by land; the open water lies 300 m off.
    quay = shapely.box(-4400, -3600, -3800, -3000).difference(shapely.box(-4280, -3480, -4160, -3360))
    chart = chart_with({"LNDARE": ([quay], {"OBJNAM": ["Quay"]})})
    start, end = _at(-4100.0, -3330.0), _at(-2000.0, -3330.0)
    found = propose(chart, boat, start, end)
    first = FRAME.to_plane(found.route.waypoints[0].lat_deg, found.route.waypoints[0].lon_deg)
    assert not -4400 < first[0] < -3800 or not -3600 < first[1] < -3000
    assert make_plan(chart, found.route, boat, WHEN, NIGHT).refused == ()


def test_a_way_that_leads_far_outside_the_straight_one_is_found(chart_with: Callable[[Any], Chart], boat: Boat) -> None:
    # A wall of land 7 km long between two places a mile apart.
    chart = chart_with({"LNDARE": ([shapely.box(-20, -5500, 20, 1500)], {"OBJNAM": ["Wall"]})})
    route = propose(chart, boat, _at(-900.0, -3500.0), _at(900.0, -3500.0)).route
    assert make_plan(chart, route, boat, WHEN, NIGHT).refused == ()
    assert route.length_m > 4000.0


def test_own_water_to_keep_out_of_refuses_a_plan_and_is_gone_round(
    made_chart: Chart, boat: Boat, tmp_path: Path
) -> None:
    knowledge = Knowledge(tmp_path / "own.gpkg")
    lat, lon = FRAME.to_geographic(np.array([2500.0, 3000.0]), np.array([-4300.0, -3700.0]))
    knowledge.add_keep_out(shapely.box(lon[0], lat[0], lon[1], lat[1]), "eel nets", since_ns=0)
    start, end = (2000.0, -4000.0), (4000.0, -4000.0)
    straight = Route("s", tuple(Waypoint(n, *_at(*p)) for n, p in (("A", start), ("B", end))))
    ground = survey(made_chart, straight, boat, NIGHT, knowledge=knowledge)
    refused = make_plan(made_chart, straight, boat, WHEN, NIGHT, ground=ground).refused
    assert [d.kind for d in refused] == ["keep out"] and "eel nets" in refused[0].say
    way = propose(made_chart, boat, _at(*start), _at(*end), knowledge=knowledge).route
    track = shapely.LineString([FRAME.to_plane(w.lat_deg, w.lon_deg) for w in way.waypoints])
    assert shapely.distance(track, shapely.box(2500, -4300, 3000, -3700)) > 5.0
    ground = survey(made_chart, way, boat, NIGHT, knowledge=knowledge)
    assert make_plan(made_chart, way, boat, WHEN, NIGHT, ground=ground).refused == ()


def test_what_was_learned_to_stand_there_is_told_of_the_leg_and_refuses_nothing(
    made_chart: Chart, boat: Boat, tmp_path: Path
) -> None:
    """A thing 60 m to port of the track, one far off it: the same plan without local knowledge says neither."""
    knowledge = Knowledge(tmp_path / "own.gpkg")
    for east, north, words in ((3000.0, -3940.0, "something that stands fast"), (3000.0, -3000.0, "far off")):
        knowledge.add(*_at(east, north), words, seen_ns=0, kind="learned", confidence=0.9)
    route = Route("s", tuple(Waypoint(n, *_at(*p)) for n, p in (("A", (2000.0, -4000.0)), ("B", (4000.0, -4000.0)))))

    def own_things(known: Knowledge | None) -> list[str]:
        ground = survey(made_chart, route, boat, NIGHT, knowledge=known)
        plan = make_plan(made_chart, route, boat, WHEN, NIGHT, ground=ground)
        assert plan.refused == ()
        return [f"{d.weight} {d.side} {d.off_m:.0f}: {d.say}" for d in plan.legs[0].dangers if d.kind == "own thing"]

    (told,) = own_things(knowledge)
    assert told.startswith("against port 60: not charted, known to you: something that stands fast")
    assert own_things(None) == []


def test_a_note_is_told_of_the_leg_and_speaks_against_nothing(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    """One 90 m to starboard, as that a mark was not there; one 700 m off is of no concern to this leg."""
    knowledge = Knowledge(tmp_path / "own.gpkg")
    for north, words in ((-4090.0, "North Spit was not there on 4 of 4 runs that looked."), (-3300.0, "far off")):
        knowledge.add_note(*_at(3000.0, north), words, written_ns=0, note="learned from runs of 1 boat")
    route = Route("s", tuple(Waypoint(n, *_at(*p)) for n, p in (("A", (2000.0, -4000.0)), ("B", (4000.0, -4000.0)))))
    ground = survey(made_chart, route, boat, NIGHT, knowledge=Knowledge.open(tmp_path / "own.gpkg"))
    plan = make_plan(made_chart, route, boat, WHEN, NIGHT, ground=ground)
    (told,) = [d for d in plan.legs[0].dangers if d.kind == "own note"]
    assert (told.weight, told.side, round(told.off_m)) == ("note", "starboard", 90)
    assert told.say.startswith("your own note: North Spit was not there on 4 of 4 runs")
    without = make_plan(made_chart, route, boat, WHEN, NIGHT, ground=survey(made_chart, route, boat, NIGHT))
    assert [p.what for p in plan.points if p.weight == "against"] == [
        p.what for p in without.points if p.weight == "against"
    ]


def test_no_leg_is_run_through_in_eight_seconds(made_chart: Chart, boat: Boat) -> None:
    # Drawn by hand: sixty metres between turns; at thirty knots that were four seconds.
    places = [(-1000.0, -1500.0), (-400.0, -1500.0), (-400.0, -1440.0), (400.0, -1440.0)]
    route = Route("r", tuple(Waypoint(str(k), *_at(*p)) for k, p in enumerate(places)))
    plan = make_plan(made_chart, route, boat, WHEN, Night(), events=False)
    short = plan.legs[1]
    assert short.end_s - short.start_s == pytest.approx(10.0, abs=0.1)
    assert "The next turn comes after 60 m" in short.because and plan.legs[0].speed_kn > short.speed_kn


def test_draught_shuts_the_shoal(made_chart: Chart, boat: Boat) -> None:
    # A band of half a metre lies across the chart from north 2000 to 3000.
    with pytest.raises(InputError, match="no water deep enough on the chart joins the two places: it closes at"):
        propose(made_chart, boat, _at(0, 1500), _at(0, 4000))


def test_places_that_cannot_be_used(made_chart: Chart, boat: Boat) -> None:
    with pytest.raises(InputError, match="the end lies more than"):
        propose(made_chart, boat, _at(0, -500), _at(0, 2500))
    # Off the chart, which ends at 6000 m east: no end is taken to its edge.
    with pytest.raises(InputError, match="the end lies more than 500 m"):
        propose(made_chart, boat, _at(4000, -4000), _at(7000, -4000))
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


@pytest.mark.parametrize("squares", [0.4, 1.0, math.sqrt(2.0), 2.9, math.sqrt(26.0), 7.0, 80.0])
def test_what_is_closed_grows_to_every_square_within_the_distance(squares: float) -> None:
    burnt = np.zeros((37, 23), dtype=np.bool_)
    burnt[[4, 30, 30, 36], [5, 0, 1, 22]] = True
    grown = np.zeros_like(burnt)
    grow(grown, burnt, squares)
    # By the definition itself, square by square.
    row, column = np.mgrid[:37, :23]
    away = np.min([np.hypot(row - r, column - c) for r, c in np.argwhere(burnt)], axis=0)
    np.testing.assert_array_equal(grown, away <= squares)


def test_a_creek_narrower_than_wide_squares_is_found(chart_with: Callable[[Any], Chart], boat: Boat) -> None:
    # Nine kilometres apart the first squares are 25 m wide; of a creek of 64 m there are 14 a track may use.
    creek = shapely.box(3000, -32, 5000, 32)
    sea = shapely.union(shapely.box(-6000, -6000, 3000, 6000), creek)
    bank = shapely.difference(shapely.box(3000, -6000, 6000, 6000), creek)
    chart = chart_with({"DEPARE": ([sea, bank], {"DRVAL1": [20.0, 0.3], "DRVAL2": [50.0, 2.0]})})
    route = propose(chart, boat, _at(4600, 4), _at(-4400, -3000)).route
    assert make_plan(chart, route, boat, WHEN, NIGHT).refused == ()
    # A pond that no creek leads to stays what it was: no water near.
    with pytest.raises(InputError, match="the start lies more than 500 m from water deep enough"):
        propose(chart, boat, _at(4600, 3000), _at(-4400, -3000))


@pytest.mark.parametrize("is_shut", [False, True])
def test_a_long_way_out_of_creeks_narrower_than_any_wide_square_is_found(
    chart_with: Callable[[Any], Chart], boat: Boat, is_shut: bool
) -> None:
    # A bank of 18 km parts two basins, and only round its ends does water join them: squares that hold all of that are
    # 20 m wide, and of either creek's 60 m there are 10 a track may use.
    creeks = [shapely.box(-1010, -5030, -200, -4970), shapely.box(200, -4530, 1010, -4470)]
    bank = shapely.difference(shapely.box(-1000, -9000, 1000, 9000), shapely.union_all(creeks))
    if is_shut:
        bank = shapely.union(bank, shapely.box(-1000, -5031, -900, -4969))
    whole = shapely.box(-16000, -16000, 16000, 16000)
    sea = shapely.difference(whole, bank)
    chart = chart_with(
        {
            "M_COVR": ([whole], {"CATCOV": [1]}),
            "DEPARE": ([sea, bank], {"DRVAL1": [20.0, 0.3], "DRVAL2": [50.0, 2.0]}),
        }
    )
    if is_shut:
        with pytest.raises(InputError, match="no water deep enough on the chart joins the two places"):
            propose(chart, boat, _at(-300, -4997), _at(300, -4497))
        return
    route = propose(chart, boat, _at(-300, -4997), _at(300, -4497)).route
    assert make_plan(chart, route, boat, WHEN, NIGHT).refused == ()
    # Out, round the southern end and in: 11.9 km along the edge of the bank, and as far off as there is room for.
    assert 11_900.0 < route.length_m < 14_000.0
    assert len(route.waypoints) <= 12
