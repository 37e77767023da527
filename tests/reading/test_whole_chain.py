"""A whole minute from bytes to calls on made waters, against plain geometry.

The waters are a few shapes; the boat's compass and receiver are wrong by known amounts.  What must be told follows from
the shapes and the amounts by trigonometry and by straight lines of sight, not from anything of ours.
"""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from moonless.chart.library import Chart
from moonless.scene.file import scene_from_dict
from moonless.scene.player import ScenePlayer
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import Turn

ORIGIN = (-12.4, -118.3)  # open ocean
HEADING, SPEED_KN, SECONDS = 62.0, 6.0, 75.0
KNOT = 1852.0 / 3600.0
LAND = {
    "Long Cay": [(300, 420), (560, 330), (820, 420), (760, 560), (380, 580)],
    "South Bank": [(-900, -900), (1200, -760), (1250, -560), (500, -620), (-300, -520), (-900, -640)],
    "West Cay": [(-760, 80), (-600, 60), (-560, 380), (-700, 420)],
}
MARKS = {"Tern": (420.0, -160.0), "Petrel": (120.0, 250.0), "Heron": (690.0, 60.0), "Gannet": (-330.0, -110.0),
         "Plover": (60.0, -330.0)}  # fmt: skip
GONE = "Heron"
OFFSET = (24.0, -18.0)
MOVER = {"name": "boat", "kind": "fishing boat", "start_m": [330.0, 120.0], "heading_deg": 190.0, "speed_kn": 5.0}


def _polar(east: float, north: float) -> tuple[float, float]:
    """Latitude and longitude of a place by an independent geodesic."""
    end = Geodesic.WGS84.Direct(*ORIGIN, math.degrees(math.atan2(east, north)), math.hypot(east, north))
    return end["lat2"], end["lon2"]


