"""Weakly heard land against rain: both stand over the water, one keeps its fine structure on the ground."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from moonless.echo.raised_ground import RaisedGround

N_ROW, N_COL, COL_M = 360, 128, 15.0
REACH = (np.arange(N_COL) + 0.5) * COL_M
AREA = (slice(200, 260), slice(50, 90))


def _texture(seed: int) -> np.ndarray:
    """Fine structure of 3 dB, two boxes across."""
    field = ndimage.uniform_filter(np.random.default_rng(seed).normal(0.0, 1.0, (N_ROW, N_COL)), 2, mode="wrap")
    return np.asarray(3.0 * field / field.std())


def _picture(seed: int, area: np.ndarray, lift_db: float, at: tuple[slice, slice] = AREA) -> np.ndarray:
    """Water at 0 dB, strayed by 0.3 dB, with ``area`` laid in the box ``at``, ``lift_db`` over it."""
    out = np.random.default_rng(seed).normal(0.0, 0.3, (N_ROW, N_COL))
    out[at] += lift_db + area[at]
    return out.astype(np.float32)


def _ground(
    now: np.ndarray, before: np.ndarray | None, smear_m: float = 4.0, top: np.ndarray | None = None
) -> RaisedGround:
    tops = np.zeros(0, dtype=np.int64) if top is None else top
    return RaisedGround(now, before, REACH, COL_M, smear_m, tops)


@pytest.mark.parametrize("lift_db", [7.0, 12.0])
def test_land_is_what_keeps_its_fine_structure_and_rain_what_does_not(lift_db: float) -> None:
    land = _texture(1)
    found = _ground(_picture(10, land, lift_db), _picture(11, land, lift_db)).boxes()
    assert found[AREA].mean() > 0.9
    found[AREA] = False
    assert found.mean() < 0.002
    # The same area with another texture some turns ago boils; a whole shower moved by a dozen boxes drifts.
    soft = _soft(lift_db)
    assert (
        not _ground(_laid(10, soft + land * (soft > 1.0)), _laid(11, soft + _texture(2) * (soft > 1.0))).boxes().any()
    )
    shower = soft + land * (soft > 1.0)
    assert not _ground(_laid(10, shower), _laid(11, np.roll(shower, 12, axis=1))).boxes().any()


def _soft(lift_db: float) -> np.ndarray:
    """A shower without a sharp edge: a mound of so many decibels."""
    row, col = np.mgrid[0:N_ROW, 0:N_COL]
    return np.asarray(lift_db * np.exp(-0.5 * (((row - 230) / 20.0) ** 2 + ((col - 70) / 14.0) ** 2)))


def _laid(seed: int, over_db: np.ndarray) -> np.ndarray:
    return np.asarray(np.random.default_rng(seed).normal(0.0, 0.3, (N_ROW, N_COL)) + over_db, dtype=np.float32)


def test_it_is_not_known_before_it_was_watched_and_open_water_has_none() -> None:
    land = _texture(1)
    assert not _ground(_picture(10, land, 9.0), None).boxes().any()
    assert (
        not _ground(_picture(10, land, 0.0, (slice(0), slice(0))), _picture(11, land, 0.0, (slice(0), slice(0))))
        .boxes()
        .any()
    )
    nothing = np.full((N_ROW, N_COL), np.nan, dtype=np.float32)
    assert not _ground(nothing, nothing).boxes().any()


def test_a_strong_point_with_its_skirts_is_none() -> None:
    # 12 rows of one degree at 1 km and 5 boxes of 15 m: 15 700 m2 of skirts, which a beam of 4 degrees and a pulse of
    # 30 m make of a point at the top of the scale.
    hull, at = _texture(1), (slice(200, 212), slice(65, 70))
    now, before = _picture(10, hull, 20.0, at), _picture(11, hull, 20.0, at)
    assert not _ground(now, before, smear_m=4.5 * np.radians(4.0) * (4.0 * 30.0 + COL_M)).boxes().any()


def test_plots_on_it_or_beside_it_are_told_and_none_off_it() -> None:
    land = _texture(1)
    inside, beside, off = 230 * N_COL + 70, 230 * N_COL + 90, 230 * N_COL + 95
    ground = _ground(_picture(10, land, 12.0), _picture(11, land, 12.0), top=np.array([inside, beside, off]))
    assert ground.plots().tolist() == [True, True, False]


def test_an_area_across_the_bow_is_one() -> None:
    land = np.roll(_texture(1), 130, axis=0)
    now, before = (np.roll(_picture(k, _texture(1), 9.0), 130, axis=0) for k in (10, 11))
    found = _ground(now, before).boxes()
    rows = np.flatnonzero(found.any(axis=1))
    assert 0 in rows and N_ROW - 1 in rows and land.shape == now.shape
    assert found.sum() > 0.9 * 60 * 40
