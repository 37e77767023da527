"""Stations made so that the answer is known by hand: one constituent, one datum, one set of differences."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from moonless.errors import NoCoverage, SourceError
from moonless.sea.stations import Stations, read_stations
from moonless.sea.stream import StreamHere
from moonless.sea.tide import TideHere, half_cosine, tide_between
from moonless.units import kn_to_mps

START = datetime(2026, 3, 1, tzinfo=UTC).timestamp()
DAY = 86_400.0


def _record(kind: str, id_: str, **more: Any) -> dict[str, Any]:
    constants = [{"name": "S2", "amplitude": 1.2, "phase": 0.0}]  # S2 turns with the sun: high at 0 and 12 h UTC
    base = {"kind": kind, "id": id_, "name": id_, "latitude": 10.0, "longitude": -40.0}
    return {**base, "harmonic_constituents": constants, **more}


def _read(path: Path, *records: dict[str, Any]) -> Stations:
    path.write_text(json.dumps(records), encoding="utf-8")
    stations = read_stations([path])
    assert stations.warnings == ()
    return stations


def test_heights_stand_on_chart_datum(tmp_path: Path) -> None:
    # Datums stand above the station's own zero: mean level lies 5.0 - 2.5 m above the datum of the chart.
    datums = {"STND": 0.0, "MSL": 5.0, "MLLW": 2.5, "LAT": 2.0, "MHW": 6.1}
    stations = _read(
        tmp_path / "s.json",
        _record("tide", "a", datums=datums, chart_datum="MLLW"),
        _record("tide", "b", datums=datums, chart_datum="LAT"),
        _record("tide", "c", datums={"MSL": 5.0}, chart_datum="MLLW"),
        _record("tide", "d", datums={"MLLW": 2.5}, chart_datum="MLLW"),
    )
    times = START + np.arange(0.0, DAY, 600.0)
    a, b = (TideHere(stations.tides[k], stations) for k in "ab")
    assert a.heights(times).mean() == pytest.approx(2.5, abs=1e-3)
    assert b.heights(times).mean() == pytest.approx(3.0, abs=1e-3)
    assert a.heights(START)[0] == pytest.approx(2.5 + 1.2, abs=0.01)
    assert a.mean_high_water_m == pytest.approx(6.1 - 2.5)
    # Where the record lacks one of the two levels, the height over the chart's datum is not known: not nought.
    for k in "cd":
        with pytest.raises(NoCoverage, match="mean level above MLLW"):
            TideHere(stations.tides[k], stations)
    assert TideHere(stations.tides["a"], stations).extremes(START + 3600.0, START + DAY)[0].kind == "low"


def test_a_station_that_follows_nobody_known(tmp_path: Path) -> None:
    offsets = {"reference": "gone", "time": {"high": 0, "low": 0}, "height": {"high": 1, "low": 1, "type": "ratio"}}
    stations = _read(tmp_path / "s.json", _record("tide", "a", offsets=offsets))
    with pytest.raises(NoCoverage, match="follows gone"):
        TideHere(stations.tides["a"], stations)
    bare = _read(tmp_path / "t.json", {**_record("tide", "b"), "harmonic_constituents": []})
    with pytest.raises(NoCoverage, match="no harmonic constants"):
        TideHere(bare.tides["b"], bare)


@pytest.mark.parametrize(("kind", "high", "low"), [("ratio", 3.7 * 0.5, 1.3 * 2.0), ("fixed", 3.7 + 0.5, 1.3 + 2.0)])
def test_subordinate_tide(tmp_path: Path, kind: str, high: float, low: float) -> None:
    # NOAA Tide Tables, table 2: high and low each have their own minutes and their own ratio or difference.
    height = {"high": 0.5, "low": 2.0, "type": kind}
    offsets = {"reference": "a", "time": {"high": 30, "low": -20}, "height": height}
    stations = _read(
        tmp_path / "s.json",
        _record("tide", "a", datums={"MSL": 5.0, "MLLW": 2.5}),
        {**_record("tide", "b", offsets=offsets), "harmonic_constituents": []},
    )
    found = TideHere(stations.tides["b"], stations).extremes(START, START + DAY)
    highs = [e for e in found if e.kind == "high"]
    lows = [e for e in found if e.kind == "low"]
    assert [round((e.time_s - START) / 60) for e in highs] == [30, 750]
    assert [round((e.time_s - START) / 60) for e in lows] == [340, 1060]
    assert [e.height_m for e in highs] == pytest.approx([high] * 2, abs=0.01)
    assert [e.height_m for e in lows] == pytest.approx([low] * 2, abs=0.01)


def test_half_way_between_turning_points_is_half_the_range() -> None:
    # NOAA Tide Tables, table 3, is a half cosine: at half the time half the range, at a third a quarter.
    got = half_cosine(np.array([0.0, 2.0, 3.0, 6.0, 6.1, -0.1]), [0.0, 6.0], [1.0, 3.0])
    assert got[:4] == pytest.approx([1.0, 1.5, 2.0, 3.0])
    assert np.isnan(got[4:]).all()
    assert np.isnan(half_cosine(np.array([1.0]), [0.0], [1.0])).all()


def test_between_stations_the_nearer_weighs_more(tmp_path: Path) -> None:
    level = [{"name": "S2", "amplitude": 1e-9, "phase": 0.0}]
    places = {"near": (10.0, 2.0), "far": (10.03, 5.0), "third": (9.94, 8.0), "fourth": (10.2, 99.0)}
    records = [
        {
            **_record("tide", k, datums={"MSL": msl, "MLLW": 0.0, "MHW": msl + 1.0}, latitude=lat),
            "harmonic_constituents": level,
        }
        for k, (lat, msl) in places.items()
    ]
    stations = _read(tmp_path / "s.json", *records)
    # Within a kilometre one station alone.
    assert tide_between(stations, 10.005, -40.0).heights(START)[0] == pytest.approx(2.0)
    # At 10.015: as far from near as from far, 75/15 as far from the third; the fourth is one too many.
    between = tide_between(stations, 10.015, -40.0)
    weights = np.array([1.0, 1.0, 0.2])
    expected = float((weights * [2.0, 5.0, 8.0]).sum() / weights.sum())
    assert between.heights(START)[0] == pytest.approx(expected, abs=1e-3)
    assert between.mean_high_water_m == pytest.approx(expected + 1.0, abs=1e-3)
    with pytest.raises(NoCoverage):
        tide_between(stations, 11.0, -40.0)


CURRENT = {"flood_direction": 30.0, "ebb_direction": 200.0}


def test_a_stream_sets_one_way_on_the_flood_and_another_on_the_ebb(tmp_path: Path) -> None:
    stations = _read(tmp_path / "s.json", _record("current", "a", current={**CURRENT, "mean_flow": 0.4}))
    here = StreamHere(stations.streams["a"], stations)
    # 1.2 kn and a mean flow of 0.4 kn: 1.6 kn of flood at noon, 0.8 kn of ebb six hours on.
    east, north = here.velocity([START + 43_200.0, START + 43_200.0 + 21_600.0])
    assert np.hypot(east, north) == pytest.approx([kn_to_mps(1.6), kn_to_mps(0.8)], rel=0.01)
    assert np.degrees(np.arctan2(east, north)) % 360.0 == pytest.approx([30.0, 200.0], abs=0.01)


def test_subordinate_stream_shifts_each_event_by_its_own(tmp_path: Path) -> None:
    # NOAA Tidal Current Tables, table 2: four differences of time and two ratios of speed.
    offsets = {
        "reference": "a",
        "slack_before_flood": 10,
        "flood_time": 20,
        "slack_before_ebb": 40,
        "ebb_time": 80,
        "flood_speed_ratio": 0.5,
        "ebb_speed_ratio": 2.0,
    }
    stations = _read(
        tmp_path / "s.json",
        _record("current", "a", current=CURRENT),
        {**_record("current", "b", current={**CURRENT, "offsets": offsets}), "harmonic_constituents": []},
    )
    reference = {e.kind: e for e in StreamHere(stations.streams["a"], stations).events(START, START + DAY / 2 - 1)}
    here = StreamHere(stations.streams["b"], stations)
    mine = here.events(START, START + DAY)
    minutes = {"slack before flood": 10, "flood": 20, "slack before ebb": 40, "ebb": 80}
    ratios = {"slack before flood": 0.0, "flood": 0.5, "slack before ebb": 0.0, "ebb": 2.0}
    assert set(reference) == set(minutes)
    for kind, event in reference.items():
        shifted = next(e for e in mine if e.kind == kind and e.time_s >= event.time_s)
        assert shifted.time_s - event.time_s == pytest.approx(60.0 * minutes[kind], abs=2.0)
        assert shifted.speed == pytest.approx(event.speed * ratios[kind], abs=1e-6)
    # Between events it can be said; with a reference that is gone it cannot.
    assert np.isfinite(here.along_flood([START + 1000.0])).all()
    lonely = _read(
        tmp_path / "t.json",
        {**_record("current", "b", current={**CURRENT, "offsets": offsets}), "harmonic_constituents": []},
    )
    with pytest.raises(NoCoverage, match="follows a"):
        StreamHere(lonely.streams["b"], lonely)
    assert math.isclose(kn_to_mps(1.0), 1852.0 / 3600.0)


def test_heights_above_another_datum(tmp_path: Path) -> None:
    datums = {"MSL": 5.0, "MLLW": 2.5, "LAT": 2.0}
    stations = _read(
        tmp_path / "s.json",
        _record("tide", "a", datums=datums, chart_datum="MLLW"),
        # Nearer to the second place asked about, above another datum; and one more of the first kind.
        _record("tide", "b", datums=datums, chart_datum="LAT", latitude=10.06),
        _record("tide", "c", datums={"MSL": 5.0, "MLLW": 2.5}, chart_datum="MLLW", latitude=10.1),
    )
    here = TideHere(stations.tides["a"], stations)
    assert (here.over_datum_m("MLLW"), here.over_datum_m("LAT"), here.over_datum_m("MLWS")) == (0.0, 0.5, None)
    # Heights above two datums have no mean: those above the nearest station's are taken.
    between = tide_between(stations, 10.02, -40.0)
    assert between.datum == "MLLW" and "above MLLW" in between.how
    assert [h.station.id for _, h in between.parts] == ["a", "c"]
    assert between.over_datum_m("LAT") is None  # the other station does not say
    assert [h.station.id for _, h in tide_between(stations, 10.055, -40.0).parts] == ["b"]


@pytest.mark.parametrize(
    "bad",
    [
        None, 7, [], "tide", {}, {"kind": "tide"}, *(
            _record("tide", "B", **what)
            for what in (
                {"latitude": math.nan}, {"latitude": 91.0}, {"latitude": 10**400}, {"longitude": -181},
                {"datums": [1]}, {"datums": {"MSL": math.inf}}, {"offsets": [1]}, {"harmonic_constituents": [3]},
                {"harmonic_constituents": [{"name": "M2", "amplitude": math.inf, "phase": 1.0}]},
                {"harmonic_constituents": [{"name": "M2", "amplitude": 1e6, "phase": 1.0}]},
                {"harmonic_constituents": [{"name": "M2", "amplitude": 1.0, "phase": math.nan}]},
            )
        ),
        _record("current", "B", current=[]),
        _record("current", "B", current={"flood_direction": 10**400, "ebb_direction": 0}),
    ],
)  # fmt: skip
def test_one_bad_record_costs_itself_alone_and_is_named(tmp_path: Path, bad: Any) -> None:
    path = tmp_path / "tides.json"
    path.write_text(json.dumps([_record("tide", "A"), bad, _record("tide", "C")]))
    found = read_stations([path])
    assert set(found.tides) == {"A", "C"} and not found.streams
    assert len(found.warnings) == 1 and "record 1 left out" in found.warnings[0]


def test_json_too_deep_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "tides.json"
    path.write_text("[" * 200_000 + "]" * 200_000)
    with pytest.raises(SourceError, match="is not JSON"):
        read_stations([path])