def _lonlat(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [_polar(*p)[::-1] for p in points]


def _plane(lonlat: Any) -> np.ndarray:
    out = []
    for lon, lat in np.asarray(lonlat).reshape(-1, 2):
        line = Geodesic.WGS84.Inverse(*ORIGIN, lat, lon)
        a = math.radians(line["azi1"])
        out.append((line["s12"] * math.sin(a), line["s12"] * math.cos(a)))
    return np.array(out)


def _waters(path: Path) -> Path:
    square = shapely.Polygon(_lonlat([(-4000, -4000), (4000, -4000), (4000, 4000), (-4000, 4000)]))
    land = [shapely.Polygon(_lonlat(ring)) for ring in LAND.values()]
    layers: dict[str, list[tuple[Any, dict[str, Any]]]] = {
        "DSID": [(None, {"DSPM_CSCL": 8000, "DSID_EDTN": "1", "DSID_UPDN": "0", "DSID_ISDT": "20310101"})],
        "M_COVR": [(square, {"CATCOV": 1})],
        "M_QUAL": [(square, {"CATZOC": 1})],
        "LNDARE": [(shape, {"OBJNAM": name}) for shape, name in zip(land, LAND, strict=True)],
        "DEPARE": [(shapely.difference(square, shapely.union_all(land)), {"DRVAL1": 12.0, "DRVAL2": 20.0})],
        "BCNLAT": [(shapely.Point(*_lonlat([at])[0]), {"OBJNAM": name}) for name, at in MARKS.items()],
    }
    for layer, rows in layers.items():
        fields = sorted(rows[0][1])
        columns = [np.array([given[f] for _, given in rows], dtype=object) for f in fields]
        columns = [c.astype(np.float64) if isinstance(c[0], int | float) else c for c in columns]
        shaped = rows[0][0] is not None
        pyogrio.raw.write(
            path, geometry=shapely.to_wkb(np.array([s for s, _ in rows], dtype=object)) if shaped else None,
            field_data=columns, fields=np.array(fields, dtype=object), layer=layer, driver="GPKG",
            geometry_type=rows[0][0].geom_type if shaped else None, crs="EPSG:4326" if shaped else None,
            append=path.exists(),
        )  # fmt: skip
    return path


def _play(folder: Path, bias_deg: float, own: dict[str, Any] | None = None, **sensors: Any) -> list[Turn]:
    chart = _waters(folder / "waters.gpkg")
    scene = scene_from_dict(
        {
            "scene": {"name": "whole", "seed": 3, "duration_s": SECONDS, "origin": list(ORIGIN), "tide_m": 0.0,
                      "start": datetime(2031, 3, 1, 5, 0, tzinfo=UTC)},
            "chart": {"paths": [str(chart)], "change": [{"name": GONE, "gone": True}]},
            "radar": {"scale_nm": 0.75, "spokes": 512, "cells": 300},
            "own": {"start_m": [0, 0], "heading_deg": HEADING, "speed_kn": SPEED_KN, **(own or {})},
            "sensors": {"heading_bias_deg": bias_deg, "position_offset_m": list(OFFSET), "position_noise_m": 0.0,
                        **sensors},
            "weather": {"wind_kn": 3},
            "object": [MOVER],
        },
        folder / "scene.toml",
    )  # fmt: skip
    chain = Chain(scene.boat, Chart.open([chart], cache_dir=folder / "cache"))
    chain.given.tide_m = 0.0
    told: list[Turn] = []
    for turn in ScenePlayer(scene).turns():
        events = [(t, 0, data) for t, data in turn.radar] + [(n.time_ns, 1, n.tagged()) for n in turn.nmea]
        for time_ns, which, data in sorted(events, key=lambda event: event[0]):
            told += chain.feed_nmea(data, time_ns) if which else chain.feed_radar(data, time_ns)
    for one in told:
        json.dumps(one.reading.as_dict(), allow_nan=False)
    return told


@pytest.fixture(scope="module", params=[3.0, -3.0], ids=["high", "low"])
def run(request: Any, tmp_path_factory: Any) -> tuple[float, list[Turn]]:
    return request.param, _play(tmp_path_factory.mktemp("whole"), request.param)


def _own_at(turn: Turn) -> np.ndarray:
    """Where the boat truly is: straight on from the origin."""
    begin = datetime(2031, 3, 1, 5, 0, tzinfo=UTC).timestamp()
    t = turn.reading.time_ns / 1e9 - begin
    a = math.radians(HEADING)
    return SPEED_KN * KNOT * t * np.array([math.sin(a), math.cos(a)])


def test_compass_and_receiver_are_put_right_with_their_signs(run: tuple[float, list[Turn]]) -> None:
    """Registration is what was reported less what is: clockwise degrees, metres east and north."""
    bias_deg, turns = run
    last = turns[-1].reading
    assert last.registration.heading_bias_deg == pytest.approx(bias_deg, abs=0.8)
    # 24 m east and 18 south were added to the place.  A scan of 4 m cells and a 4-degree beam settles it to a few.
    assert (last.registration.east_m, last.registration.north_m) == pytest.approx(OFFSET, abs=9.0)
    assert last.registration.agrees is True
    # How sure it says it is holds for how far it is out.
    sigma_deg, sigma_m = last.registration.heading_sigma_deg, last.registration.sigma_m
    assert sigma_deg is not None and sigma_m is not None
    assert abs(last.registration.heading_bias_deg - bias_deg) < 4.0 * sigma_deg < 2.0
    assert (
        math.hypot(last.registration.east_m - OFFSET[0], last.registration.north_m - OFFSET[1]) < 4.0 * sigma_m < 20.0
    )
    # The made set does what its figures say, no more and no less.
    assert last.performance_db is not None and last.performance_sigma_db is not None
    assert abs(last.performance_db) < last.performance_sigma_db < 8.0
    own = last.own
    assert own.heading_deg == pytest.approx(HEADING, abs=0.9)
    assert own.sog_kn == pytest.approx(SPEED_KN, abs=0.2) and own.cog_deg == pytest.approx(HEADING, abs=2.0)
    here = _plane([(own.lon, own.lat)])[0]
    assert np.hypot(*(here - _own_at(turns[-1]))) < 12.0
    # Where the receiver alone would have put her.
    assert np.hypot(*(here - _own_at(turns[-1]) - OFFSET)) > 18.0


def test_it_is_said_which_way_the_compass_is_wrong(run: tuple[float, list[Turn]]) -> None:
    bias_deg, turns = run
    said = [c.say for t in turns for c in t.reading.calls if "compass" in c.say]
    way, other = ("high", "low") if bias_deg > 0 else ("low", "high")
    assert said and all(f"degrees {way}; put right" in s and other not in s for s in said)
    assert any(f"reads 3 degrees {way}" in s for s in said)


def test_every_beacon_is_named_where_it_stands(run: tuple[float, list[Turn]]) -> None:
    _, turns = run
    turn = turns[-1]
    own = _own_at(turn)
    named = {e.charted_as.name: e for e in turn.reading.echoes if e.charted_as is not None}
    assert GONE not in named
    assert {"Tern", "Petrel", "Gannet"} <= set(named)
    for name, echo in named.items():
        gap = np.array(MARKS[str(name)]) - own
        bearing = math.degrees(math.atan2(*gap))
        assert echo.kind == "charted" and echo.charted_as is not None
        assert echo.range_m == pytest.approx(math.hypot(*gap), abs=15.0)
        assert abs(math.remainder(echo.bearing_deg - bearing, 360.0)) < 2.5
        assert echo.relative_bearing_deg is not None
        assert abs(math.remainder(echo.relative_bearing_deg - (bearing - HEADING), 360.0)) < 3.0
        assert np.hypot(*(_plane([(echo.lon, echo.lat)])[0] - MARKS[str(name)])) < 25.0
        assert echo.cog_deg is None and echo.sog_kn == 0.0
        # Closest on a straight course: the distance off its line, and the time along it.
        along = np.array([math.sin(math.radians(HEADING)), math.cos(math.radians(HEADING))])
        assert echo.cpa_m == pytest.approx(abs(gap[0] * along[1] - gap[1] * along[0]), abs=25.0)
        assert echo.tcpa_s == pytest.approx(float(gap @ along) / (SPEED_KN * KNOT), abs=9.0)


def test_the_beacon_that_is_gone_is_missed_at_its_place(run: tuple[float, list[Turn]]) -> None:
    _, turns = run
    missing = {m.name: m for m in turns[-1].reading.missing}
    assert set(missing) == {GONE}
    lost = missing[GONE]
    assert np.hypot(*(_plane([(lost.lon, lost.lat)])[0] - MARKS[GONE])) < 3.0
    assert lost.object == "BCNLAT" and lost.p_seen_if_there > 0.7 and lost.scans_looked >= 3
    (said,) = {c.say for t in turns for c in t.reading.calls if GONE in c.say}
    when = next(t for t in turns if any(GONE in c.say for c in t.reading.calls))
    gap = np.array(MARKS[GONE]) - _own_at(when)
    side = math.remainder(math.degrees(math.atan2(*gap)) - HEADING, 360.0)
    assert side > 5.0 and "starboard" in said, (side, said)


def test_the_boat_that_moves_is_a_vessel_with_her_course(run: tuple[float, list[Turn]]) -> None:
    _, turns = run
    begin = datetime(2031, 3, 1, 5, 0, tzinfo=UTC).timestamp()
    t = turns[-1].reading.time_ns / 1e9 - begin
    a = math.radians(MOVER["heading_deg"])  # type: ignore[arg-type]
    way = np.array([math.sin(a), math.cos(a)]) * 5.0 * KNOT
    there = np.array(MOVER["start_m"]) + way * t  # type: ignore[arg-type]
    own = _own_at(turns[-1])
    near = [e for e in turns[-1].reading.echoes if np.hypot(*(_plane([(e.lon, e.lat)])[0] - there)) < 40.0]
    (echo,) = [e for e in near if e.kind == "vessel"]
    assert echo.sog_kn == pytest.approx(5.0, abs=1.0) and echo.p_moving > 0.9
    assert echo.cog_deg is not None and abs(math.remainder(echo.cog_deg - 190.0, 360.0)) < 12.0
    gap = there - own
    assert echo.range_m == pytest.approx(math.hypot(*gap), abs=20.0)
    own_way = np.array([math.sin(math.radians(HEADING)), math.cos(math.radians(HEADING))]) * SPEED_KN * KNOT
    v = way - own_way
    at = -float(gap @ v) / float(v @ v)
    assert echo.tcpa_s == pytest.approx(at, abs=12.0)
    assert echo.cpa_m == pytest.approx(float(np.hypot(*(gap + v * at))), abs=45.0)


def test_water_behind_the_land_is_hidden_and_water_before_it_is_not(run: tuple[float, list[Turn]]) -> None:
    """By straight lines to 3 000 places: behind land at all, land being far higher than a boat's aerial."""
    _, turns = run
    reading = turns[-1].reading
    own = _own_at(turns[-1])
    land = shapely.union_all([shapely.Polygon(ring) for ring in LAND.values()])
    rng = np.random.default_rng(1)
    points = rng.uniform(-1200.0, 1200.0, (3000, 2)) + own
    reach = np.hypot(*(points - own).T)
    points = points[(reach > 80.0) & (reach < 1250.0) & ~shapely.contains_xy(land, points[:, 0], points[:, 1])]
    lines = shapely.linestrings(np.stack([np.broadcast_to(own, points.shape), points], axis=1))
    inside = shapely.length(shapely.intersection(lines, land))
    behind = inside > 40.0  # through 40 m of land and more: no doubt of beam or chart
    clear = shapely.distance(lines, land) > 60.0
    assert reading.hidden is not None
    shapes = [
        shapely.Polygon(_plane(f["geometry"]["coordinates"][0]))
        for f in reading.hidden["features"]
        if f["properties"]["by"] == "land"
    ]
    told = shapely.contains_xy(shapely.union_all([s.buffer(0) for s in shapes]), points[:, 0], points[:, 1])
    assert behind.sum() > 200 and clear.sum() > 500
    assert told[behind].mean() > 0.97
    assert told[clear].mean() < 0.01


def test_the_seeing_line_stops_at_land_and_holds_the_boat(run: tuple[float, list[Turn]]) -> None:
    _, turns = run
    reading = turns[-1].reading
    own = _own_at(turns[-1])
    assert reading.seeing_line is not None
    line = shapely.Polygon(_plane(reading.seeing_line["coordinates"][0]))
    assert line.is_valid and line.contains(shapely.Point(own))
    land = shapely.union_all([shapely.Polygon(ring) for ring in LAND.values()])
    # Half a degree at a kilometre is 9 m, and the place is known to 12: none of it lies well inside land.
    assert line.intersection(land.buffer(-30.0)).area == 0.0
    # Every degree of bearing has its corner, where that bearing runs.
    corners = np.array(line.exterior.coords)[:-1] - np.array(_plane([(reading.own.lon, reading.own.lat)])[0])
    off = np.degrees(np.arctan2(corners[:, 0], corners[:, 1]))
    assert len(corners) == 360 and np.abs(off - np.round(off)).max() < 0.1
    # Over open water it reaches as far as the least of the sizes that are told, and no further than the picture.
    far = max(math.hypot(*(np.array(p) - own)) for p in line.exterior.coords)
    told = {s.rcs_m2: s.range_m for s in reading.seeing}
    assert told[0.5] is not None and told[2.5] is not None and told[10.0] is not None
    assert told[0.5] <= told[2.5] <= told[10.0]
    assert 0.5 * told[2.5] < far <= 1389.0 + 20.0


def test_radar_and_chart_carry_the_place_on_when_the_receiver_is_silent(tmp_path: Path) -> None:
    """The engine is slowed from 6 to 3 knots while nothing reports it: reckoning alone runs ahead of the boat.

    From 42 s on she makes 1.54 m/s less than reckoning by the last speed has it: 51 m by the end, and half of it by
    the middle.
    """
    slowed = {"legs": [{"hold_s": 40.0}, {"hold_s": 200.0, "speed_kn": 3.0}]}
    turns = _play(tmp_path, 3.0, slowed, gnss_out_s=[[30.0, 80.0]])
    silent = [t.reading for t in turns if any(f.what == "position" for f in t.reading.faults)]
    assert len(silent) >= 8
    last = silent[-1]
    begin = datetime(2031, 3, 1, 5, 0, tzinfo=UTC).timestamp()
    at_s = last.time_ns / 1e9 - begin
    assert at_s > 70.0
    # Six knots to 40 s; three from then on but for the seconds in which she slows.
    ahead = SPEED_KN * KNOT * 40.0 + 3.0 * KNOT * (at_s - 40.0)
    a = math.radians(HEADING)
    there = ahead * np.array([math.sin(a), math.cos(a)])
    assert last.own.position_from == "radar and chart" and last.own.lat is not None
    here = _plane([(last.own.lon, last.own.lat)])[0]
    reckoned = SPEED_KN * KNOT * at_s * np.array([math.sin(a), math.cos(a)])
    assert np.hypot(*(reckoned - there)) > 45.0
    assert np.hypot(*(here - there)) < 22.0
    # What is fixed by radar and chart says so, and does not claim the receiver's offset.
    said = [c for t in turns for c in t.reading.calls if "No position received" in c.say]
    assert said and "By radar and chart" in said[-1].say and said[-1].more.startswith("She is at ")
    assert last.registration.east_m is None and last.registration.heading_bias_deg == pytest.approx(3.0, abs=0.8)
