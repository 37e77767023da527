"""How far the boat went, by the picture alone: against plain geometry of still things seen from two places."""

from __future__ import annotations

import math

import numpy as np
import pytest

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.scan.own_motion import Passed, look, passed
from moonless.scan.types import Scan, ScanErrors
from moonless.units import NS_PER_S

FRAME = LocalFrame(10.0, 20.0)
N_SPOKE, N_CELL, CELL_M = 720, 400, 10.0
ERRORS = ScanErrors(math.radians(2.0), 20.0, 0.005, 5.0)


def _scan(
    things: np.ndarray, own: np.ndarray, rng: np.random.Generator, told: float, heading_error: float = 0.0
) -> Scan:
    """Return things (n, 2) as seen from a place, the cells told ``told`` times as long as they are."""
    rel = things - own
    reach, bearing = np.hypot(*rel.T), np.arctan2(rel[:, 0], rel[:, 1])
    echo = rng.integers(0, 12, (N_SPOKE, N_CELL)).astype(np.uint8)
    for r, b in zip(reach, bearing, strict=True):
        cell = round(r / CELL_M)
        if 0 < cell < N_CELL - 3:
            rows = (round(b / TAU * N_SPOKE) + np.arange(-7, 8)) % N_SPOKE
            echo[rows[:, None], cell + np.arange(3)] = 200
    lat, lon = FRAME.to_geographic(*own)
    n = np.ones(N_SPOKE)
    return Scan(
        echo, np.ones(N_SPOKE, dtype=np.bool_), np.full(N_SPOKE, NS_PER_S, dtype=np.int64), lat * n, lon * n,
        n * (heading_error % TAU), n, told * CELL_M, told * CELL_M, 255, ERRORS,
    )  # fmt: skip


def _said(told: float, turned_deg: float = 0.0, drift: tuple[float, float] = (0.0, 0.0), n: int = 400) -> Passed | None:
    rng = np.random.default_rng(3)
    things = rng.uniform(-3900.0, 3900.0, (n, 2))
    way = np.array([48.0, 36.0])  # 60 m
    before = look(_scan(things, np.zeros(2), rng, told))
    now = look(_scan(things + drift, way, rng, told, math.radians(turned_deg)))
    assert before is not None and now is not None
    return passed(before, now)


@pytest.mark.parametrize("told", [0.5, 0.7, 1.0, 2.0])
def test_still_things_come_nearer_by_the_way_gone_in_the_pictures_own_metres(told: float) -> None:
    said = _said(told)
    assert said is not None
    assert said.way_m == pytest.approx(60.0, abs=0.1)
    assert said.share == pytest.approx(told, rel=0.06)
    assert abs(said.drift) < 0.15
    assert said.speaking >= 20


def test_a_picture_that_turns_between_two_looks_says_the_same() -> None:
    """Ranges alone are compared: a heading half a degree out in between is a third of what the beam is wide."""
    said = _said(0.5, turned_deg=0.5)
    assert said is not None and said.share == pytest.approx(0.5, abs=0.05)


def test_things_that_all_drift_are_not_told_from_a_wrong_scale() -> None:
    """Why own motion never decides alone: rain that comes against the boat as fast as she goes, and a set whose metres
    are two, look the same."""
    said = _said(1.0, drift=(-48.0, -36.0))
    assert said is not None and said.share == pytest.approx(2.0, abs=0.1)


def test_noise_bears_nothing_out() -> None:
    said = _said(1.0, n=0)
    assert said is None or said.speaking == 0


def test_a_way_too_long_for_the_picture_says_nothing() -> None:
    rng = np.random.default_rng(3)
    things = rng.uniform(-3900.0, 3900.0, (300, 2))
    before, now = (look(_scan(things, np.array([0.0, y]), rng, 1.0)) for y in (0.0, 700.0))
    assert before is not None and now is not None and passed(before, now) is None


def test_a_turn_without_a_place_is_not_looked_at() -> None:
    scan = _scan(np.zeros((0, 2)), np.zeros(2), np.random.default_rng(1), 1.0)
    lost = np.full(N_SPOKE, np.nan)
    assert (
        look(
            Scan(
                scan.echo, scan.is_received, scan.time_ns, lost, lost, scan.heading_true_rad, scan.pose_age,
                CELL_M, CELL_M, 255, ERRORS,
            )
        )
        is None
    )  # fmt: skip
