"""Tides and streams that go with the sun alone, to the second and the millimetre, and triangles on every course.

S2 turns thirty degrees an hour and has no factor of the node (Schureman, Special Publication 98, table 2): with a phase
of g degrees it is high g / 30 hours after midnight and noon, UTC.
"""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.errors import InputError
from moonless.sea.stations import Stations, read_stations
from moonless.sea.stream import StreamHere, course_to_steer
from moonless.sea.tide import TideHere, tide_between
from moonless.sea.waves import significant_wave_height
from moonless.units import kn_to_mps

NOON = datetime(2031, 3, 24, 12, tzinfo=UTC).timestamp()
HOUR = 3600.0


def _tide(name: str, lat: float = 10.0, phase: float = 0.0, amplitude: float = 1.5, **change: Any) -> dict[str, Any]:
    return {
        "kind": "tide", "id": name, "name": name, "latitude": lat, "longitude": -140.0,
        "harmonic_constituents": [{"name": "S2", "amplitude": amplitude, "phase": phase}],
        "datums": {"MSL": 2.0, "MLLW": 0.0, "MHW": 3.2, "LAT": -0.4}, "chart_datum": "MLLW", **change,
    }  # fmt: skip


def _read(path: Path, *records: dict[str, Any]) -> Stations:
    path.write_text(json.dumps(records), encoding="utf-8")
    return read_stations([path])


@pytest.mark.parametrize("phase", [0.0, 41.0, 133.7, 200.0, 359.0])
def test_high_and_low_water_to_the_second(tmp_path: Path, phase: float) -> None:
    stations = _read(tmp_path / "s.json", _tide("a", phase=phase))
    high = NOON + phase / 30.0 * HOUR
    found = TideHere(stations.tides["a"], stations).extremes(high - 7.0 * HOUR, high + 7.0 * HOUR)
    assert [(e.kind, round(e.height_m, 3)) for e in found] == [("low", 0.5), ("high", 3.5), ("low", 0.5)]
    for event, hours in zip(found, (-6.0, 0.0, 6.0), strict=True):
        assert abs(event.time_s - high - hours * HOUR) < 2.0
    # What lies outside the span asked for, by a minute, is not told.
    only = TideHere(stations.tides["a"], stations).extremes(high - 6.0 * HOUR + 60.0, high + 6.0 * HOUR - 60.0)
    assert [e.kind for e in only] == ["high"]
    many = TideHere(stations.tides["a"], stations).extremes(high - 60.0, high + 48.0 * HOUR + 60.0)
    assert [e.kind for e in many] == ["high", "low"] * 4 + ["high"]


@pytest.mark.parametrize(("high_min", "low_min"), [(90.0, -50.0), (-170.0, -20.0), (15.0, 200.0)])
def test_a_station_that_follows_another_earlier_or_later(tmp_path: Path, high_min: float, low_min: float) -> None:
    height = {"type": "ratio", "high": 0.8, "low": 0.6}
    follows = _tide(
        "b",
        harmonic_constituents=[],
        offsets={"reference": "a", "time": {"high": high_min, "low": low_min}, "height": height},
    )
    here_of = _read(tmp_path / "s.json", _tide("a"), follows)
    here = TideHere(here_of.tides["b"], here_of)
    turns = ((NOON + high_min * 60.0, "high", 3.5 * 0.8), (NOON - 6.0 * HOUR + low_min * 60.0, "low", 0.5 * 0.6))
    for at_s, kind, height_m in turns:
        (first, *_) = here.extremes(at_s - 30.0, at_s + 13.0 * HOUR)
        assert abs(first.time_s - at_s) < 3.0 and first.kind == kind
        assert first.height_m == pytest.approx(height_m, abs=0.002)
    # Half way between a low and the high after it the water stands half way up.
    low, high = NOON - 6.0 * HOUR + low_min * 60.0, NOON + high_min * 60.0
    assert here.heights((low + high) / 2.0)[0] == pytest.approx((2.8 + 0.3) / 2.0, abs=0.005)


def test_between_stations_each_weighs_by_how_near_it_is(tmp_path: Path) -> None:
    mile = 1852.0 / 110_600.0  # of latitude at ten degrees
    at_noon = {"a": 3.5, "b": 2.0 + 1.5 * math.cos(math.radians(90.0))}
    stations = _read(tmp_path / "s.json", _tide("a"), _tide("b", 10.0 + 6.0 * mile, 90.0))
    # Two miles from one and four from the other: two thirds and a third.
    tide = tide_between(stations, 10.0 + 2.0 * mile, -140.0)
    assert tide.heights(NOON)[0] == pytest.approx((2.0 * at_noon["a"] + at_noon["b"]) / 3.0, abs=0.01)
    assert tide.how.startswith("Interpolated by distance between a 2.0 NM off, b 4.0 NM off, above MLLW.")
    assert (tide.datum, tide.mean_high_water_m, tide.over_datum_m("LAT")) == (
        "MLLW",
        pytest.approx(3.2),
        pytest.approx(0.4),
    )
    # Within a kilometre of one it alone speaks.
    for metres, n in ((990.0, 1), (1010.0, 2)):
        near = tide_between(stations, 10.0 + metres / 110_600.0, -140.0)
        assert len(near.parts) == n
    assert tide_between(stations, 10.0, -140.0).how.startswith("Predicted tide at a 0.0 NM off")
    # Three at the most; none of another datum; what one of them does not know is not known.
    more = [_tide(f"c{k}", 10.0 + (6.5 + k) * mile) for k in range(3)]
    three = tide_between(
        _read(tmp_path / "t.json", _tide("a"), _tide("b", 10.0 + 6.0 * mile), *more), 10.0 + 2.0 * mile, -140.0
    )
    assert [here.station.name for _, here in three.parts] == ["a", "b", "c0"]
    other = _tide("b", 10.0 + 6.0 * mile, chart_datum="LAT")
    one = tide_between(_read(tmp_path / "u.json", _tide("a"), other), 10.0 + 2.0 * mile, -140.0)
    assert [here.station.name for _, here in one.parts] == ["a"]
    bare = _tide("b", 10.0 + 6.0 * mile, datums={"MSL": 2.0, "MLLW": 0.0})
    unknown = tide_between(_read(tmp_path / "v.json", _tide("a"), bare), 10.0 + 2.0 * mile, -140.0)
    assert unknown.mean_high_water_m is None and unknown.over_datum_m("LAT") is None


