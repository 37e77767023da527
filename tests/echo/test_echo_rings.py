"""Rings of side lobes: thin in range and all round, against what a river, a ship and an empty sea look like."""

from __future__ import annotations

import numpy as np

from moonless.echo.background.rings import ring_level

THRESHOLD = np.full((360, 200), 12.0, dtype=np.float32)
COL_M, PULSE_M = 10.0, 20.0


def _sea() -> np.ndarray:
    return np.random.default_rng(1).normal(0.0, 1.0, (360, 200)).astype(np.float32)


def test_what_stands_out_of_a_ring_is_left_and_the_ring_is_not() -> None:
    box = _sea()
    box[:, 60:66] = 25.0  # lobes all round at 600 m
    box[170:190, 60:66] = 60.0  # the ship herself
    level = ring_level(box, THRESHOLD, COL_M, PULSE_M)
    assert np.all(np.isneginf(np.delete(level, range(60, 66))))
    assert np.all(level[60:66] > 25.0)
    assert np.all(level[60:66] < 60.0)


def test_a_rivers_banks_the_own_sea_and_an_arc_are_no_rings() -> None:
    box = _sea()
    box[:, 100:160] = 30.0  # 600 m deep: land
    box[:, :8] = 30.0  # from the first cell on: the boat's own sea
    box[:120, 60:66] = 30.0  # a third of the way round: a shore
    assert np.all(np.isneginf(ring_level(box, THRESHOLD, COL_M, PULSE_M)))


def test_without_most_of_the_bearings_nothing_is_said() -> None:
    box = _sea()
    box[:, 60:66] = 25.0
    box[:200] = np.nan
    assert np.all(np.isneginf(ring_level(box, THRESHOLD, COL_M, PULSE_M)))
    box[:200] = _sea()[:200]
    box[:120] = np.nan  # 240 of 360 are enough
    box[120:, 60:66] = 25.0
    assert np.all(ring_level(box, THRESHOLD, COL_M, PULSE_M)[60:66] > 25.0)
