"""A proposed way leaves marks on their side, and goes where the chart offers a way."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.channels import hand_of
from moonless.chart.library import Chart
from moonless.chart.types import Mark
from moonless.errors import InputError
from moonless.frames import LocalFrame
from moonless.passage.way.buoyage import fences
from moonless.passage.way.propose import propose

FRAME = LocalFrame(10.0, -140.0)
ChartWith = Callable[[dict[str, Any]], Chart]


def _track(chart: Chart, boat: Boat, start: tuple[float, float], end: tuple[float, float]) -> shapely.LineString:
    ends = [tuple(float(v) for v in FRAME.to_geographic(*place)) for place in (start, end)]
    route = propose(chart, boat, (ends[0][0], ends[0][1]), (ends[1][0], ends[1][1])).route
    return shapely.LineString([FRAME.to_plane(w.lat_deg, w.lon_deg) for w in route.waypoints])


@pytest.mark.parametrize(
    ("given", "system", "hand"),
    [
        # IALA Maritime Buoyage System: region A red to port, region B red to starboard, when coming from seaward.
        ({"COLOUR": [3]}, 1, "port"), ({"COLOUR": [3]}, 2, "starboard"),
        ({"COLOUR": [4]}, 1, "starboard"), ({"COLOUR": [4]}, 2, "port"),
        # CATLAM says the hand whatever the colour: 1 port, 2 starboard (S-57 appendix A, attribute 36).
        ({"CATLAM": 1, "COLOUR": [4]}, 2, "port"), ({"CATLAM": 2, "COLOUR": [3]}, 2, "starboard"),
        ({"COLOUR": [6]}, 1, None), ({"COLOUR": [3]}, None, None), ({}, 1, None),
    ],
)  # fmt: skip
def test_the_hand_of_a_lateral_mark(given: dict[str, Any], system: int | None, hand: str | None) -> None:
    mark = Mark("BOYLAT", None, "X", "1", 0.0, 0.0, None, True, None, False, False, False, given)
    assert hand_of(mark, system) == hand


@pytest.mark.parametrize(
    ("catcam", "start", "end", "side"),
    [
        # A straight way would pass a hundred metres off on the wrong side.
        (1, (-4000.0, -4100.0), (-2000.0, -4100.0), (0.0, 1.0)),
        (3, (-4000.0, -3900.0), (-2000.0, -3900.0), (0.0, -1.0)),
        (2, (-3100.0, -5000.0), (-3100.0, -3000.0), (1.0, 0.0)),
        (4, (-2900.0, -5000.0), (-2900.0, -3000.0), (-1.0, 0.0)),
    ],
)
def test_a_cardinal_mark_is_left_on_its_side(
    chart_with: ChartWith, boat: Boat, catcam: int, start: tuple[float, float], end: tuple[float, float],
    side: tuple[float, float],
) -> None:  # fmt: skip
    mark = (-3000.0, -4000.0)
    chart = chart_with({"BOYCAR": ([shapely.Point(mark)], {"CATCAM": [catcam]})})
    track = _track(chart, boat, start, end)
    near = track.interpolate(track.project(shapely.Point(mark)))
    assert (near.x - mark[0]) * side[0] + (near.y - mark[1]) * side[1] > 10.0


def test_a_way_goes_between_the_marks_of_a_gate(chart_with: ChartWith, boat: Boat) -> None:
    # Two hands 200 m apart, north and south of each other; straight on, both would be left to the north.
    gate = [shapely.Point(-3000.0, -3900.0), shapely.Point(-3000.0, -4100.0)]
    chart = chart_with({"BOYLAT": (gate, {"CATLAM": [1, 2]})})
    track = _track(chart, boat, (-4000.0, -4300.0), (-2000.0, -4300.0))
    assert track.crosses(shapely.LineString(gate)) or track.distance(gate[1]) > 380.0


@pytest.mark.parametrize("hand", [1, 2])
@pytest.mark.parametrize("inside_m", [-30.0, 30.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_mark_at_the_edge_of_a_fairway_warns_of_what_lies_beyond(
    chart_with: ChartWith, hand: int, inside_m: float, side: float
) -> None:
    """A lone mark by the edge of a charted fairway, 400 m wide, east and west: whichever hand it is of, the fence over
    it runs straight away from the fairway."""
    middle = -4000.0
    fairway = shapely.box(-5500.0, middle - 200.0, -500.0, middle + 200.0)
    mark = (-3000.0, middle + side * (200.0 - inside_m))
    chart = chart_with(
        {"FAIRWY": ([fairway], {"ORIENT": [90.0]}), "BOYLAT": ([shapely.Point(mark)], {"CATLAM": [hand]})}
    )
    lat, lon = (float(v) for v in FRAME.to_geographic(*mark))
    local = chart.around(lat, lon, 2500.0)
    ((begin, end),) = (line.coords for line in fences(local, shapely.Polygon()) if line.length > 300.0)
    assert begin == pytest.approx(local.frame.to_plane(lat, lon), abs=1.0)
    assert (end[0] - begin[0], end[1] - begin[1]) == pytest.approx((0.0, 400.0 * side), abs=5.0)


def test_a_caution_area_is_gone_round_where_that_is_not_far(chart_with: ChartWith, boat: Boat) -> None:
    area = shapely.box(-3300.0, -4500.0, -2700.0, -3900.0)
    chart = chart_with({"CTNARE": ([area], {"INFORM": ["Fish traps"]})})
    track = _track(chart, boat, (-4500.0, -4000.0), (-1500.0, -4000.0))
    assert not track.intersects(area)


def test_no_leg_of_seconds_and_the_start_told_where_it_was_moved(made_chart: Chart, boat: Boat) -> None:
    # The start lies on the cay's edge.
    at = [tuple(float(v) for v in FRAME.to_geographic(*place)) for place in ((505.0, 600.0), (-3000.0, 600.0))]
    found = propose(made_chart, boat, (at[0][0], at[0][1]), (at[1][0], at[1][1]))
    assert any("start was moved" in note for note in found.notes)
    assert min(leg.length_m for leg in found.route.legs) > 100.0


def test_places_that_no_way_joins_say_so(chart_with: ChartWith, boat: Boat) -> None:
    wall = shapely.box(-3100.0, -6000.0, -3000.0, 6000.0)
    chart = chart_with({"LNDARE": ([wall], {"OBJNAM": ["Wall"]})})
    with pytest.raises(InputError, match="no water deep enough"):
        _track(chart, boat, (-4000.0, -4000.0), (-2000.0, -4000.0))
