"""Where no way is found the place that closes the water is named, and what closes it; what a way's asker is told."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from bench.peers.brute_force_cell import Cell
from bench.plans.plan_ways import hull_of, is_closed, joined

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError
from moonless.frames import LocalFrame
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.propose import propose

FRAME = LocalFrame(10.0, -140.0)
PLACE = re.compile(r"(\d+)°([\d.]+)'([NS]) (\d+)°([\d.]+)'([EW])")


def _at(east: float, north: float) -> tuple[float, float]:
    lat, lon = FRAME.to_geographic(east, north)
    return float(lat), float(lon)


def _place(line: str) -> tuple[float, float]:
    """Return (east, north) of the place a line names."""
    found = PLACE.search(line)
    assert found is not None, line
    lat = (float(found[1]) + float(found[2]) / 60.0) * (1 if found[3] == "N" else -1)
    lon = (float(found[4]) + float(found[5]) / 60.0) * (1 if found[6] == "E" else -1)
    east, north = FRAME.to_plane(lat, lon)
    return float(east), float(north)


def _refusal(chart: Chart, boat: Boat, start: tuple[float, float], end: tuple[float, float], **more: Any) -> str:
    with pytest.raises(InputError) as caught:
        propose(chart, boat, _at(*start), _at(*end), **more)
    return str(caught.value)


def test_the_shoal_that_shuts_the_water_is_named_with_its_place_and_depth(made_chart: Chart, boat: Boat) -> None:
    # A band of 0.5 m lies from north 2000 to 3000; a draught of 0.9 m, squat of 0.3 and 0.5 to spare need 1.7.
    line = _refusal(made_chart, boat, (0, 1500), (0, 4000))
    east, north = _place(line)
    assert 1970.0 < north < 3030.0 and abs(east) < 100.0
    assert "by water too shallow (charted 0.5 m, tide 0.0 m: 1.2 m too little)" in line
    across = re.search(r"for (\d+) m", line)
    assert across is not None and 1000 <= int(across[1]) <= 1120  # the band and 25 m of the track either side
    assert "more place" not in line and "\n" not in line


def test_a_bridge_across_the_only_water_is_named(chart_with: Callable[[Any], Chart], boat: Boat) -> None:
    wall = [shapely.box(-6000, -40, -300, 40), shapely.box(300, -40, 6000, 40)]
    chart = chart_with(
        {
            "LNDARE": (wall, {"OBJNAM": ["West", "East"]}),
            "BRIDGE": ([shapely.LineString([(-300, 0), (300, 0)])], {
                "OBJNAM": ["Shut Bridge"], "VERCLR": [3.0], "CATBRG": ["1"],
            }),
        }
    )  # fmt: skip
    line = _refusal(chart, boat, (0, -900), (0, 900))
    east, north = _place(line)
    assert abs(north) < 45.0 and abs(east) < 305.0
    assert "by a bridge that does not clear (bridge" in line and "Shut Bridge" in line and "3.0 m clear" in line


def test_own_water_to_keep_out_of_is_named(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    knowledge = Knowledge(tmp_path / "own.gpkg")
    lat, lon = FRAME.to_geographic(np.array([-6100.0, 6100.0]), np.array([-1900.0, -1800.0]))
    knowledge.add_keep_out(shapely.box(lon[0], lat[0], lon[1], lat[1]), "regatta", since_ns=0)
    line = _refusal(made_chart, boat, (-4000, -3000), (-4000, -800), knowledge=knowledge)
    assert "by water to keep out of (your own water to keep out of: regatta)" in line


def test_an_end_far_from_deep_water_is_told_how_far_and_why(made_chart: Chart, boat: Boat) -> None:
    line = _refusal(made_chart, boat, (0, -500), (-3000, 2500))
    assert line.startswith("the end lies more than 500 m from water deep enough on the chart, the nearest of it ")
    # In the middle of the band: 500 m to either edge, 25 m of the track, and a square or two of the grid.
    away = re.search(r"nearest of it (\d+) m off", line)
    assert away is not None and 520 <= int(away[1]) <= 560
    assert "here lies water too shallow (charted 0.5 m" in line


def test_the_rough_reading_tells_open_from_closed(made_chart: Chart, boat: Boat) -> None:
    # No tautology: the same brute-force reading finds water open where it is, and a place closed only where it is.
    path = Path(made_chart.cells[0].path)
    cell, hull = Cell(path), hull_of(boat)
    assert joined(cell, hull, (_at(-1000, 600), _at(3000, 600)))
    assert not joined(cell, hull, (_at(0, 1400), _at(0, 3600)))
    assert is_closed(cell, hull, "it closes at 10°01.400'N 140°00.000'W for 9 m")  # north 2580
    assert not is_closed(cell, hull, "it closes at 10°00.600'N 140°00.000'W for 9 m")  # north 1106
    assert not is_closed(cell, hull, "it is closed somewhere")


def test_a_way_says_why_it_is_not_straight_and_which_side_to_keep(
    chart_with: Callable[[Any], Chart], boat: Boat
) -> None:
    chart = chart_with(
        {
            "LNDARE": ([shapely.box(-20, -5500, 20, 1500)], {"OBJNAM": ["Wall"]}),
            "FAIRWY": ([shapely.box(-3000, -3200, -200, -2800)], {"OBJNAM": ["Reach"]}),
        }
    )
    notes = propose(chart, boat, _at(-2500.0, -3000.0), _at(900.0, -3500.0)).notes
    assert any(
        re.search(r"^it is \d\.\d times as long as the straight way: straight across lies .*land", n) for n in notes
    )
    assert any("in a marked channel: keep to its starboard side (Rule 9)" in n for n in notes)
    straight = propose(chart, boat, _at(2500, -4000), _at(4500, -4000)).notes
    assert straight == ()


@pytest.mark.parametrize(("heading", "is_told"), [(90.0, False), (270.0, True)])
def test_a_lane_run_against_its_direction_is_told(
    chart_with: Callable[[Any], Chart], boat: Boat, heading: float, is_told: bool
) -> None:
    lane = shapely.box(-4000, -4300, 4500, -3700)
    chart = chart_with({"TSSLPT": ([lane], {"OBJNAM": ["Lane"], "ORIENT": [heading]})})
    notes = propose(chart, boat, _at(1500, -4000), _at(4000, -4000)).notes
    assert any("against the direction of Lane, 270° (Rule 10)" in n for n in notes) is is_told


def test_between_piles_that_leave_her_room_the_way_is_found_and_said(
    chart_with: Callable[[Any], Chart], boat: Boat
) -> None:
    # A wall with a gate of 120 m, and in the gate piles 30 m apart: 15 m to either side of her, who needs 5.5.
    wall = [shapely.box(-6000, -40, -60, 40), shapely.box(60, -40, 6000, 40)]
    piles = [shapely.Point(east, 0.0) for east in (-45.0, -15.0, 15.0, 45.0)]
    chart = chart_with({"LNDARE": (wall, {"OBJNAM": ["West", "East"]}), "PILPNT": (piles, {"CATPLE": [1, 1, 1, 1]})})
    found = propose(chart, boat, _at(0, -900), _at(0, 900))
    assert any("no wider way was found" in note for note in found.notes)
    assert make_plan(chart, found.route, boat, 1_930_000_000.0, Night(wanted_kn=6.0), events=False).refused == ()
