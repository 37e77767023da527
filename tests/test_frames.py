"""Positions, planes and bearings, held to an independent geodesic library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from moonless.errors import InputError
from moonless.frames import LocalFrame, bearing_of, destination, geodesic, wrap_180, wrap_360, wrap_pi, wrap_tau

latitudes = st.floats(-80.0, 80.0)
longitudes = st.floats(-180.0, 180.0)
bearings_deg = st.floats(0.0, 360.0, exclude_max=True)
ranges_m = st.floats(1.0, 60_000.0)


@given(latitudes, longitudes, bearings_deg, ranges_m)
def test_plane_keeps_geodesic_distance_and_bearing(lat: float, lon: float, bearing: float, distance: float) -> None:
    # [Karney 2013] through geographiclib, which shares no code with pyproj's aeqd projection.
    there = Geodesic.WGS84.Direct(lat, lon, bearing, distance)
    east, north = LocalFrame(lat, lon).to_plane(there["lat2"], there["lon2"])
    # 1 mm: far below what any sensor aboard can tell.
    assert math.hypot(east, north) == pytest.approx(distance, abs=1e-3)
    assert math.remainder(float(bearing_of(east, north)) - math.radians(bearing), math.tau) * distance == pytest.approx(
        0.0, abs=1e-3
    )


@given(latitudes, longitudes, st.floats(-50e3, 50e3), st.floats(-50e3, 50e3))
def test_there_and_back(lat: float, lon: float, east: float, north: float) -> None:
    frame = LocalFrame(lat, lon)
    back = frame.to_plane(*frame.to_geographic(east, north))
    # Nearer to its origin than 1e-10 of the earth's radius PROJ's azimuthal projection returns the origin itself.
    near = math.hypot(east, north) < 6_400_000.0 * 1e-10
    assert back == pytest.approx((east, north), abs=6.4e-4 if near else 1e-4)


def test_geodesic_published_example() -> None:
    # Vincenty, Direct and Inverse Solutions of Geodesics, Survey Review XXIII 176 (1975), is on other ellipsoids;
    # on WGS 84 the library's own documented line JFK to LHR is used: GeographicLib manual, "GeodSolve",
    # 40.6 N 73.8 W to 51.6 N 0.5 W: azimuth 51.19888285 deg, 5551759.400 m.
    distance, bearing = geodesic(40.6, -73.8, 51.6, -0.5)
    assert distance == pytest.approx(5_551_759.400, abs=0.6e-3)
    assert bearing == pytest.approx(51.19888285, abs=1e-7)


@given(latitudes, longitudes, bearings_deg, ranges_m)
def test_destination_undoes_geodesic(lat: float, lon: float, bearing: float, distance: float) -> None:
    there = destination(lat, lon, bearing, distance)
    back_distance, back_bearing = geodesic(lat, lon, *there)
    assert back_distance == pytest.approx(distance, abs=1e-3)
    assert abs(wrap_180(back_bearing - bearing)) * math.radians(1) * distance < 1e-3


@given(st.floats(-1e4, 1e4))
def test_wraps_stay_in_their_half_open_ranges(angle: float) -> None:
    assert 0.0 <= wrap_tau(angle) < math.tau
    assert -math.pi <= wrap_pi(angle) < math.pi
    assert 0.0 <= wrap_360(angle) < 360.0
    assert -180.0 <= wrap_180(angle) < 180.0
    assert math.isclose(math.sin(wrap_pi(angle)), math.sin(angle), abs_tol=1e-9)


def test_a_hair_below_zero_is_not_a_full_turn() -> None:
    assert wrap_tau(-1e-20) == 0.0
    assert wrap_360(-1e-20) == 0.0


def test_unknown_stays_unknown() -> None:
    east, north = LocalFrame(10.0, 20.0).to_plane(np.array([10.0, np.nan]), np.array([20.0, 20.0]))
    assert np.isfinite(east[0]) and np.isnan(east[1]) and np.isnan(north[1])


def test_not_a_place_is_refused() -> None:
    with pytest.raises(InputError, match="not a place on earth"):
        LocalFrame(91.0, 0.0)
