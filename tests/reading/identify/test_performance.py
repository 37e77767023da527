"""The radar's performance, by the charted marks as test targets."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from reading_fakes import RADAR, make_mark

from moonless.echo.types import EchoPicture
from moonless.reading.identify.performance import KIND_SIGMA_DB, Performance


class _Sized:
    def __init__(self, plots: Any) -> None:
        self.__dict__.update(plots.__dict__)

    def __len__(self) -> int:
        return len(self.strength_db)  # type: ignore[attr-defined]


@pytest.mark.parametrize("loss_db", [0.0, 6.0])
def test_performance_is_found_from_marks_that_fluctuate(loss_db: float) -> None:
    rng = np.random.default_rng(4)
    marks = tuple(make_mark(100.0 * k, 800.0, str(k)) for k in range(6))
    place: Any = SimpleNamespace(marks=marks)
    snr = np.full(6, 10.0**2.8)
    outlook: Any = SimpleNamespace(mark_snr=snr, mark_p=np.ones(6), mark_merged=np.zeros(6, dtype=bool))
    looked: Any = SimpleNamespace(looked=np.zeros(6, dtype=bool), alone=np.ones(6, dtype=bool))
    kinds = rng.normal(0.0, KIND_SIGMA_DB, 6)
    performance = Performance(RADAR)
    for _ in range(40):
        power = 10.0 ** ((28.0 - loss_db + kinds) / 10.0) * rng.exponential(1.0, 6)
        strength = 10.0 * np.log10(1.0 + power)
        plots: Any = SimpleNamespace(strength_db=strength, is_clipped=np.zeros(6, dtype=bool))
        picture: Any = SimpleNamespace(plots=_Sized(plots), db_per_count=None)
        evidence: Any = SimpleNamespace(tracks=[SimpleNamespace(last_plot=k) for k in range(6)], level_db=strength)
        explained: Any = [SimpleNamespace(mark=k, confidence=0.95) for k in range(6)]
        performance.take_in(place, outlook, looked, np.zeros(6), evidence, explained, picture, 3.0)
    assert performance.offset_db == pytest.approx(-loss_db + kinds.mean(), abs=2.0)
    assert 0.5 < performance.sigma_db < 2.5


def _one_turn(performance: Performance, level_db: float, alone: bool = True, **picture: Any) -> None:
    place: Any = SimpleNamespace(marks=(make_mark(0.0, 800.0, "1"),))
    outlook: Any = SimpleNamespace(mark_snr=np.array([1e3]), mark_p=np.ones(1), mark_merged=np.zeros(1, dtype=bool))
    looked: Any = SimpleNamespace(looked=np.zeros(1, dtype=bool), alone=np.array([alone]))
    plots: Any = SimpleNamespace(
        strength_db=np.ones(1), is_clipped=np.zeros(1, dtype=bool), peak_count=np.array([110.0])
    )
    values: dict[str, Any] = {"plots": _Sized(plots), "db_per_count": None, "db_per_count_sigma": None} | picture
    values.setdefault("db_per_tenfold", None)
    evidence: Any = SimpleNamespace(tracks=[SimpleNamespace(last_plot=0)], level_db=np.array([level_db]))
    explained: Any = [SimpleNamespace(mark=0, confidence=0.95)]
    seen: Any = SimpleNamespace(**values)
    seen.over_noise_db = lambda counts: EchoPicture.over_noise_db(seen, counts)
    performance.take_in(place, outlook, looked, np.zeros(1), evidence, explained, seen, 3.0, 1024)


def test_a_mark_beside_something_else_is_no_test_target() -> None:
    performance = Performance(RADAR)
    before = performance.offset_db, performance.sigma_db
    _one_turn(performance, 20.0, alone=False)
    assert (performance.offset_db, performance.sigma_db) == pytest.approx(before)
    _one_turn(performance, 20.0)
    assert performance.offset_db < before[0] - 0.5


def test_an_unsure_curve_widens_what_is_said_of_the_radar() -> None:
    # 90 counts over the noise at a third of a decibel: 30 dB, known to a tenth.
    sure, unsure = Performance(RADAR), Performance(RADAR)
    for _ in range(30):
        _one_turn(sure, 0.0, db_per_count=1 / 3, noise_counts=20.0, db_per_count_sigma=0.0)
        _one_turn(unsure, 0.0, db_per_count=1 / 3, noise_counts=20.0, db_per_count_sigma=1 / 30)
    assert unsure.offset_db == pytest.approx(sure.offset_db)
    assert unsure.sigma_db == pytest.approx(math.hypot(sure.sigma_db, 3.0), abs=0.15)


def test_the_strongest_spoke_of_a_weak_echo_passes_its_mean_by_more() -> None:
    performance = Performance(RADAR)
    above = performance._peak_over_mean_db(np.array([10.0, 1000.0]), 50.0, 1024)
    assert above[0] > above[1] > 0.0
    assert performance._peak_over_mean_db(np.array([10.0]), 50.0, None) == pytest.approx([0.0])


def _looked_for(gone: float, *, shown: bool, looked: bool = True) -> float:
    """The offset, dB, after twenty turns over a likely mark that was looked for."""
    performance = Performance(RADAR)
    place: Any = SimpleNamespace(marks=(make_mark(0.0, 800.0, "1"),))
    outlook: Any = SimpleNamespace(mark_snr=np.array([30.0]), mark_p=np.ones(1), mark_merged=np.zeros(1, dtype=bool))
    sought: Any = SimpleNamespace(looked=np.array([looked]), alone=np.ones(1, dtype=bool))
    plots: Any = SimpleNamespace(strength_db=np.array([15.0]), is_clipped=np.zeros(1, dtype=bool))
    picture: Any = SimpleNamespace(plots=_Sized(plots), db_per_count=None)
    evidence: Any = SimpleNamespace(tracks=[SimpleNamespace(last_plot=0)], level_db=np.array([15.0]))
    explained: Any = [SimpleNamespace(mark=0, confidence=0.95)] if shown else []
    for _ in range(20):
        performance.take_in(place, outlook, sought, np.array([gone]), evidence, explained, picture, 3.0)
    return float(performance.offset_db)


def test_a_likely_mark_that_stays_dark_speaks_of_a_weak_radar_unless_it_is_held_for_gone() -> None:
    nothing = _looked_for(0.0, shown=False, looked=False)
    assert _looked_for(0.0, shown=False) < nothing - 0.05  # one mark may be dark for its own reasons
    assert _looked_for(0.99, shown=False) == pytest.approx(nothing)


def test_a_mark_that_shows_is_never_counted_as_looked_for_in_vain() -> None:
    assert _looked_for(0.0, shown=True) == pytest.approx(_looked_for(0.0, shown=True, looked=False))
