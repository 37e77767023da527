"""A tide and a stream that go with the sun alone: their height at any time is a cosine of twelve hours, by hand."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path

import pytest

from moonless.passage.water import Water
from moonless.sea.stations import Stations, read_stations

# S2 turns thirty degrees an hour (Schureman, Special Publication 98, table 2), with no factor of the node: with no
# phase it is high at midnight and noon, UTC.
NOON = datetime(2031, 3, 24, 12, tzinfo=UTC).timestamp()
HOUR = 3600.0
MILE_DEG = 1852.0 / 110_600.0  # a mile of latitude at ten degrees


@pytest.fixture
def stations(tmp_path: Path) -> Stations:
    tide = {
        "kind": "tide", "id": "t", "name": "Made", "latitude": 10.0, "longitude": -140.0,
        "harmonic_constituents": [{"name": "S2", "amplitude": 1.5, "phase": 0.0}],
        "datums": {"MSL": 1.5, "MLLW": 0.0, "MHW": 2.6}, "chart_datum": "MLLW",
    }  # fmt: skip
    stream = {
        "kind": "current", "id": "s", "name": "Race", "latitude": 10.0, "longitude": -140.0,
        "harmonic_constituents": [{"name": "S2", "amplitude": 2.0, "phase": 0.0}],
        "current": {"flood_direction": 40.0, "ebb_direction": 235.0, "mean_flow": 0.0},
    }  # fmt: skip
    path = tmp_path / "made.json"
    path.write_text(json.dumps([tide, stream]), encoding="utf-8")
    return read_stations([path])


def _height(hours: float) -> float:
    return 1.5 + 1.5 * math.cos(math.radians(30.0 * hours))


@pytest.mark.parametrize("hours", [-13.0, -3.03, 0.0, 1.37, 4.9, 6.0, 11.98, 12.05, 30.0])
def test_tide_and_stream_at_any_time_of_day(stations: Stations, hours: float) -> None:
    there = Water(stations).at(10.0, -140.0, NOON + hours * HOUR)
    assert there.tide_m == pytest.approx(_height(hours), abs=0.002) and there.time_s == NOON + hours * HOUR
    flood = 2.0 * math.cos(math.radians(30.0 * hours))
    assert there.stream_drift_kn == pytest.approx(abs(flood), abs=0.01)
    if abs(flood) > 0.05:
        assert there.stream_set_deg == pytest.approx(40.0 if flood > 0.0 else 235.0)
    assert there.stream_how == "stream at Race, 0.0 NM off"


def test_a_stream_speaks_two_miles_about_and_no_farther(stations: Stations) -> None:
    water = Water(stations)
    near, far = (water.at(10.0 + miles * MILE_DEG, -140.0, NOON) for miles in (1.9, 2.1))
    assert near.stream_drift_kn == pytest.approx(2.0, abs=0.01) and near.stream_how.endswith("1.9 NM off")
    assert (far.stream_drift_kn, far.stream_set_deg, far.stream_how) == (None, None, "no stream station within 2 NM")
    none = Water(None).at(10.0, -140.0, NOON)
    assert (none.tide_m, none.stream_drift_kn, none.tide_how) == (None, None, "no tide stations given")
    nowhere = water.at(40.0, -140.0, NOON)
    assert nowhere.tide_m is None and nowhere.tide_how


def test_high_and_low_waters_with_their_heights(stations: Stations) -> None:
    turns = Water(stations).tide_turns(10.0, -140.0, NOON - 7.0 * HOUR, NOON + 7.0 * HOUR)
    assert [(round((t - NOON) / HOUR, 2), words) for t, words in turns] == [
        (-6.0, "low water 0.0 m at Made"), (0.0, "high water 3.0 m at Made"), (6.0, "low water 0.0 m at Made"),
    ]  # fmt: skip
    assert Water(None).tide_turns(10.0, -140.0, NOON, NOON + HOUR) == ()
    assert Water(stations).tide_turns(40.0, -140.0, NOON, NOON + 24.0 * HOUR) == ()


@pytest.mark.parametrize(("begin", "end"), [(1.0, 2.5), (-2.0, 1.0), (4.0, 7.0), (5.0, 5.01)])
def test_the_lowest_of_a_leg_and_how_far_over_mean_high_water_it_comes(
    stations: Stations, begin: float, end: float
) -> None:
    lowest, over = Water(stations).range_m(10.0, -140.0, NOON + begin * HOUR, NOON + end * HOUR)
    heights = [_height(begin + (end - begin) * k / 1000.0) for k in range(1001)]
    assert lowest == pytest.approx(min(heights), abs=0.005)
    assert over == pytest.approx(max(heights) - 2.6, abs=0.005)
    assert Water(None).range_m(10.0, -140.0, NOON, NOON + HOUR) == (None, None)
    assert Water(stations).range_m(40.0, -140.0, NOON, NOON + HOUR) == (None, None)


def test_when_there_is_water_enough(stations: Stations) -> None:
    """2.25 m is half the amplitude over the middle: two hours to both sides of high water."""
    spans = Water(stations).enough(10.0, -140.0, 2.25, NOON - 9.0 * HOUR, NOON + 9.0 * HOUR)
    assert spans is not None
    assert [(round((a - NOON) / HOUR, 1), round((b - NOON) / HOUR, 1)) for a, b in spans] == [(-2.0, 2.0)]
    at_high = Water(stations).enough(10.0, -140.0, 2.25, NOON - HOUR, NOON + HOUR)
    assert at_high is not None and at_high[0][0] == NOON - HOUR and at_high[0][1] >= NOON + HOUR
    assert Water(stations).enough(10.0, -140.0, 3.1, NOON - HOUR, NOON + HOUR) == ()
    assert Water(stations).enough(40.0, -140.0, 1.0, NOON - HOUR, NOON + HOUR) is None


def test_a_tide_over_another_datum_is_added_to_or_doubted(stations: Stations) -> None:
    water = Water(stations)
    # Above mean sea level the same water stands 1.5 m lower.
    assert water.over_datum_m(10.0, -140.0, "MLLW") == (0.0, "")
    assert water.over_datum_m(10.0, -140.0, "MSL") == (pytest.approx(-1.5), "")
    step, doubt = water.over_datum_m(10.0, -140.0, "LAT")
    assert step == 0.0 and "LAT" in doubt and "MLLW" in doubt
    assert water.over_datum_m(10.0, -140.0, "") == Water(None).over_datum_m(10.0, -140.0, "LAT") == (0.0, "")
