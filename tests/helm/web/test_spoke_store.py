"""The radar picture as the helm keeps it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.clock import steady_s
from moonless.frames import LocalFrame
from moonless.helm.web.protocol import FORGET, FROM_BOW
from moonless.helm.web.spokes import MAX_CELLS, SpokeStore
from moonless.watch.types import SpokesNow

N = 64


def batch(rows: list[int], value: int = 100, n_cell: int = 8, **more: Any) -> SpokesNow:
    n = len(rows)
    given: dict[str, Any] = {
        "azimuth_rad": np.array(rows) * (2 * math.pi / N),
        "from_bow": False,
        "echo": np.full((n, n_cell), value, np.uint8),
        "n_spoke": N,
        "first_cell_m": 5.0,
        "cell_m": 10.0,
        "lat_deg": np.full(n, -38.0),
        "lon_deg": np.full(n, -128.0),
        "time_ns": np.zeros(n, np.int64),
        "received_s": steady_s(),
    }
    return SpokesNow(**(given | more))


def test_only_changed_rows_are_sent() -> None:
    store = SpokeStore()
    store.add(batch([0, 1, 2]))
    first = store.frame_since(0)
    assert first is not None and first.row.tolist() == [0, 1, 2] and first.flags & FORGET
    seen = store.version
    assert store.frame_since(seen) is None
    store.add(batch([2, 3], value=7))
    second = store.frame_since(seen)
    assert second is not None and second.row.tolist() == [2, 3] and not second.flags
    assert second.echo[0].tolist() == [7] * 8


def test_a_client_that_slept_gets_each_row_once_as_it_is_now() -> None:
    store = SpokeStore()
    for value in range(1, 20):
        store.add(batch([value % 4], value=value))
    frame = store.frame_since(0)
    assert frame is not None
    assert dict(zip(frame.row.tolist(), frame.echo[:, 0].tolist(), strict=True)) == {0: 16, 1: 17, 2: 18, 3: 19}


def test_a_turning_boat_leaves_no_dark_rows() -> None:
    store = SpokeStore()
    store.add(batch([10, 12, 15]))
    frame = store.frame_since(0)
    assert frame is not None and frame.row.tolist() == [10, 11, 12, 13, 14, 15]


def test_a_real_gap_stays_a_gap() -> None:
    store = SpokeStore()
    store.add(batch([10, 30]))
    frame = store.frame_since(0)
    assert frame is not None and frame.row.tolist() == [10, 30]


def test_a_new_range_forgets_the_old_picture() -> None:
    store = SpokeStore()
    store.add(batch([0]))
    seen = store.version
    store.add(batch([5], cell_m=20.0))
    frame = store.frame_since(seen)
    assert frame is not None and frame.flags & FORGET and frame.row.tolist() == [5] and frame.cell_m == 20.0


def test_losing_the_heading_is_said() -> None:
    store = SpokeStore()
    store.add(batch([0], from_bow=True))
    frame = store.frame_since(0)
    assert frame is not None and frame.flags & FROM_BOW


def test_unknown_places_are_not_a_number_and_never_zero() -> None:
    store = SpokeStore()
    store.add(batch([0], lat_deg=np.array([math.nan]), lon_deg=np.array([math.nan])))
    frame = store.frame_since(0)
    assert frame is not None and math.isnan(frame.ref_lat_deg)


@given(st.floats(-60, 60), st.floats(-400, 400), st.floats(-400, 400))
def test_row_places_agree_with_the_geodesic_plane(lat: float, east: float, north: float) -> None:
    frame = LocalFrame(lat, 20.0)
    lat2, lon2 = frame.to_geographic(east, north)
    store = SpokeStore()
    # The reference is the newest row's place: here the second.
    store.add(batch([0, 1], lat_deg=np.array([lat2, lat]), lon_deg=np.array([lon2, 20.0])))
    sent = store.frame_since(0)
    assert sent is not None
    # A sphere of mean radius against the ellipsoid: within half a percent of what one turn moves.
    assert sent.east_m[0] == pytest.approx(east, abs=0.006 * 400)
    assert sent.north_m[0] == pytest.approx(north, abs=0.008 * 400)


def test_many_cells_are_pooled_by_the_strongest() -> None:
    echo = np.zeros((1, 3 * MAX_CELLS), np.uint8)
    echo[0, 1] = 200
    store = SpokeStore()
    store.add(batch([0], echo=echo, first_cell_m=0.5, cell_m=1.0))
    frame = store.frame_since(0)
    assert frame is not None and frame.echo.shape[1] == MAX_CELLS
    assert frame.echo[0, 0] == 200
    # Three cells of 1 m centred at 0.5, 1.5, 2.5 m become one of 3 m centred at 1.5 m.
    assert frame.cell_m == 3.0 and frame.first_cell_m == pytest.approx(1.5)


def test_clear_makes_every_client_forget() -> None:
    store = SpokeStore()
    store.add(batch([0]))
    seen = store.version
    store.clear()
    assert store.frame_since(seen) is None
    store.add(batch([1]))
    frame = store.frame_since(seen)
    assert frame is not None and frame.flags & FORGET
