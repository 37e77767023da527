"""What the chart has ahead in one turn, and the stop: against plain steps."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, FakeChart, make_boat, make_situation
from test_one_turn import OWN_EAST, OWN_NORTH, unit

from moonless.chart.types import Feature
from moonless.reading.judge import Judge
from moonless.reading.situation import OwnState


@pytest.mark.parametrize(
    ("speed", "expected"),
    [
        (0.0, 0.0),
        (2.57, 12.0 + 25.7),
        (5.14, 40.0 + 51.4),
        (10.29, 120.0 + 102.9),
        (3.855, 26.0 + 38.55),  # half way between two trials
        # Past the fastest trial the energy to be lost grows as the square: twice the speed, four times the way.
        (20.58, 480.0 + 205.8),
        (15.435, 270.0 + 154.35),
    ],
)
def test_the_stopping_line(speed: float, expected: float) -> None:
    reading = Judge(make_boat()).read(make_situation([], sog=speed))
    assert reading.stopping_m == pytest.approx(expected, abs=1e-6)


def test_the_stopping_line_without_trials_is_half_the_square_over_the_slowing() -> None:
    # A quarter of a metre a second squared, assumed and said: 6 m/s over 12 s and a half of the way.
    reading = Judge(make_boat(stopping=())).read(make_situation([], sog=6.0))
    assert reading.stopping_m == pytest.approx(6.0 * 6.0 / (2.0 * 0.25) + 60.0)


def _area(shape: Any, shallow_m: float | None, object: str = "DEPARE") -> Feature:
    given = {} if shallow_m is None else {"DRVAL1": shallow_m, "VALSOU": shallow_m, "DRVAL2": shallow_m + 2.0}
    return Feature(object, "TEST", f"{object} {shape.centroid}", shape, given, 10_000)


def _box(course_deg: float, from_m: float, off_m: float = 0.0, half_m: float = 150.0) -> Any:
    here = np.array([OWN_EAST, OWN_NORTH])
    along, side = unit(course_deg), unit(course_deg + 90.0)
    low, high, far_m = off_m - half_m, off_m + half_m, from_m + 400.0
    corners = [(from_m, low), (far_m, low), (far_m, high), (from_m, high)]
    return shapely.Polygon([here + a * along + b * side for a, b in corners])


@pytest.mark.parametrize("course_deg", [17.0, 200.0])
@pytest.mark.parametrize(
    ("what", "depth_m", "tide_m", "away_m", "urgency", "words"),
    [
        # 5 m/s: she needs 0.9 + 0.5 m and squats 0.3 m, a third of her draught at the most: 1.7 m of water.
        # She runs 88.5 m on until she lies stopped: 10.3 s before that the order is shouted, and given 40 s before.
        ("DEPARE", 1.6, 0.0, 140.0, 4, "Water too shallow, 1.6 metres charted and 0.0 of tide."),
        ("DEPARE", 1.6, 0.0, 200.0, 3, "Water too shallow, 1.6 metres charted and 0.0 of tide."),
        ("DEPARE", 1.6, None, 140.0, 4, "Water too shallow, 1.6 metres charted."),
        ("DEPARE", 1.6, 0.2, 140.0, None, ""),
        ("DEPARE", 1.8, 0.0, 140.0, None, ""),
        ("DEPARE", 1.8, -0.2, 140.0, 4, "Water too shallow, 1.8 metres charted and -0.2 of tide."),
        ("DEPARE", None, 0.0, 140.0, 2, "Unsurveyed water."),
        ("LNDARE", None, 0.0, 140.0, 4, "Land."),
        ("LNDARE", None, 0.0, 580.0, 2, "Land."),
        ("LNDARE", None, 0.0, 620.0, None, ""),
        # And a wreck must lie deeper by what an A1 survey may be out, 0.5 m and a hundredth.
        ("WRECKS", 1.6, 0.0, 140.0, 4, "A charted wreck, 1.6 metres charted and 0.0 of tide."),
        ("WRECKS", 2.1, 0.0, 140.0, 4, "A charted wreck, 2.1 metres charted and 0.0 of tide."),
        ("WRECKS", None, 0.0, 140.0, 4, "A charted wreck."),
        ("WRECKS", 2.3, 0.0, 140.0, None, ""),
        ("SLCONS", None, 0.0, 140.0, 4, "Charted shore works."),
    ],
)
def test_what_the_chart_has_ahead(
    course_deg: float, what: str, depth_m: float | None, tide_m: float | None, away_m: float, urgency: int | None,
    words: str,
) -> None:  # fmt: skip
    lat, lon = FRAME.to_geographic(OWN_EAST, OWN_NORTH)
    heading = course_deg + 30.0
    own = OwnState(float(lat), float(lon), math.radians(heading), math.radians(course_deg), 5.0)
    shape = _box(course_deg, away_m)
    if what == "WRECKS":
        shape = shapely.Point(np.array([OWN_EAST, OWN_NORTH]) + away_m * unit(course_deg))
    chart = FakeChart(depths=(_area(shape, depth_m, what),))
    reading = Judge(make_boat(), chart).read(make_situation([], own=own, tide_m=tide_m))
    calls = reading.calls
    assert [c.urgency for c in calls] == ([] if urgency is None else [urgency])
    if urgency is not None:
        far = {140.0: "one cable", 200.0: "one cable", 580.0: "three cables"}[away_m]
        words = words.removesuffix(".")
        if urgency == 2:
            assert calls[0].say == f"{words} ahead, {far}."
            return
        # The order first, and what for; how deep stands on the sheet.
        order = reading.instruction
        assert order is not None and order.do in ("turn", "slow", "stop")
        assert order.because.startswith(f"{words} ahead, {far}.")
        bare = words.split(",")[0].removeprefix("A charted ").removeprefix("Charted ").capitalize()
        told = calls[0].say.split(". ")[1].rstrip(".")
        # How far goes where there is no room for it: twelve words are all that is spoken.
        assert told in (f"{bare} ahead, {far}", f"{bare} ahead")
        assert told.endswith(far) or len(f"{calls[0].say} {far}".split()) > 12
        assert calls[0].say.split()[0] == {"turn": "Turn", "slow": "Slow", "stop": "Stop."}[order.do]


def test_a_structure_beside_the_way_is_no_alarm_and_land_beside_it_is_near() -> None:
    # The corridor is 1.5 beams and 5 m to each side, 9.5 m; her own swept width 1.5 m and what position may be off, 4.
    own_at = FRAME.to_geographic(OWN_EAST, OWN_NORTH)
    own = OwnState(float(own_at[0]), float(own_at[1]), math.radians(77.0), math.radians(77.0), 5.0)
    for what, urgency in (("SLCONS", 1), ("LNDARE", 2)):
        chart = FakeChart(depths=(_area(_box(77.0, 100.0, off_m=27.0, half_m=20.0), None, what),))
        (call,) = Judge(make_boat(), chart).read(make_situation([], own=own)).calls
        assert call.urgency == urgency and "close beside the way" in call.say
    chart = FakeChart(depths=(_area(_box(77.0, 100.0, off_m=25.0, half_m=20.0), None, "SLCONS"),))
    (call,) = Judge(make_boat(), chart).read(make_situation([], own=own)).calls
    assert call.urgency == 4 and "beside" not in call.say


@pytest.mark.parametrize(
    ("sounded_m", "tide_m", "says"),
    [
        (30.5, 1.0, None),
        (20.0, 1.0, "The sounder has 20.0 metres, chart and tide at least 31.0."),
        (90.0, 1.0, "The sounder has 90.0 metres, chart and tide at most 66."),
        (20.0, None, None),  # without the tide nothing is held against the chart
    ],
)
def test_the_sounder_against_the_chart(sounded_m: float, tide_m: float | None, says: str | None) -> None:
    turn = make_situation([], sog=0.0, depth_below_surface_m=sounded_m, tide_m=tide_m)
    calls = Judge(make_boat(), FakeChart()).read(turn).calls
    assert [c.say for c in calls] == ([] if says is None else [says])
    assert [c.urgency for c in calls] == ([] if says is None else [3 if sounded_m < 31.0 else 2])


def _calls_over(*areas: Feature, course_deg: float = 77.0) -> list[tuple[int, str]]:
    lat, lon = FRAME.to_geographic(OWN_EAST, OWN_NORTH)
    own = OwnState(float(lat), float(lon), math.radians(course_deg), math.radians(course_deg), 5.0)
    calls = Judge(make_boat(), FakeChart(depths=areas)).read(make_situation([], own=own, tide_m=0.0)).calls
    return [(call.urgency, call.say) for call in calls]


def test_what_lies_beside_does_not_hide_what_lies_ahead() -> None:
    """A bank close beside the way is nearer than the one dead ahead; both are told, the one ahead as it must be."""
    beside = _area(_box(77.0, 40.0, off_m=27.0, half_m=20.0), None, "LNDARE")
    dead_ahead = _area(_box(77.0, 445.0, half_m=20.0), None, "LNDARE")
    near = _area(_box(77.0, 130.0, half_m=1.0), None, "LNDARE")
    assert [u for u, _ in _calls_over(beside)] == [2]
    told = _calls_over(beside, near)
    assert told[0][0] == 4 and "Land ahead" in told[0][1] and "beside" not in told[0][1]
    assert _calls_over(beside, dead_ahead)[0][0] == 2


def test_the_most_urgent_of_many_dangers_is_told() -> None:
    """Unsurveyed water and a pier beside the way lie nearer than a wreck dead ahead."""
    unsurveyed = _area(_box(77.0, 20.0, half_m=150.0), None, "UNSARE")
    pier = _area(_box(77.0, 60.0, off_m=27.0, half_m=20.0), None, "SLCONS")
    wreck = _area(shapely.Point(np.array([OWN_EAST, OWN_NORTH]) + 130.0 * unit(77.0)), 0.5, "WRECKS")
    told = _calls_over(unsurveyed, pier, wreck)
    assert told[0][0] == 4 and "Wreck ahead" in told[0][1], told
