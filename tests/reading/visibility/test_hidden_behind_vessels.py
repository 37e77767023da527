"""Which vessels hide the water behind them."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, RADAR, T0, FakeChart, make_boat, make_situation, make_track
from reading_rasters import open_water

from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.reading.identify.obstructing import obstructions_of
from moonless.reading.judge import Judge
from moonless.reading.polar import N_CELLS
from moonless.reading.visibility import hidden_water
from moonless.reading.visibility.raster import CAUSE_OF, VisibilityRaster
from moonless.track.types import AisTarget, Track

REACH_M = 3000.0


def _hidden(
    track: Track, rcs_db: float = 30.0, kind: str = "vessel", confidence: float = 0.95, boat: Any = None,
    *, clipped: bool = False, is_cut: bool = False,
) -> VisibilityRaster:  # fmt: skip
    water = open_water(REACH_M)
    away = np.array([math.hypot(track.east_m, track.north_m)])
    evidence: Any = object.__new__(Evidence)
    far = np.array([np.inf])
    for name, value in {
        "tracks": (track,), "range_m": away, "bearing_rad": np.array([math.atan2(track.east_m, track.north_m)]),
        "rcs_db": np.array([rcs_db]), "shore_distance_m": far, "bridge_distance_m": far, "beam_rad": 0.07,
        "clipped": np.array([clipped]),
    }.items():  # fmt: skip
        object.__setattr__(evidence, name, value)
    told: Any = [Explained(kind, confidence, np.zeros(7), None, None)]  # type: ignore[arg-type]
    antenna_m = (boat or make_boat()).radar.height_m
    hidden_water._behind_obstructions(water, obstructions_of(evidence, told, is_cut), antenna_m, 1.0)
    return water


def _coaster(range_m: float = 500.0, **changes: Any) -> Track:
    values = {"length_m": 110.0, "length_sigma_m": 5.0, "n_hits": 40, "n_scans": 42} | changes
    return make_track(1, 0.0, range_m, ve=4.0, **values)


def test_a_vessel_plainly_long_hides_what_is_behind_her_and_no_wider_than_she_is() -> None:
    water = _hidden(_coaster())
    shut = water.cause == CAUSE_OF["vessel"]
    r = water.range_m
    assert shut[0, r > 560.0].all() and not shut[:, r < 500.0].any()
    # 110 m at 500 m, seen from abeam: 12.6 degrees, 25 rows of half a degree.
    assert shut[:, -1].sum() == pytest.approx(math.degrees(2.0 * math.atan2(55.0, 500.0)) * 2.0, abs=1.01)


@pytest.mark.parametrize("kind", ["vessel", "uncharted"])
def test_where_no_scale_tells_her_strength_a_long_ship_hides_water_if_she_stands_at_its_top(kind: str) -> None:
    """At anchor, and told as uncharted, as well as under way; in a cut picture everything stands there."""
    unscaled = math.nan
    behind = _hidden(_coaster(), unscaled, kind, clipped=True)
    assert behind.cause[0, behind.range_m > 560.0].all()
    assert not _hidden(_coaster(), unscaled, kind).cause.any()
    assert not _hidden(_coaster(), unscaled, kind, clipped=True, is_cut=True).cause.any()
    # And what is no longer than the beam makes of a point hides nothing, as strong as it may be.
    assert not _hidden(_coaster(length_m=40.0), unscaled, kind, clipped=True).cause.any()
    # At 500 m a beam of 0.07 is 35 m: past two of them and two sigma she is 30 m long, over the 25 that are asked.
    assert _hidden(_coaster(length_m=110.0, length_sigma_m=5.0), 16.0, kind).cause.any()
    assert not _hidden(_coaster(length_m=100.0, length_sigma_m=5.0), 16.0, kind).cause.any()


@pytest.mark.parametrize("length_m", [24.0, 30.0])
def test_a_hull_lower_than_the_antenna_hides_only_as_far_as_the_ray_over_her(length_m: float) -> None:
    """By similar triangles: from an antenna at 9 m over her top down to a boat 1 m high.

    Hull and house stand 0.22 of the length above the water: 6.6 m of 30 (own figure of the judgement, in its docs).
    """
    radar = dataclasses.replace(RADAR, height_m=9.0)
    ais = AisTarget(123456789, T0, 10.0, -150.0, length_m=length_m)
    track = _coaster(500.0, length_m=None, ais=ais)
    shut = _hidden(track, boat=make_boat(radar=radar)).cause[0] == CAUSE_OF["vessel"]
    r = np.arange(N_CELLS) * REACH_M / N_CELLS
    ends = 500.0 * (9.0 - 1.0) / (9.0 - 0.22 * length_m)
    assert ends < 2900.0
    assert shut[(r > 530.0) & (r < ends - 10.0)].all() and not shut[r > ends + 10.0].any()
    # One as high as the antenna hides all the way out.
    high = _coaster(500.0, length_m=None, ais=AisTarget(123456789, T0, 10.0, -150.0, length_m=41.0))
    assert _hidden(high, boat=make_boat(radar=radar)).cause[0, -1] == CAUSE_OF["vessel"]


@pytest.mark.parametrize(
    ("track", "rcs_db", "confidence"),
    [
        (_coaster(80.0), 30.0, 0.95),  # close aboard
        (_coaster(), -20.0, 0.95),  # no stronger than a crest
        (_coaster(), 30.0, 0.5),  # not surely a vessel
        (_coaster(n_hits=6, n_scans=8), 30.0, 0.95),  # not held long enough
        (_coaster(length_m=90.0), 30.0, 0.95),  # 70 m of it is the beam
        (_coaster(length_sigma_m=40.0), 30.0, 0.95),  # nobody knows how long
        (_coaster(length_m=None), 30.0, 0.95),
    ],
)
def test_what_is_not_surely_long_hides_nothing(track: Track, rcs_db: float, confidence: float) -> None:
    assert not _hidden(track, rcs_db, confidence=confidence).cause.any()


@pytest.mark.parametrize(("length_m", "hides"), [(60.0, True), (12.0, False)])
def test_ais_tells_the_length_even_close_aboard(length_m: float, hides: bool) -> None:
    track = _coaster(80.0, length_m=None, ais=AisTarget(123456789, T0, 10.0, -150.0, length_m=length_m))
    assert _hidden(track, -20.0).cause.any() == hides


@pytest.mark.parametrize(("length_m", "by"), [(35.0, "vessel"), (80.0, "land"), (None, "land")])
def test_a_still_echo_too_strong_for_a_boat_hides_water_by_its_size(length_m: float | None, by: str) -> None:
    water = _hidden(_coaster(length_m=length_m, p_moving=0.01), 33.0, kind="uncharted")
    assert (water.cause[0, water.range_m > 600.0] == CAUSE_OF[by]).all()  # type: ignore[index]


def test_a_small_echo_close_by_does_not_stop_the_boat() -> None:
    """The speed is not bound by what stands within a hundred metres and is no ship."""
    judge = Judge(make_boat(), FakeChart(land=shapely.MultiPolygon([shapely.box(4000.0, 0.0, 4100.0, 100.0)])))
    crest = make_track(1, 30.0, 45.0, ve=2.0, length_m=60.0, length_sigma_m=5.0, n_hits=40, n_scans=80)
    reading = judge.read(make_situation([crest]))
    assert reading.hidden is not None
    assert "vessel" not in {f["properties"]["by"] for f in reading.hidden["features"]}


@pytest.mark.parametrize(
    ("length_m", "age_s", "north_m", "hides"),
    [
        (110.0, 10.0, 500.0, True),
        (12.0, 10.0, 500.0, False),
        (110.0, 40.0, 500.0, False),
        (110.0, 10.0, 3980.0, False),
        (110.0, 10.0, 60.0, False),
    ],
    ids=["a ship", "a boat", "long ago", "at the quay", "where we are"],
)
def test_a_ship_told_by_ais_hides_water_though_no_echo_is_hers(
    length_m: float, age_s: float, north_m: float, hides: bool
) -> None:
    """Going east at 5 m/s, spoken of 10 s ago 50 m west of north: she stands north, 12.6 degrees wide at 500 m."""
    lat, lon = FRAME.to_geographic(-5.0 * age_s, north_m)
    east = 0.5 * math.pi
    ship = AisTarget(123456789, T0 - round(age_s * 1e9), float(lat), float(lon), east, 5.0, east, length_m=length_m)
    quay = shapely.MultiPolygon([shapely.box(-500.0, 4000.0, 500.0, 4100.0)])
    reading = Judge(make_boat(), FakeChart(land=quay)).read(make_situation(ais=[ship]))
    assert reading.hidden is not None
    shut = shapely.union_all(
        [shapely.geometry.shape(f["geometry"]) for f in reading.hidden["features"] if f["properties"]["by"] == "vessel"]
    )
    half_deg = math.degrees(math.atan2(0.5 * length_m, north_m))
    bearing = np.radians([0.0, half_deg - 1.0, 1.0 - half_deg, half_deg + 1.5, -half_deg - 1.5])
    lat, lon = FRAME.to_geographic(1500.0 * np.sin(bearing), 1500.0 * np.cos(bearing))
    assert shapely.contains_xy(shut, lon, lat).tolist() == [hides] * 3 + [False] * 2
