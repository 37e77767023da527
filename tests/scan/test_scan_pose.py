"""The boat's own motion as a time series: between samples, past the last, before the first."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.constants import TAU
from moonless.frames import destination, geodesic
from moonless.scan.pose import PoseSample, PoseSeries
from moonless.units import NS_PER_S

T0 = 1_800_000_000 * NS_PER_S


def _s(seconds: float) -> int:
    return T0 + round(seconds * NS_PER_S)


def test_nothing_known_is_nan_and_infinitely_old() -> None:
    at = PoseSeries().at(T0)
    assert np.isnan(at.lat_deg[0])
    assert np.isnan(at.heading_true_rad[0])
    assert np.isnan(at.sog[0])
    assert math.isinf(at.position_age[0])


@given(
    a=st.floats(0, TAU, exclude_max=True),
    turn=st.floats(-3.0, 3.0),
    fraction=st.floats(0, 1),
)
def test_heading_goes_the_short_way_round(a: float, turn: float, fraction: float) -> None:
    poses = PoseSeries()
    poses.add(PoseSample(T0, heading_true_rad=a))
    poses.add(PoseSample(_s(1), heading_true_rad=(a + turn) % TAU))
    got = float(poses.at(_s(fraction)).heading_true_rad[0])
    want = a + turn * (round(fraction * NS_PER_S) / NS_PER_S)
    assert abs(math.remainder(got - want, TAU)) < 1e-6
    assert 0 <= got < TAU


def test_position_between_and_beyond() -> None:
    poses = PoseSeries()
    lat1, lon1 = destination(10.0, 179.9999, 90.0, 50.0)
    poses.add(PoseSample(T0, 10.0, 179.9999))
    poses.add(PoseSample(_s(10) - 6 * NS_PER_S, float(lat1), float(lon1), cog_rad=math.radians(90.0), sog=12.5))
    middle = poses.at(_s(2))
    # Across the date line, half way along.
    assert geodesic(10.0, 179.9999, middle.lat_deg[0], middle.lon_deg[0])[0] == pytest.approx(25.0, abs=0.01)
    assert middle.position_age[0] == pytest.approx(2.0)
    late = poses.at(_s(6))
    assert geodesic(float(lat1), float(lon1), late.lat_deg[0], late.lon_deg[0])[0] == pytest.approx(25.0, abs=0.01)
    assert late.position_age[0] == pytest.approx(2.0)
    assert np.isnan(poses.at(_s(-1)).lat_deg[0])


def test_a_long_gap_is_not_bridged() -> None:
    poses = PoseSeries()
    poses.add(PoseSample(T0, 10.0, 20.0))
    poses.add(PoseSample(_s(60), 10.1, 20.0))
    at = poses.at(_s(30))
    assert at.lat_deg[0] == 10.0
    assert at.position_age[0] == pytest.approx(30.0)


def test_a_late_sample_is_put_in_its_place() -> None:
    straight, late = PoseSeries(), PoseSeries()
    samples = [PoseSample(_s(i), 10.0 + i * 1e-4, 20.0, heading_true_rad=0.1 * i) for i in range(5)]
    for sample in samples:
        straight.add(sample)
    for i in (0, 2, 1, 4, 3):
        late.add(samples[i])
    asked = np.array([_s(t) for t in np.linspace(0, 4, 17)])
    np.testing.assert_allclose(straight.at(asked).lat_deg, late.at(asked).lat_deg)
    np.testing.assert_allclose(straight.at(asked).heading_true_rad, late.at(asked).heading_true_rad)


def test_heading_is_carried_on_with_the_turn_rate_for_two_seconds_only() -> None:
    poses = PoseSeries()
    poses.add(PoseSample(T0, heading_true_rad=1.0, turn_rate=0.1))
    assert poses.at(_s(1)).heading_true_rad[0] == pytest.approx(1.1)
    assert poses.at(_s(10)).heading_true_rad[0] == pytest.approx(1.2)


def test_a_stopped_boat_keeps_its_last_course_out_of_averages() -> None:
    poses = PoseSeries()
    poses.add(PoseSample(T0, cog_rad=math.radians(350.0), sog=0.0))
    poses.add(PoseSample(_s(1), cog_rad=math.radians(90.0), sog=4.0))
    at = poses.at(_s(0.5))
    assert at.sog[0] == pytest.approx(2.0)
    assert math.degrees(at.cog_rad[0]) == pytest.approx(90.0)
