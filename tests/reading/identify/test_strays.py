"""Strays: how far what noise lets through stands over its threshold, by the exponential law, and what that says."""

from __future__ import annotations

import math
from dataclasses import MISSING, fields

import numpy as np
import pytest
from reading_fakes import make_track

from moonless.echo.types import EchoPicture, Plots
from moonless.reading.identify import evidence
from moonless.reading.identify.past.clutter_runs import clutter_runs
from moonless.reading.identify.past.strays import SPAN_DB, Strays

NOTHING = np.zeros((1, 1), dtype=np.float32)


def _picture(strength_db: np.ndarray) -> EchoPicture:
    n = len(strength_db)
    counted = {"time_ns": np.int64, "n_cells": np.int64, "false_parent": np.int64, "is_clipped": np.bool_}
    columns = {f.name: np.zeros(n, counted.get(f.name, np.float64)) for f in fields(Plots) if f.default is MISSING}
    columns = {k: v for k, v in columns.items() if k not in ("is_of_shore", "body")}
    return EchoPicture(Plots(**{**columns, "strength_db": strength_db}), (), NOTHING, NOTHING, NOTHING, None, 0.0)


def _noise(n: int, over: float) -> np.ndarray:
    """Strengths of what passes ``over`` times the mean power: the excess of an exponential law is exponential."""
    return 10.0 * np.log10(over + np.random.default_rng(1).exponential(1.0, n))


@pytest.mark.parametrize("over_db", [11.5, 14.0])
def test_the_reach_is_where_the_exponential_law_has_three_quarters_of_its_excess(over_db: float) -> None:
    # P(excess > x) = exp(-x): a quarter lies beyond ln 4 (elementary).
    over = 10.0 ** (over_db / 10.0)
    strays = Strays()
    for _ in range(20):
        strays.take_in(_picture(_noise(200, over)), ())
    assert strays.reach_db == pytest.approx(max(12.0, 10.0 * math.log10(over + math.log(4.0))), abs=0.1)


def test_a_weak_echo_among_strays_is_likelier_one_of_them_and_a_strong_one_is_not() -> None:
    strays = Strays()
    strays.take_in(_picture(_noise(200, 10.0)), ())
    said = strays.likelihood(np.array([10.0, 12.0, 14.0, 20.0, 40.0, math.nan]), np.zeros(6, dtype=np.bool_))
    assert said[0] > said[1] > 1.0 > said[2] > said[3] > said[4]
    # Integrated over all that a thing may have, the strays' density holds what it should: its three quarters.
    at = np.arange(6.0, 6.0 + SPAN_DB, 0.05)
    assert np.trapezoid(strays.likelihood(at, np.zeros(len(at), dtype=np.bool_)), at) / SPAN_DB == pytest.approx(
        0.75, abs=0.02
    )
    # A clipped echo hides how strong it is, and one without a figure has none.
    assert said[5] == 0.0
    assert not strays.likelihood(np.full(2, 9.0), np.ones(2, dtype=np.bool_)).any()


def test_plots_of_sure_tracks_are_no_strays() -> None:
    strength = np.concatenate([np.full(30, 17.0), _noise(10, 10.0)])
    sure = tuple(make_track(k, 0.0, 500.0, n_hits=20, n_scans=22, last_plot=k) for k in range(30))
    hopping = tuple(make_track(k, 0.0, 500.0, n_hits=11, n_scans=22, last_plot=k) for k in range(30))
    told = []
    for tracks in (sure, hopping):
        strays = Strays()
        for _ in range(20):
            strays.take_in(_picture(strength), tracks)
        told.append(strays.reach_db)
    assert told[0] == 12.0 and told[1] == pytest.approx(17.0)


def test_a_run_of_weak_plots_is_clutter_by_the_strays_about_it_and_by_their_strength() -> None:
    def density(stray: float, per_m2: float) -> float:
        track = make_track(1, 0.0, 2500.0, n_hits=30, n_scans=32, clutter_per_m2=per_m2, strength_db=10.0)
        return float(clutter_runs((track,), np.array([2500.0]), np.array([-20.0]), np.array([stray]))[0])

    clean = density(0.0, 1e-6)
    assert density(7.5, 1e-6) > 50.0 * clean  # few strays are enough where it is no stronger than they are
    assert density(7.5, 1e-8) < 0.05 * density(7.5, 1e-6)  # but some there must be


def test_strays_say_nothing_of_what_lies_on_land_or_is_a_piece_of_a_shore() -> None:
    stray, sigma = np.full(4, 5.0), np.full(4, 10.0)
    said = evidence._off_land(stray, np.array([0.0, 20.0, 200.0, math.inf]), sigma, None)
    assert said[0] == 0.0 and 0.0 < said[1] < 5.0 and said[2] == pytest.approx(5.0) and said[3] == 5.0
    piece = np.array([False, False, True, True])
    assert not evidence._off_land(stray, np.full(4, math.inf), sigma, piece)[2:].any()
    assert not evidence._off_land(None, np.full(4, math.inf), sigma, None).any()