def test_slack_is_no_stream_and_strength_is_the_amplitude(tmp_path: Path) -> None:
    record = {
        "kind": "current", "id": "s", "name": "Race", "latitude": 10.0, "longitude": -140.0,
        "harmonic_constituents": [{"name": "S2", "amplitude": 2.0, "phase": 0.0}],
        "current": {"flood_direction": 40.0, "ebb_direction": 235.0, "mean_flow": 0.5},
    }  # fmt: skip
    stations = _read(tmp_path / "s.json", record)
    here = StreamHere(stations.streams["s"], stations)
    events = here.events(NOON - HOUR, NOON + 11.0 * HOUR)
    # Slack where 2 cos(30 t) = -0.5: 104.48 degrees, 3.483 h after the flood and as long before the next.
    slack = math.degrees(math.acos(-0.25)) / 30.0
    assert [(e.kind, round(e.speed / kn_to_mps(1.0), 2)) for e in events] == [
        ("flood", 2.5), ("slack before ebb", 0.0), ("ebb", -1.5), ("slack before flood", 0.0),
    ]  # fmt: skip
    for event, hours in zip(events, (0.0, slack, 6.0, 12.0 - slack), strict=True):
        assert abs(event.time_s - NOON - hours * HOUR) < 90.0
    east, north = here.velocity([NOON, NOON + 6.0 * HOUR])
    for k, (speed, way) in enumerate(((2.5, 40.0), (1.5, 235.0))):
        assert east[k] == pytest.approx(kn_to_mps(speed) * math.sin(math.radians(way)), abs=1e-3)
        assert north[k] == pytest.approx(kn_to_mps(speed) * math.cos(math.radians(way)), abs=1e-3)


@given(st.floats(0.0, 6.28), st.floats(0.3, 9.0), st.floats(0.0, 6.28), st.floats(0.0, 4.0))
def test_what_is_steered_and_the_stream_make_the_track_good(
    track: float, boat: float, set_: float, drift: float
) -> None:
    stream = drift * math.sin(set_), drift * math.cos(set_)
    found = course_to_steer(track, boat, *stream)
    across, along = drift * math.sin(set_ - track), drift * math.cos(set_ - track)
    if found is None:
        assert abs(across) > boat * (1.0 - 1e-9) or along + math.sqrt(max(boat**2 - across**2, 0.0)) <= 1e-9
        return
    east = boat * math.sin(found.course_rad) + stream[0]
    north = boat * math.cos(found.course_rad) + stream[1]
    assert east == pytest.approx(found.speed_over_ground * math.sin(track), abs=1e-6)
    assert north == pytest.approx(found.speed_over_ground * math.cos(track), abs=1e-6)
    assert found.speed_over_ground > 0.0 and 0.0 <= found.course_rad <= math.tau


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("track", [0.0, 2.0, 5.0])
def test_a_stream_across_that_is_stronger_than_the_boat_cannot_be_stemmed(side: float, track: float) -> None:
    for drift, is_steered in ((1.99, True), (2.01, False)):
        a = track + side * math.pi / 2.0
        found = course_to_steer(
            track, 2.0, drift * math.sin(a) + 0.3 * math.sin(track), drift * math.cos(a) + 0.3 * math.cos(track)
        )
        assert (found is not None) is is_steered
    # A boat without way is set along with it.
    still = course_to_steer(math.pi / 2.0, 0.0, 0.8, 0.0)
    assert still is not None and still.speed_over_ground == pytest.approx(0.8)
    assert still.course_rad == pytest.approx(math.pi / 2.0)


def test_waves_grow_to_what_the_wind_can_raise() -> None:
    """Shore Protection Manual (1984) eq. 3-33, 3-28a, from memory: 15 m/s over 20 km; fully arisen 0.2433 U_A^2 / g."""
    adjusted = 0.71 * 15.0**1.23
    assert significant_wave_height(15.0, 20_000.0) == pytest.approx(
        1.6e-3 * adjusted * math.sqrt(20_000.0 / 9.80665), rel=1e-3
    )
    assert significant_wave_height(15.0, 1e9) == pytest.approx(0.2433 * adjusted**2 / 9.80665, rel=1e-3)
    assert significant_wave_height(0.0, 1e5) == 0.0 and significant_wave_height(10.0, 0.0) == 0.0
    for wind, fetch in ((-1.0, 100.0), (5.0, -1.0)):
        with pytest.raises(InputError, match="neither can be negative"):
            significant_wave_height(wind, fetch)
