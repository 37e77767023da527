"""The fast way to a plane gives the exact way's metres."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.chart import plane
from moonless.chart.plane import TOLERANCE_M, plane_coordinates
from moonless.frames import LocalFrame


@settings(deadline=None, max_examples=40)
@given(
    st.floats(-85.0, 85.0),
    st.floats(-180.0, 180.0),
    st.floats(100.0, 60_000.0),
    st.floats(-20_000.0, 20_000.0),
    st.integers(0, 2**31),
)
def test_within_a_millimetre(lat: float, lon: float, reach_m: float, aside_m: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    offset = rng.uniform(-1.0, 1.0, (3000, 2)) * reach_m / 111_000.0
    middle_lat = lat + aside_m / 111_000.0
    places = np.column_stack(
        [lon + offset[:, 0] / np.cos(np.radians(lat)), np.clip(middle_lat + offset[:, 1], -90, 90)]
    )
    frame = LocalFrame(lat, lon)
    exact = np.column_stack(frame.to_plane(places[:, 1], places[:, 0]))
    # The check between the nodes holds to the tolerance; anywhere else it may be a little more.
    assert np.abs(plane_coordinates(places, frame) - exact).max() < 3 * TOLERANCE_M


def test_a_harbour_is_fitted_and_a_hemisphere_is_not() -> None:
    frame = LocalFrame(42.0, -71.0)
    rng = np.random.default_rng(1)
    near = np.column_stack([rng.uniform(-71.1, -70.9, 3000), rng.uniform(41.9, 42.1, 3000)])
    far = np.column_stack([rng.uniform(-120.0, 0.0, 3000), rng.uniform(-60.0, 60.0, 3000)])
    assert plane._fitted(near, frame) is not None
    assert plane._fitted(far, frame) is None


def test_a_few_places_are_exact() -> None:
    frame = LocalFrame(42.0, -71.0)
    places = np.array([[-71.01, 42.02], [-70.5, 41.7]])
    assert (plane_coordinates(places, frame) == np.column_stack(frame.to_plane(places[:, 1], places[:, 0]))).all()


@pytest.mark.parametrize("more", [1, 2, 5])
def test_a_place_named_twice_comes_out_the_same_to_the_last_bit(more: int) -> None:
    """A ring ends where it began (rings of the open simple-features standard; from memory), wherever its ends stand."""
    rng = np.random.default_rng(3)
    n = plane._BLOCK + more
    places = np.column_stack([rng.uniform(-71.1, -70.9, n), rng.uniform(41.9, 42.1, n)])
    places[-1] = places[17]
    frame = LocalFrame(42.0, -71.0)
    assert plane._fitted(places, frame) is not None
    out = plane_coordinates(places, frame)
    assert (out[-1] == out[17]).all()
