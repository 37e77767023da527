"""The compiled loops give what the readable twins say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from moonless.track.kernels import around_kernels as around
from moonless.track.kernels import motion_kernels as motion
from moonless.track.kernels import plot_kernels as meeting
from moonless.track.kernels import reference
from moonless.track.kernels import share_kernels as sharing
from moonless.track.settings import MotionModels

MODELS = MotionModels()
SEED = st.integers(0, 2**32 - 1)
SHARED = np.diag([0.01**2, 4.0, 4.0])
FAST = settings(deadline=None, max_examples=40)  # the first example pays for compilation


def _spd(rng: np.random.Generator, n: int, scale: np.ndarray) -> np.ndarray:
    a = rng.normal(size=(n, n))
    return (a @ a.T / n + 0.2 * np.eye(n)) * np.outer(scale, scale)


def _bank(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    scale = np.array([5.0, 5.0, 1.0, 1.0, 0.05, 0.005, 1.0, 1.0])
    x, p = np.zeros((n, 4, 8)), np.zeros((n, 4, 8, 8))
    for i in range(n):
        centre = rng.uniform(-60, 60, 2)
        for m in range(4):
            live = np.flatnonzero(reference.LIVE[m])
            x[i, m, live] = rng.normal(0, 1, live.size) * np.array([3, 3, 4, 4, 0.1, 0.005, 1, 1])[live]
            x[i, m, :2] += centre
            p[i, m][np.ix_(live, live)] = _spd(rng, live.size, scale[live])
    return x, p, rng.dirichlet(np.ones(4) * 0.7, size=n)


def _plots(rng: np.random.Generator, n: int) -> tuple[np.ndarray, ...]:
    place = rng.uniform(-60, 60, (n, 2))
    noise = np.array([_spd(rng, 2, np.array([4.0, 4.0])) for _ in range(n)]).reshape(-1, 2, 2)
    own = rng.uniform(-600, 600, (n, 2))
    ahead = np.where(rng.random(n) < 0.3, 0.0, rng.uniform(-2.5, 0.0, n))
    return place, noise, own, ahead


def _blend(rng: np.random.Generator, n: int) -> np.ndarray:
    d = rng.normal(0, 3, (n, 2))
    return np.einsum("ia,ib->iab", d, d)


@FAST
@example(seed=1151349, dt=0.5, floor=0.2)
@given(seed=SEED, dt=st.sampled_from([0.5, 1.25, 2.5, 6.0]), floor=st.sampled_from([0.0, 0.04, 0.2]))
def test_predict(seed: int, dt: float, floor: float) -> None:
    rng = np.random.default_rng(seed)
    x, p, mu = _bank(rng, 3)
    q = np.array([0.0, MODELS.straight_q, MODELS.steered_q, MODELS.turning_q])
    decay, fresh = np.array([0.99, 0.98, 0.98]), np.array([1e-6, 0.1, 0.1])
    t = MODELS.transition(dt)
    wanted = []
    for i in range(3):
        xm, pm, new = reference.mixed(x[i], p[i], mu[i], t, floor, 9.0, 0.01)
        moved = [reference.moved(xm[k], pm[k], k, dt, 0.02, q[k], 4e-4, decay, fresh) for k in range(4)]
        wanted.append((moved, new))
    motion.predict_kernel(x, p, mu, dt, t, floor, 9.0, 0.01, 0.02, q, 4e-4, decay, fresh)
    for i, (moved, new) in enumerate(wanted):
        np.testing.assert_allclose(mu[i], new, rtol=1e-12)
        for k in range(4):
            np.testing.assert_allclose(x[i, k], moved[k][0], rtol=1e-9, atol=1e-9)
            # The turn's Jacobian is analytic in the kernel and by differences in the reference.
            np.testing.assert_allclose(p[i, k], moved[k][1], rtol=1e-5, atol=1e-6)


def test_predict_holds_at_zero_turn_rate() -> None:
    # The kernel takes another branch there; it must join the general one smoothly.
    state = np.array([3.0, -4.0, 2.0, 5.0, 0.0, 0.0, 0.0, 0.0])
    near, at = state.copy(), state.copy()
    near[4] = 1e-5
    p, pn = np.eye(8), np.eye(8)
    scratch = np.empty((8, 8)), np.empty((8, 8))
    motion._move(at, p, motion.TURNING, 2.0, 0.0, 0.0, 0.0, np.ones(3), np.zeros(3), *scratch)
    motion._move(near, pn, motion.TURNING, 2.0, 0.0, 0.0, 0.0, np.ones(3), np.zeros(3), *scratch)
    np.testing.assert_allclose(at[:4], near[:4], atol=2e-4)
    np.testing.assert_allclose(p, pn, atol=2e-3)


@FAST
@given(seed=SEED, n=st.integers(0, 5), j_n=st.integers(0, 8))
def test_pairs(seed: int, n: int, j_n: int) -> None:
    rng = np.random.default_rng(seed)
    x, p, mu = _bank(rng, n)
    place, noise, own, ahead = _plots(rng, j_n)
    blend = _blend(rng, n)
    got = meeting.pairs_kernel(x, p, mu, place, noise, own, ahead, SHARED, blend, 16.0)
    wanted = reference.pairs(x, p, mu, place, noise, own, ahead, blend, 16.0)
    assert np.all(np.diff(got[0]) >= 0)
    order = np.lexsort((got[1], got[0]))
    assert np.array_equal(got[0][order], wanted[0])
    assert np.array_equal(got[1][order], wanted[1])
    np.testing.assert_allclose(got[2][order], wanted[2], rtol=1e-8, atol=1e-300)


@FAST
@given(seed=SEED, n=st.integers(1, 4), j_n=st.integers(1, 6))
def test_update(seed: int, n: int, j_n: int) -> None:
    rng = np.random.default_rng(seed)
    x, p, mu = _bank(rng, n)
    place, noise, own, ahead = _plots(rng, j_n)
    blend = _blend(rng, n)
    track, plot, like = reference.pairs(x, p, mu, place, noise, own, ahead, blend, 60.0)
    parts = rng.uniform(0.05, 1.0, track.size)
    none = rng.uniform(0.05, 1.0, n)
    total = none + np.bincount(track, weights=parts, minlength=n)
    share, none = parts / total[track], none / total
    wanted = [
        reference.updated(
            x[i], p[i], mu[i], plot[track == i], like[track == i], share[track == i], none[i],
            place, noise, own, ahead, blend[i],
        )
        for i in range(n)
    ]  # fmt: skip
    meeting.update_kernel(x, p, mu, track, plot, like, share, none, place, noise, own, ahead, blend)
    for i in range(n):
        np.testing.assert_allclose(x[i], wanted[i][0], rtol=1e-8, atol=1e-8)
        np.testing.assert_allclose(p[i], wanted[i][1], rtol=1e-7, atol=1e-7)
        np.testing.assert_allclose(mu[i], wanted[i][2], rtol=1e-9)


@FAST
@given(seed=SEED, n=st.integers(0, 4), floor=st.sampled_from([0.0, 0.12, 0.3]))
def test_mixture(seed: int, n: int, floor: float) -> None:
    x, p, mu = _bank(np.random.default_rng(seed), n)
    mean, cov = meeting.mixture_kernel(x, p, mu, floor)
    for i in range(n):
        wanted = reference.mixture(x[i], p[i], mu[i], floor)
        np.testing.assert_allclose(mean[i], wanted[0], rtol=1e-10, atol=1e-10)
        np.testing.assert_allclose(cov[i], wanted[1], rtol=1e-9, atol=1e-9)


@FAST
@given(seed=SEED, n=st.integers(0, 4), j_n=st.integers(1, 6))
def test_surprise(seed: int, n: int, j_n: int) -> None:
    rng = np.random.default_rng(seed)
    x, p, mu = _bank(rng, n)
    place, noise, own, ahead = _plots(rng, j_n)
    taken = rng.integers(-1, j_n, n)
    got = meeting.surprise_kernel(x, p, mu, taken, place, noise, own, ahead)
    for i, j in enumerate(taken):
        if j < 0:
            assert np.isnan(got[i])
        else:
            wanted = reference.surprise(x[i], p[i], mu[i], place[j], noise[j], own[j], float(ahead[j]))
            assert got[i] == pytest.approx(wanted, rel=1e-7)


def _sparse(w: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    track, plot = np.nonzero(w)
    return track.astype(np.int64), plot.astype(np.int64), w[track, plot]


@FAST
@given(seed=SEED, n=st.integers(1, 5), j_n=st.integers(1, 5))
def test_marginals(seed: int, n: int, j_n: int) -> None:
    rng = np.random.default_rng(seed)
    w = np.where(rng.random((n, j_n)) < 0.6, rng.lognormal(0, 2, (n, j_n)), 0.0)
    w0 = rng.uniform(0.05, 1.0, n)
    track, plot, flat = _sparse(w)
    share, none, fresh = sharing.marginals_kernel(track, plot, flat, w0, j_n, 200, 1e-10)
    wanted = reference.marginals(w, w0, 200, 1e-10)
    np.testing.assert_allclose(share, wanted[0][track, plot], rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(none, wanted[1], rtol=1e-6)
    np.testing.assert_allclose(fresh, wanted[2], rtol=1e-6)
    # Exact counting: propagation is an approximation, close where it matters.
    exact, exact_none = reference.marginals_exact(w, w0)
    assert np.max(np.abs(wanted[0] - exact), initial=0.0) < 0.2
    assert np.max(np.abs(wanted[1] - exact_none), initial=0.0) < 0.2


def test_marginals_are_exact_for_one_track() -> None:
    w, w0 = np.array([[2.0, 1.0]]), np.array([0.5])
    share, none, _ = reference.marginals(w, w0, 50, 1e-12)
    assert share[0] == pytest.approx([2 / 3.5, 1 / 3.5])
    assert none[0] == pytest.approx(0.5 / 3.5)


@FAST
@given(seed=SEED, n=st.integers(1, 6), j_n=st.integers(1, 6))
def test_assignment_is_the_best(seed: int, n: int, j_n: int) -> None:
    rng = np.random.default_rng(seed)
    gain = np.where(rng.random((n, j_n)) < 0.7, rng.normal(1, 4, (n, j_n)), -np.inf)
    track, plot = np.nonzero(np.isfinite(gain))
    flat = gain[track, plot]
    taken = sharing.assign_kernel(track.astype(np.int64), plot.astype(np.int64), flat, n, j_n, 1e-4)
    used = taken[taken >= 0]
    assert np.unique(plot[used]).size == used.size  # a plot goes to one track
    assert all(track[k] == i for i, k in enumerate(taken) if k >= 0)
    assert flat[used].sum() == pytest.approx(reference.best_gain(gain), abs=1e-4 * n + 1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_assignment_is_the_best_where_all_compete(seed: int) -> None:
    # Against scipy's own answer: a crowd of tracks each of which would have any of fewer plots.
    rng = np.random.default_rng(seed)
    gain = rng.uniform(5.0, 9.0, (14, 11))
    track, plot = np.nonzero(gain)
    taken = sharing.assign_kernel(track.astype(np.int64), plot.astype(np.int64), gain[track, plot], 14, 11, 1e-4)
    rows, columns = linear_sum_assignment(gain, maximize=True)
    used = taken[taken >= 0]
    assert gain[track, plot][used].sum() == pytest.approx(float(gain[rows, columns].sum()), abs=14 * 1e-4 + 1e-9)


@FAST
@given(seed=SEED, n=st.integers(0, 6), k=st.integers(0, 20))
def test_density(seed: int, n: int, k: int) -> None:
    rng = np.random.default_rng(seed)
    strays = rng.uniform(-200, 200, (k, 2))
    strays = strays[np.argsort(strays[:, 0])]
    places, reach, least = rng.uniform(-200, 200, (n, 2)), rng.uniform(50, 150, n), rng.uniform(0, 30, n)
    args = (places, reach, least, strays, rng.random(k), rng.uniform(0, 30, k))
    np.testing.assert_allclose(around.density_kernel(*args), reference.density(*args), rtol=1e-12)


@FAST
@given(seed=SEED, n=st.integers(0, 6))
def test_neighbours(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    place = rng.uniform(-100, 100, (n, 2))
    length = np.where(rng.random(n) < 0.4, rng.uniform(20, 120, n), 0.0)
    args = (place, rng.random(n), rng.random(n) < 0.8, length, np.array([-400.0, 30.0]), 0.08, 20.0, 0.9, 0.7)
    got, wanted = around.neighbours_kernel(*args), reference.neighbours(*args)
    np.testing.assert_allclose(got[0], wanted[0], rtol=1e-9)
    np.testing.assert_allclose(got[1], wanted[1], rtol=1e-9, atol=1e-12)
