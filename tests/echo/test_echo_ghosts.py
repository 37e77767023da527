"""Ghosts are told by their geometry; boats are not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from moonless.echo.ghosts import GhostFinder
from moonless.echo.types import Plots
from moonless.scan.types import ScanErrors

ERRORS = ScanErrors(beam_rad=math.radians(4.0), pulse_m=24.0, azimuth_sigma_rad=0.005, range_sigma_m=5.0)


def plots_of(*rows):
    """Plots from (azimuth in degrees, range, strength)."""
    azimuth, range_m, strength = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    n = azimuth.size
    zero = np.zeros(n)
    return Plots(
        np.zeros(n, np.int64), range_m, np.radians(azimuth), zero, zero, zero, zero + 2.0, zero + 0.005, zero, zero,
        zero * np.nan, strength, zero + 100.0, np.ones(n, np.int64), np.zeros(n, np.bool_), np.full(n, -1, np.int64),
        (None,) * n,
    )  # fmt: skip


def test_multiple_echoes_name_their_parent():
    marked = GhostFinder().mark(plots_of((30, 400, 45), (30.4, 802, 22), (29.8, 1203, 12), (31, 950, 22)), ERRORS, 4.0)
    assert marked.false_parent.tolist() == [-1, 0, 0, -1]
    assert marked.false_cause == (None, "multiple", "multiple", None)


@pytest.mark.parametrize("boat", [(33, 800, 22), (30, 840, 22), (30, 800, 40)])
def test_a_boat_near_the_doubled_range_is_left(boat):
    marked = GhostFinder().mark(plots_of((30, 400, 45), boat), ERRORS, 4.0)
    assert marked.false_parent.tolist() == [-1, -1]


def test_side_lobes_on_both_sides():
    marked = GhostFinder().mark(plots_of((90, 500, 60), (83, 502, 15), (97, 498, 16), (140, 500, 14)), ERRORS, 4.0)
    assert marked.false_parent.tolist() == [-1, 0, 0, -1]
    assert marked.false_cause[1] == "side lobe"


def test_a_hulls_second_trip_is_sought_between_her_pieces():
    # Two pieces 5 degrees apart, their common second trip between them.
    marked = GhostFinder().mark(plots_of((79.4, 540, 58), (84.7, 532, 55), (82.5, 1068, 28)), ERRORS, 4.0)
    assert marked.false_parent.tolist() == [-1, -1, 0]


def test_many_boats_on_one_ring_are_no_side_lobes():
    """A dense anchorage has five boats on any arc; a ship among them makes none of them false."""
    boats = [(7.0 * k, 300.0 + 9.0 * ((k * 37) % 50), 20.0) for k in range(50)]
    marked = GhostFinder().mark(plots_of((90.5, 500, 62), *boats), ERRORS, 4.0)
    assert np.count_nonzero(marked.false_parent >= 0) == 0


def test_a_lone_boat_at_a_ships_range_is_left():
    marked = GhostFinder().mark(plots_of((90, 500, 60), (97, 500, 25)), ERRORS, 4.0)
    assert marked.false_parent.tolist() == [-1, -1]


def test_echoes_off_the_own_mast_are_learnt():
    finder = GhostFinder()
    rng = np.random.default_rng(2)
    for turn in range(10):
        ship_a, ship_b = 600 + 15 * turn, 1400 - 20 * turn
        rows = [(40 + turn, ship_a, 45), (300, ship_b, 42), (181, ship_a + 3, 20), (181.5, ship_b - 4, 15)]
        # Boats that stand at no ship's range.
        rows += [(100, 900 + 2 * turn, 20), (250, 1700, 22)]
        marked = finder.mark(plots_of(*rows), ERRORS, 4.0)
    del rng
    assert marked.false_cause[2:] == ("indirect", "indirect", None, None)
    assert marked.false_parent.tolist() == [-1, -1, 0, 1, -1, -1]


def test_one_boat_keeping_a_ships_range_is_left():
    finder = GhostFinder()
    for _ in range(20):
        marked = finder.mark(plots_of((40, 600, 45), (181, 602, 20)), ERRORS, 4.0)
    assert marked.false_parent.tolist() == [-1, -1]


def test_boats_at_random_are_hardly_ever_marked():
    rng = np.random.default_rng(8)
    finder = GhostFinder()
    marked = seen = 0
    for _ in range(60):
        rows = np.column_stack((rng.uniform(0, 360, 40), rng.uniform(100, 3000, 40), rng.uniform(10, 60, 40)))
        plots = finder.mark(plots_of(*rows), ERRORS, 4.0)
        marked += int(np.count_nonzero(plots.false_parent >= 0))
        seen += len(plots)
    assert marked / seen < 0.02


def test_nothing_to_mark():
    empty = plots_of((1, 100, 20))
    assert GhostFinder().mark(empty, ERRORS, 4.0) is empty
