"""The filter step by step: a worked trace, and Stone Soup on the same numbers."""

from __future__ import annotations

import numpy as np
import pytest

from moonless.track.kernels import motion_kernels as motion
from moonless.track.kernels import plot_kernels as meeting
from moonless.track.settings import MotionModels
from moonless.track.track_store import newborn

# One-dimensional nearly constant velocity: T = 1, q = 0.1 (Q = q [1/3 1/2; 1/2 1]), R = 1, x0 = (0, 0),
# P0 = diag(100, 10).  (z; x, v, P11, P12, P22 after each update.)  Computed from the textbook equations of the Kalman
# filter (Bar-Shalom, Li, Kirubarajan 2001, 5.2.4); no published trace was at hand.
TRACE = [
    (1.0, 0.990994, 0.090513, 0.990994, 0.090513, 9.190341),
    (2.0, 1.919400, 0.842580, 0.912248, 0.818805, 1.650189),
    (3.1, 3.035411, 1.005280, 0.808919, 0.481332, 0.537716),
    (3.9, 3.942090, 0.960284, 0.700835, 0.319822, 0.295811),
    (5.05, 4.994701, 0.997092, 0.625415, 0.249336, 0.229844),
]


def _one_model() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    x, p = np.zeros((1, 4, 8)), np.zeros((1, 4, 8, 8))
    p[0, :, [0, 1], [0, 1]] = 100.0
    p[0, :, [2, 3], [2, 3]] = 10.0
    mu = np.array([[0.0, 0.0, 1.0, 0.0]])  # "steered" alone: nearly constant velocity
    return x, p, mu


def _step(x: np.ndarray, p: np.ndarray, mu: np.ndarray, z: np.ndarray, q: float = 0.1, r: float = 1.0) -> None:
    """Predict by one second and fold in one certain plot, with no shared errors."""
    none = np.zeros(3)
    motion.predict_kernel(x, p, mu, 1.0, np.eye(4), 0.0, 0.0, 0.0, 0.0, np.full(4, q), 0.0, none, none)
    noise, blend = r * np.eye(2)[None], np.zeros((1, 2, 2))
    place, own, ahead = z[None], np.zeros((1, 2)), np.zeros(1)
    track, plot, like = meeting.pairs_kernel(x, p, mu, place, noise, own, ahead, np.zeros((3, 3)), blend, 1e9)
    meeting.update_kernel(
        x, p, mu, track, plot, like, np.ones(1), np.zeros(1), place, noise, own, ahead, blend
    )  # fmt: skip


def test_constant_velocity_trace() -> None:
    x, p, mu = _one_model()
    for z, pos, vel, p11, p12, p22 in TRACE:
        _step(x, p, mu, np.array([z, -z]))
        got = (x[0, 2, 0], x[0, 2, 2], p[0, 2, 0, 0], p[0, 2, 0, 2], p[0, 2, 2, 2])
        assert got == pytest.approx((pos, vel, p11, p12, p22), abs=6e-7)
        # The other axis is the same filter with the sign turned, and knows nothing of this one.
        assert (x[0, 2, 1], x[0, 2, 3]) == pytest.approx((-pos, -vel), abs=6e-7)
        assert p[0, 2, 0, 1] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.filterwarnings("ignore")
def test_stone_soup_step_by_step() -> None:
    pytest.importorskip("stonesoup", reason="the bench group is not installed")
    from datetime import datetime, timedelta

    from stonesoup.models.measurement.linear import LinearGaussian
    from stonesoup.models.transition.linear import CombinedLinearGaussianTransitionModel, ConstantVelocity
    from stonesoup.predictor.kalman import KalmanPredictor
    from stonesoup.types.detection import Detection
    from stonesoup.types.hypothesis import SingleHypothesis
    from stonesoup.types.state import GaussianState
    from stonesoup.updater.kalman import KalmanUpdater

    motion = CombinedLinearGaussianTransitionModel([ConstantVelocity(0.3), ConstantVelocity(0.3)])
    sensor = LinearGaussian(4, (0, 2), np.eye(2) * 4.0)
    predictor, updater = KalmanPredictor(motion), KalmanUpdater(sensor)
    now = datetime(2000, 1, 1)
    state = GaussianState(np.zeros((4, 1)), np.diag([100.0, 10.0, 100.0, 10.0]), now)
    x, p, mu = _one_model()
    rng = np.random.default_rng(0)
    for k in range(1, 12):
        z = np.array([1.5 * k, -0.5 * k]) + rng.normal(0, 2, 2)
        now += timedelta(seconds=1)
        prediction = predictor.predict(state, timestamp=now)
        detection = Detection(z.reshape(2, 1), timestamp=now, measurement_model=sensor)
        state = updater.update(SingleHypothesis(prediction, detection))
        _step(x, p, mu, z, q=0.3, r=4.0)
        order = [0, 2, 1, 3]  # theirs runs east, its velocity, north, its velocity
        np.testing.assert_allclose(x[0, 2, :4], np.asarray(state.state_vector, float).ravel()[order], rtol=1e-9)
        np.testing.assert_allclose(p[0, 2, :4, :4], np.asarray(state.covar, float)[np.ix_(order, order)], atol=1e-9)


def test_what_begins_far_off_is_a_ship() -> None:
    models = MotionModels()
    n = 3
    away = np.array([500.0, 2000.0, 14_800.0])
    place = np.stack([away, np.zeros(n)], axis=1)
    noise, jacobian = np.tile(np.eye(2), (n, 1, 1)), np.zeros((n, 2, 3))
    _, _, mu = newborn(place, noise, jacobian, np.eye(3), np.zeros(n), models, 6.0, away)
    np.testing.assert_allclose(mu.sum(axis=1), 1.0)
    np.testing.assert_allclose(mu[:2], np.tile(models.at_birth, (2, 1)), atol=0.003)
    np.testing.assert_allclose(mu[2], [0.4, 0.6, 0.0, 0.0], atol=1e-6)
