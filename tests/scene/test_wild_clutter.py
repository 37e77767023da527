"""The wild scenes' clutter against the distributions' own formulas (scipy), and its life in place and time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from moonless.scene.wild.clutter import GroundField, bend_of, speckle, tail, weibull
from moonless.scene.wild.types import Sea


def _compound(sea: Sea, n: int, looks: int) -> np.ndarray:
    rng = np.random.default_rng(5)
    bend = bend_of(sea)
    assert bend is not None
    return bend(rng.standard_normal((n, n)).astype(np.float32)) * speckle(rng, (n, n), looks)


@pytest.mark.parametrize("looks", [1, 4])
def test_speckle_is_gamma(looks: int) -> None:
    power = speckle(np.random.default_rng(1), (400, 500), looks).ravel()
    # 200 000 draws: the Kolmogorov statistic of the true law stays below 1.63 / sqrt(n) in 99 of 100.
    assert stats.kstest(power, stats.gamma(looks, scale=1.0 / looks).cdf).statistic < 1.63 / math.sqrt(power.size)


@pytest.mark.parametrize("shape", [0.5, 1.5, 6.0])
def test_k_moments(shape: float) -> None:
    power = _compound(Sea("k", shape), 1500, 1).astype(np.float64)
    # Of K power of mean 1 and one look the second moment is 2 (1 + 1 / shape).
    assert power.mean() == pytest.approx(1.0, abs=0.02)
    assert np.square(power).mean() == pytest.approx(2.0 * (1.0 + 1.0 / shape), rel=0.06)


def test_pareto_is_lomax() -> None:
    shape = 3.0
    power = _compound(Sea("pareto", shape), 1000, 1).ravel()
    # Exponential over an inverse gamma of shape a and scale a - 1 is Lomax of shape a and scale a - 1.
    law = stats.lomax(shape, scale=shape - 1.0)
    for p in (0.5, 0.9, 0.99, 0.999):
        assert float((power > law.isf(1.0 - p)).mean()) == pytest.approx(1.0 - p, rel=0.12)


def test_weibull_is_weibull() -> None:
    c = 0.6
    power = weibull(np.random.default_rng(2), (400, 500), c).ravel()
    law = stats.weibull_min(c, scale=1.0 / math.gamma(1.0 + 1.0 / c))
    assert stats.kstest(power, law.cdf).statistic < 1.63 / math.sqrt(power.size)


@pytest.mark.parametrize(
    ("sea", "law"),
    [
        (Sea("rayleigh"), stats.expon()),
        (Sea("pareto", 3.0), stats.lomax(3.0, scale=2.0)),
        (Sea("weibull", 0.6), stats.weibull_min(0.6, scale=1.0 / math.gamma(1.0 + 1.0 / 0.6))),
    ],
)
def test_tail_is_the_laws_own(sea: Sea, law: stats.rv_continuous) -> None:
    assert tail(sea, 1, 1e-3) == pytest.approx(float(law.isf(1e-3)), rel=0.02)


def test_tail_of_k_is_met_by_draws() -> None:
    sea = Sea("k", 1.0)
    power = _compound(sea, 2000, 4)
    assert float((power > tail(sea, 4, 1e-3)).mean()) == pytest.approx(1e-3, rel=0.1)


def test_field_forgets_in_place_and_time() -> None:
    field = GroundField(np.random.default_rng(3), patch_m=40.0, memory_s=5.0, drift=(0.0, 0.0))
    e, n = np.meshgrid(np.arange(256) * 20.0 + 1.0, np.arange(256) * 20.0 + 1.0)
    e, n = e.astype(np.float32), n.astype(np.float32)
    before = field.at(e, n)
    assert before.std() == pytest.approx(1.0, abs=0.05)
    # 40 m off the correlation is 1/e, by the field's own law.
    apart = float(np.mean(before[:, :-2] * before[:, 2:]))
    assert apart == pytest.approx(math.exp(-1.0), abs=0.05)
    field.step_to(5.0)
    assert float(np.mean(before * field.at(e, n))) == pytest.approx(math.exp(-1.0), abs=0.05)


def test_field_drifts() -> None:
    field = GroundField(np.random.default_rng(4), patch_m=40.0, memory_s=1e9, drift=(4.0, 0.0))
    e, n = np.meshgrid(np.arange(100) * 20.0 + 1.0, np.arange(100) * 20.0 + 1.0)
    e, n = e.astype(np.float32), n.astype(np.float32)
    before = field.at(e, n)
    field.step_to(10.0)
    assert float(np.mean(before * field.at(e + np.float32(40.0), n))) == pytest.approx(1.0, abs=0.05)
