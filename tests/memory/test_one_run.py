"""One run to its summary, from readings written by hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pytest
from bench.many_runs.made_summaries import FRAME, T0

from moonless.errors import SourceError
from moonless.memory.lattice import key_of
from moonless.memory.one_run.reduce import summarise
from moonless.memory.summary import RunSummary
from moonless.units import NS_PER_S, iso_utc
from moonless.watch.afterwards.told import ToldTurn
from moonless.watch.instruments.intake import Wind

REGISTRATION = {"heading_bias_deg": 1.0, "east_m": 2.0, "north_m": 0.0, "sigma_m": 3.0, "heading_sigma_deg": 0.2}


def echo(number: int, east: float, north: float, **given: Any) -> dict[str, Any]:
    lat, lon = FRAME.to_geographic(east, north)
    return {
        "id": number, "lat": lat, "lon": lon, "range_m": math.hypot(east, north), "cog_deg": None, "sog_kn": 0.0,
        "length_m": None, "is": "uncharted", "confidence": 0.9, "p_moving": 0.0, "charted_as": None, "ais": None,
    } | given  # fmt: skip


def square(east: float, north: float, half_m: float) -> list[list[list[float]]]:
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]
    places = [FRAME.to_geographic(east + half_m * x, north + half_m * y) for x, y in corners]
    return [[[float(lon), float(lat)] for lat, lon in places]]


def turn(k: int, echoes: list[dict[str, Any]], seeing_m: float | None = 1000.0, **given: Any) -> ToldTurn:
    time_ns = T0 + k * 5 * NS_PER_S
    line = {
        "time": iso_utc(time_ns), "own": {"lat": FRAME.lat_deg, "lon": FRAME.lon_deg}, "echoes": echoes, "missing": [],
        "hidden": {"type": "FeatureCollection", "features": []}, "registration": REGISTRATION,
        "seeing_line": None if seeing_m is None else {"type": "Polygon", "coordinates": square(0.0, 0.0, seeing_m)},
    } | given  # fmt: skip
    return ToldTurn(time_ns, line, 5.0, Wind(math.radians(350.0), 6.0))


def summary(turns: Iterator[ToldTurn] | list[ToldTurn]) -> RunSummary:
    return summarise(turns, "n", "boat", "run.mcap")


def at_cell(found: RunSummary, name: str, east: float, north: float) -> int:
    key = int(key_of(*FRAME.to_geographic([east], [north]))[0])
    where = found.cells.key.tolist().index(key) if key in found.cells.key else None
    return 0 if where is None else int(getattr(found.cells, name)[where])


def test_a_still_thing_is_one_sighting_with_its_looks() -> None:
    # Told in nine of ten turns; every second turn (10 s) is a look, of which one is the turn without it.
    turns = [turn(k, [] if k == 4 else [echo(7, 300.0 + (-1) ** k, 200.0)]) for k in range(10)]
    (one,) = summary(turns).sightings
    east, north = FRAME.to_plane(one.lat_deg, one.lon_deg)
    assert abs(east - 300.0) < 0.3 and abs(north - 200.0) < 0.05
    assert (one.told, one.looks, one.seen) == (9, 5, 4)
    assert one.first_ns == T0 and one.last_ns == T0 + 45 * NS_PER_S
    # Places 1 m to either side along one axis: their root mean square on each of two axes is 1 / sqrt(2).
    assert one.spread_m == pytest.approx(1.0 / math.sqrt(2.0), abs=0.03)


def test_what_moves_is_charted_or_shows_too_seldom_is_no_sighting() -> None:
    turns = [
        turn(
            k,
            [
                echo(1, 100.0, 100.0, **{"is": "vessel", "sog_kn": 6.0, "p_moving": 0.95, "cog_deg": 90.0}),
                echo(2, 300.0, 0.0, **{"is": "shore"}),
                echo(3, 0.0, 400.0, **{"is": "uncharted" if k % 3 == 0 else "clutter"}),
                *([echo(4, -300.0, 0.0)] if k < 3 else []),
            ],
        )
        for k in range(12)
    ]
    assert summary(turns).sightings == ()


def test_a_vessel_at_rest_is_a_sighting_and_called_one() -> None:
    turns = [turn(k, [echo(5, 200.0, 0.0, **{"is": "vessel", "ais": {"mmsi": 1, "name": "A"}})]) for k in range(8)]
    (one,) = summary(turns).sightings
    assert one.is_vessel


def test_one_thing_under_two_numbers_is_one_and_two_at_once_are_two() -> None:
    broken = [turn(k, [echo(1 if k < 6 else 9, 250.0, 100.0 + (k >= 6) * 12.0)]) for k in range(12)]
    assert len(summary(broken).sightings) == 1
    pair = [turn(k, [echo(1, 250.0, 100.0), echo(2, 250.0, 120.0)]) for k in range(12)]
    assert len(summary(pair).sightings) == 2


def test_cells_say_what_was_looked_at_hidden_and_used() -> None:
    hidden = {
        "type": "FeatureCollection",
        "features": [
            {"properties": {"by": by}, "geometry": {"type": "Polygon", "coordinates": square(e, n, 200.0)}}
            for by, e, n in (("land", 1500.0, 0.0), ("clutter", 0.0, 500.0))
        ],
    }
    mover = {"is": "vessel", "sog_kn": 6.0, "cog_deg": 90.0, "p_moving": 0.9}
    found = summary([turn(k, [echo(1, -400.0, -400.0, **mover)], hidden=hidden) for k in range(9)])
    assert found.run.looks == 5
    assert at_cell(found, "looked", 300.0, -300.0) == 5 and at_cell(found, "hidden", 300.0, -300.0) == 0
    assert at_cell(found, "looked", 0.0, 500.0) == 0 and at_cell(found, "clutter", 0.0, 500.0) == 5
    assert at_cell(found, "hidden", 1500.0, 0.0) == 5 and at_cell(found, "looked", 1500.0, 0.0) == 0
    assert [at_cell(found, name, -400.0, -400.0) for name in ("moving", "vessels", "east", "north")] == [5, 1, 500, 0]
    assert found.run.wind_speed == pytest.approx(6.0) and found.run.wind_from_deg == pytest.approx(350.0)


def test_marks_told_and_missed_are_counted_by_nearness() -> None:
    charted = {"object": "BOYCAR", "name": "South", "cell": "C", "feature": "1", "offset_m": 4.0}
    far = echo(1, 0.0, 2000.0, **{"is": "charted", "charted_as": charted | {"offset_m": 60.0}, "range_m": 2000.0})
    near = echo(1, 0.0, 2000.0, **{"is": "charted", "charted_as": charted, "range_m": 200.0})
    missing = {
        "object": "BOYCAR",
        "name": "North",
        "lat": -12.39,
        "lon": -118.3,
        "p_seen_if_there": 0.7,
        "scans_looked": 9,
    }
    told, missed = summary([turn(k, [far if k < 5 else near], missing=[missing]) for k in range(10)]).marks
    if told.name == "North":
        told, missed = missed, told
    # Weights 1/2000^2 and 1/200^2: (60 + 100 * 4) / 101 = 4.6 (elementary).
    assert told.offset_m == pytest.approx(460.0 / 101.0, abs=0.05) and told.told == 10
    assert (missed.missed, missed.looks, missed.offset_m) == (10, 9, None)


def test_a_run_that_never_saw_anything_is_refused() -> None:
    with pytest.raises(SourceError, match="nothing was told"):
        summary([])
    with pytest.raises(SourceError, match="never known well enough"):
        summary([turn(k, [], seeing_m=None) for k in range(5)])
