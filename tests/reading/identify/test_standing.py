"""Ground that answers anyway: what passes over empty water, and what hops over standing echoes, by plain geometry."""

from __future__ import annotations

import math

import numpy as np
from reading_fakes import FRAME

from moonless.reading.identify.past.standing import PRIOR_SHARE, Standing

NS = 1_000_000_000
BEAM = math.radians(2.0)
OWN = np.zeros(2)


def _asked(standing: Standing, turn: int, place: tuple[float, float], speed: float) -> float:
    one = np.array([place])
    away = np.hypot(*one.T)
    return float(
        standing.share(
            turn * 2 * NS, np.array([1]), one, np.array([speed]), np.array([math.nan]), away, np.array([True]), BEAM
        )[0]
    )


def _run(rocks: np.ndarray, speed: float) -> list[float]:
    """A track that goes east along y = 500 m at ``speed``, among ``rocks`` (k, 2) that answer in every turn."""
    standing = Standing()
    standing.enter(FRAME)
    said = []
    for turn in range(60):
        at = (-400.0 + speed * 2.0 * turn, 500.0)
        plots = np.vstack([rocks.reshape(-1, 2), np.array([at])])
        said.append(_asked(standing, turn, at, speed))
        standing.take_in(turn * 2 * NS, plots, OWN, BEAM)
    return said


def test_a_vessel_comes_to_water_that_was_empty() -> None:
    said = _run(np.array([[3000.0, 0.0]]), 6.0)
    assert said[0] == PRIOR_SHARE  # nothing to go by
    assert max(said) <= PRIOR_SHARE


def test_a_track_over_standing_echoes_finds_that_all_had_answered() -> None:
    # An echo every 25 m along its way: within 15 m of each place.
    rocks = np.column_stack([np.arange(-500.0, 600.0, 25.0), np.full(44, 500.0)])
    assert _run(rocks, 6.0)[-1] > 0.6
    # Rocks 300 m aside of the way say nothing.
    assert _run(rocks + np.array([0.0, 300.0]), 6.0)[-1] <= PRIOR_SHARE


def test_what_crosses_a_row_once_is_not_held_to_hop_along_it() -> None:
    row = np.column_stack([np.full(44, 0.0), np.arange(-50.0, 1050.0, 25.0)])
    assert max(_run(row, 6.0)) < 0.35


def test_a_chain_of_standing_echoes_longer_than_any_hull_is_a_shore() -> None:
    def marked(length_m: float, drift: float = 0.0) -> np.ndarray:
        standing = Standing()
        standing.enter(FRAME)
        along = np.arange(0.0, length_m + 1.0, 40.0)
        for turn in range(20):
            plots = np.column_stack([along - length_m / 2.0, np.full(len(along), 800.0 + drift * 2.0 * turn)])
            standing.take_in(turn * 2 * NS, plots, OWN, BEAM)
        return standing.in_chain

    assert marked(600.0).all()
    # The longest ships are just under 400 m; a front that comes on at 10 m/s stands nowhere.
    assert not marked(360.0).any()
    assert not marked(600.0, 10.0).any()


def test_plots_without_a_place_are_left_out() -> None:
    standing = Standing()
    standing.enter(FRAME)
    standing.take_in(0, np.array([[math.nan, math.nan], [1.0, 2.0]]), OWN, BEAM)
    standing.take_in(2 * NS, np.zeros((0, 2)), OWN, BEAM)
    assert standing.in_chain.shape == (0,)
