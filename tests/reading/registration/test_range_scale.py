"""A picture whose metres are not metres: found by coast and own motion, and never made up.

The coast is one that the chart has wrong (`reading_coasts`).  The bounds are what a watch may ask, no source: no false
finding on a coast turned about the boat, one within that time where the told scale is out by a power of two.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from reading_coasts import LAND, shore
from reading_fakes import FRAME, FakeChart

from moonless.constants import TAU
from moonless.reading.chart_around import Place, lay_out
from moonless.reading.own import OwnPlane
from moonless.reading.registration.matching import turned_back
from moonless.reading.registration.observations import Sightings
from moonless.reading.registration.range_scale import RangeScale, _Fit
from moonless.scan.types import Scan, ScanErrors
from moonless.units import NS_PER_S

ERRORS = ScanErrors(math.radians(2.0), 20.0, 0.005, 5.0)
N_SPOKE, N_CELL, CELL_M = 360, 500, 10.0
TURNS = 24  # a minute at 24 a minute


def _lay_out(reach_m: float) -> Place | None:
    return lay_out(FakeChart(land=LAND), FRAME, 0.0, 0.0, reach_m)


def _scan(turn: int, told: float, north_m: float, things: np.ndarray) -> Scan:
    """Return a turn; ``things`` (n, 2) stand still; the cells are told ``told`` times as long as they are."""
    echo = np.zeros((N_SPOKE, N_CELL), dtype=np.uint8)
    rel = things - np.array([0.0, north_m])
    cell = np.rint(np.hypot(*rel.T) / CELL_M).astype(np.int64)
    row = np.rint(np.arctan2(rel[:, 0], rel[:, 1]) / TAU * N_SPOKE).astype(np.int64)
    for c, r in zip(cell, row, strict=True):
        if c < N_CELL - 3:
            echo[(r + np.arange(-1, 2))[:, None] % N_SPOKE, c + np.arange(2)] = 200
    lat, lon = FRAME.to_geographic(0.0, north_m)
    n = np.ones(N_SPOKE)
    time_ns = np.full(N_SPOKE, round(2.5 * turn * NS_PER_S), dtype=np.int64)
    received = np.ones(N_SPOKE, dtype=np.bool_)
    return Scan(
        echo, received, time_ns, float(lat) * n, float(lon) * n, 0.0 * n, n, told * CELL_M, told * CELL_M, 255, ERRORS
    )


def _scaled(seen: Sightings, told: float, turned: float = 0.0) -> Sightings:
    return replace(seen, shore_rel=turned_back(told * seen.shore_rel, turned))


def _found(
    told: float,
    *,
    speed: float = 0.0,
    turned: float = 0.0,
    turns: int = TURNS,
    shift: tuple[float, float] = (90.0, 60.0),
) -> tuple[float | None, int]:
    """Return what was found, and at which turn."""
    rng = np.random.default_rng(round(100 * told) + round(10 * turned))
    things = rng.uniform(-4500.0, 4500.0, (400, 2))
    scale = RangeScale()
    for turn in range(turns):
        north = 2.5 * turn * speed
        own = OwnPlane(FRAME, 0.0, north, 0.0, 0.0, speed)
        seen = _scaled(shore(0.0, (shift[0], shift[1] - north), rng), told, turned)
        seen = replace(seen, shore_own=seen.shore_own + np.array([0.0, north]))
        scale.update(_scan(turn, told, north, things), seen, own, _lay_out)
        if scale.found is not None:
            return scale.found, turn
    return None, turns


@pytest.mark.parametrize("told", [0.5, 2.0])
def test_a_scale_out_by_a_power_of_two_is_found_at_rest_by_the_coast(told: float) -> None:
    found, _ = _found(told)
    assert found == 1.0 / told


def test_own_motion_makes_it_sooner_where_the_coast_bears_it_out() -> None:
    found, at = _found(0.5, speed=5.0)
    assert found == 2.0 and at <= 12  # the coast alone is asked for three looks at five scales: 15 turns


@pytest.mark.parametrize("speed", [0.0, 5.0])
def test_a_scale_that_is_right_is_left_alone(speed: float) -> None:
    assert _found(1.0, speed=speed)[0] is None


def test_a_coast_that_is_another_gives_no_factor() -> None:
    """The same echoes turned about the boat: at no scale is that coast the charted one."""
    assert [_found(1.0, turned=math.radians(d))[0] for d in (60, 150, 270)] == [None] * 3


def test_own_motion_alone_gives_no_factor() -> None:
    """Rain that runs against the boat looks like a wrong scale; the coast as told says that it is none."""
    rng = np.random.default_rng(5)
    rain = rng.uniform(-4500.0, 4500.0, (400, 2))
    scale = RangeScale()
    for turn in range(TURNS):
        north = 2.5 * turn * 5.0
        own = OwnPlane(FRAME, 0.0, north, 0.0, 0.0, 5.0)
        seen = shore(0.0, (90.0, 60.0 - north), rng)
        seen = replace(seen, shore_own=seen.shore_own + np.array([0.0, north]))
        scale.update(_scan(turn, 1.0, north, rain - np.array([0.0, north])), seen, own, _lay_out)
        assert scale.found is None


def test_what_several_looks_tell_is_their_mean() -> None:
    fit, looks = _Fit(), [(3.0, 9.0, 40.0), (-2.0, 5.0, 10.0), (8.0, 1.0, 25.0), (0.5, 4.0, 70.0)]
    for look in looks:
        fit.take(*look)
    assert fit.looks == 4
    assert (fit.evidence, fit.best, fit.votes) == pytest.approx(tuple(sum(x) / 4.0 for x in zip(*looks, strict=True)))
