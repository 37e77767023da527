"""Streams and the current triangle."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from moonless.sea.stations import read_stations
from moonless.sea.stream import StreamHere, course_to_steer
from moonless.sea.waves import significant_wave_height
from moonless.units import kn_to_mps, mps_to_kn


@pytest.mark.parametrize(
    ("track", "boat", "set_", "drift", "steer", "made_good"),
    [
        # Coastal navigation course answers, scribd.com document 346108670, read graphically there (to 5 degrees and
        # 0.1 kn); the figures here are the exact triangle's, and the published ones stand behind each.
        (90, 5.0, 210, 2.0, 69.7, 3.69),  # 070, 3.7
        (45, 6.55, 135, 2.0, 27.2, 6.24),  # 025, 6.2
        (235, 6.2, 315, 3.5, 201.2, 5.76),  # 200, 5.8
        (265, 5.2, 70, 2.3, 258.4, 2.94),  # 260, 3.0
        (150, 5.3, 50, 3.5, 190.6, 3.42),  # 190, 3.4
        (20, 5.9, 90, 1.9, 2.4, 6.27),  # 000, 6.2
    ],
)
def test_current_triangle(track: float, boat: float, set_: float, drift: float, steer: float, made_good: float) -> None:
    east = kn_to_mps(drift) * math.sin(math.radians(set_))
    north = kn_to_mps(drift) * math.cos(math.radians(set_))
    found = course_to_steer(math.radians(track), kn_to_mps(boat), east, north)
    assert found is not None
    assert math.degrees(found.course_rad) == pytest.approx(steer, abs=0.06)
    assert mps_to_kn(found.speed_over_ground) == pytest.approx(made_good, abs=0.006)


def test_a_stream_that_cannot_be_stemmed() -> None:
    assert course_to_steer(0.0, 2.0, 3.0, 0.0) is None
    assert course_to_steer(0.0, 2.0, 0.0, -2.5) is None


@pytest.mark.data
def test_real_streams(data_dir: Path) -> None:
    stations = read_stations([data_dir / "tides" / "boston.json"])
    start = datetime(2026, 3, 1, tzinfo=UTC).timestamp()
    here = StreamHere(stations.streams["noaa/ACT1121"], stations)
    events = here.events(start, start + 86_400)
    # Slack, strength, slack, strength: the order of NOAA's current tables.
    kinds = [e.kind for e in events]
    order = ["slack before flood", "flood", "slack before ebb", "ebb"]
    first = order.index(kinds[0])
    assert kinds == [order[(first + k) % 4] for k in range(len(kinds))]
    assert len(events) >= 7
    at = np.array([e.time_s for e in events])
    assert all((e.speed == 0.0) == e.kind.startswith("slack") for e in events)
    # 1e-4 m/s: a slack moves by a second with the grid that the search begins on.
    assert here.along_flood(at) == pytest.approx([e.speed for e in events], abs=1e-4)
    east, north = here.velocity(at)
    assert np.hypot(east, north) == pytest.approx(np.abs([e.speed for e in events]), abs=1e-4)


def test_waves_grow_with_wind_and_fetch() -> None:
    assert significant_wave_height(0.0, 1e4) == 0.0
    heights = [significant_wave_height(wind, 20_000.0) for wind in (3, 6, 9, 12)]
    assert heights == sorted(heights)
    # Shore Protection Manual (1984) eq. 3-33 by hand: U = 10 m/s -> U_A = 12.05; F = 10 km gives 0.62 m.
    assert significant_wave_height(10.0, 10_000.0) == pytest.approx(0.616, abs=0.01)
