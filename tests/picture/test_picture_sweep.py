"""The sweep by what it paints: held against arcs that were made."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from moonless.picture.over.cover import Judged
from moonless.picture.sweep import BLOCKS, Sweep, arc_of

N_ROW = 1024
NS = 1_000_000_000


def changes(rng: np.random.Generator, first_deg: float, wide_deg: float, stray: float = 0.1) -> NDArray[np.int64]:
    """Changed cells of a frame: some 6 in a painted direction, now and then one elsewhere."""
    angle = np.arange(N_ROW) * 360.0 / N_ROW
    painted = np.remainder(angle - first_deg, 360.0) < wide_deg
    return np.where(painted, rng.poisson(6.0, N_ROW), rng.poisson(stray, N_ROW)).astype(np.int64)


def fed(sweep: Sweep, rng: np.random.Generator, frames: int, *, step_s: float = 0.5, deg_a_s: float = 144.0):
    """Feed frames of a turning antenna; return what each has given."""
    wide = deg_a_s * step_s
    return [
        sweep.step(changes(rng, k * wide, wide), round((k + 1) * step_s * NS)) for k in range(frames)
    ]  # fmt: skip


@pytest.mark.parametrize("deg_a_s", [144.0, 288.0, 90.0])
def test_every_direction_comes_once_a_turn_at_its_time(deg_a_s: float) -> None:
    sweep = Sweep()
    outs = fed(sweep, np.random.default_rng(3), 24, deg_a_s=deg_a_s)
    got = [out for out in outs if out is not None]
    assert sweep.is_turning and len(got) >= 19
    rows = np.concatenate([out.rows for out in got])
    assert (np.remainder(np.diff(rows), N_ROW) == 1).all()
    times = np.concatenate([out.time_ns for out in got]) / NS
    off = np.remainder(times * deg_a_s - rows * 360.0 / N_ROW + 180.0, 360.0) - 180.0
    # Two blocks of 1.4 degrees at most.
    assert np.abs(off).max() < 2.0 * 360.0 / BLOCKS


def test_strong_changes_beyond_the_sweep_do_not_move_it() -> None:
    rng = np.random.default_rng(4)
    sweep = Sweep()
    fed(sweep, rng, 12)
    for k in range(12, 22):
        changed = changes(rng, k * 72.0, 72.0)
        at = (round((k * 72.0 + 200.0) / 360.0 * N_ROW) + np.arange(40)) % N_ROW
        changed[at] += 30
        out = sweep.step(changed, round((k + 1) * 0.5 * NS))
        assert out is not None and out.rows.size == pytest.approx(72.0 / 360.0 * N_ROW, abs=16)


def test_a_frame_that_was_lost_is_made_up_by_the_next() -> None:
    rng = np.random.default_rng(5)
    sweep = Sweep()
    last = fed(sweep, rng, 12)[-1]
    assert last is not None
    out = sweep.step(changes(rng, 12 * 72.0, 144.0), 7 * NS)
    assert out is not None and out.rows[0] == (last.rows[-1] + 1) % N_ROW
    assert out.rows.size == pytest.approx(0.4 * N_ROW, abs=12)


def test_what_stands_still_gives_nothing() -> None:
    sweep = Sweep()
    fed(sweep, np.random.default_rng(6), 12)
    still = np.zeros(N_ROW, np.int64)
    assert all(sweep.step(still, round((6.5 + 0.5 * k) * NS)) is None for k in range(8))
    # What the screen did meanwhile nobody knows: it is sought anew.
    assert sweep.step(changes(np.random.default_rng(1), 0.0, 72.0), 11 * NS) is None and not sweep.is_turning


def test_a_picture_painted_at_once_comes_as_a_whole_when_it_is_painted() -> None:
    rng = np.random.default_rng(7)
    sweep = Sweep()
    whole = []
    for k in range(40):
        is_painted = k % 5 == 0
        changed = rng.poisson(6.0 if is_painted else 0.1, N_ROW).astype(np.int64)
        out = sweep.step(changed, round((k + 1) * 0.5 * NS))
        if out is not None:
            whole.append(k)
            assert out.rows.size == N_ROW and out.time_sigma_s == pytest.approx(0.25)
    assert whole == list(range(10, 40, 5))


def test_grain_all_round_is_no_picture_painted_anew() -> None:
    rng = np.random.default_rng(8)
    sweep = Sweep()
    assert all(sweep.step(rng.poisson(0.2, N_ROW).astype(np.int64), (k + 1) * NS // 2) is None for k in range(60))


def test_an_arc_over_the_first_direction_is_one_arc() -> None:
    blocks = np.zeros(BLOCKS)
    blocks[240:] = blocks[:16] = 10.0
    assert arc_of(blocks) == (240, 32)
    assert arc_of(np.ones(BLOCKS)) is None


def test_a_stretch_under_an_echo_is_the_same_only_with_its_ends_and_its_colour() -> None:
    # Ends short of a degree and a half, all the way round; a box opened there is longer or of another colour.
    own = np.array([40, 60, 80], np.int16)
    was = Judged(2, 1020, 30, own)
    assert was.is_same(2, 1020, 30, own, 1024)
    assert was.is_same(2, 0, 30, own + np.int16(5), 1024)
    assert was.is_same(2, 1018, 33, own, 1024)
    assert not was.is_same(3, 1020, 30, own, 1024)
    assert not was.is_same(2, 1020, 40, own, 1024)
    assert not was.is_same(2, 1010, 40, own, 1024)
    assert not was.is_same(2, 1020, 30, own + np.array([0, 9, 0], np.int16), 1024)
