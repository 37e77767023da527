"""Where an echo could be seen at all."""

from __future__ import annotations

import math

import numpy as np

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.detectable import IN_VIEW_CLUTTER, IN_VIEW_HIDDEN, HiddenWater, visibility
from moonless.scan.types import Scan, ScanErrors

FRAME = LocalFrame(10.0, 20.0)
N = 360


def _scan(received: np.ndarray, heading_rad: float) -> Scan:
    return Scan(
        np.zeros((N, 100), np.uint8), received, np.zeros(N, np.int64), np.full(N, 10.0), np.full(N, 20.0),
        np.full(N, heading_rad % TAU), np.zeros(N), 10.0, 10.0, 255, ScanErrors(0.07, 30.0, 0.005, 5.0),
    )  # fmt: skip


def _own(east_m: float, north_m: float) -> OwnPlane:
    return OwnPlane(FRAME, east_m, north_m, None, None, None)


def _square(east_m: float, north_m: float, half_m: float, by: str) -> dict[str, object]:
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]
    ring = []
    for x, y in corners:
        lat, lon = FRAME.to_geographic(east_m + x * half_m, north_m + y * half_m)
        ring.append([lon, lat])
    return {"type": "Feature", "properties": {"by": by}, "geometry": {"type": "Polygon", "coordinates": [ring]}}


def test_lost_rows_and_the_ends_of_the_picture_are_out_of_view() -> None:
    received = np.ones(N, dtype=np.bool_)
    received[80:101] = False  # about the starboard beam
    see = visibility(_scan(received, math.radians(90.0)), _own(100.0, 50.0), None)
    # Ahead is east; the starboard beam is south.
    east = np.array([100.0 + 500.0, 100.0, 100.0 + 5.0, 100.0 + 2000.0, 100.0 - 500.0])
    north = np.array([50.0, 50.0 - 500.0, 50.0, 50.0, 50.0])
    assert see(east, north).tolist() == [1.0, 0.0, 0.0, 0.0, 1.0]


def test_headings_about_north_are_not_averaged_to_south() -> None:
    scan = _scan(np.ones(N, dtype=np.bool_), 0.0)
    wavering = np.where(np.arange(N) % 2 == 0, 0.01, TAU - 0.01)
    received = np.ones(N, dtype=np.bool_)
    received[175:186] = False  # astern
    scan = Scan(
        scan.echo, received, scan.time_ns, scan.lat_deg, scan.lon_deg, wavering, scan.pose_age, 10.0, 10.0, 255,
        scan.errors,
    )  # fmt: skip
    see = visibility(scan, _own(0.0, 0.0), None)
    assert see(np.array([0.0, 0.0]), np.array([500.0, -500.0])).tolist() == [1.0, 0.0]


def test_hidden_water_is_hardly_seen_into() -> None:
    hidden = {
        "type": "FeatureCollection",
        "features": [
            _square(500.0, 0.0, 50.0, "land"),
            _square(0.0, 500.0, 50.0, "clutter"),
            _square(-500.0, 0.0, 50.0, "vessel"),
        ],
    }
    see = visibility(_scan(np.ones(N, dtype=np.bool_), 0.0), _own(0.0, 0.0), hidden)
    got = see(np.array([500.0, 0.0, -500.0, 0.0]), np.array([0.0, 500.0, 0.0, -500.0]))
    assert got.tolist() == [IN_VIEW_HIDDEN, IN_VIEW_CLUTTER, 1.0, 1.0]
    assert see(np.zeros(0), np.zeros(0)).shape == (0,)


def _hidden_half() -> dict[str, object]:
    """Return all water west of the boat as hidden by land."""
    return {"type": "FeatureCollection", "features": [_square(-2000.0, 0.0, 2000.0, "land")]}


def test_water_that_the_chart_hides_and_that_answers_is_seen_into() -> None:
    rng = np.random.default_rng(5)
    east, north = rng.uniform(-1500.0, 1500.0, (2, 200))
    over_all, open_only = HiddenWater(), HiddenWater()
    for _ in range(20):
        over_all.learn(_own(0.0, 0.0), _hidden_half(), east, north)
        open_only.learn(_own(0.0, 0.0), _hidden_half(), np.abs(east), north)
    # Plots as dense on the hidden side as on the other: the chart hides nothing.  None there: it hides all.
    assert over_all.answers > 0.85
    assert over_all.in_view > 0.7
    assert open_only.answers == 0.0
    assert open_only.in_view == IN_VIEW_HIDDEN


def test_nothing_is_learnt_of_hidden_water_without_hidden_water_or_plots() -> None:
    water = HiddenWater()
    water.learn(_own(0.0, 0.0), None, np.ones(3), np.ones(3))
    water.learn(_own(0.0, 0.0), _hidden_half(), np.full(3, np.nan), np.ones(3))
    assert water.in_view == IN_VIEW_HIDDEN
