"""The record of a track turn by turn: log-likelihood ratios, cumulative sums and thresholds worked by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from moonless.track.management.existence import confirm, detection_probability, drop, update_existence
from moonless.track.settings import TrackerSettings

S = TrackerSettings()


class _Store(SimpleNamespace):
    """One track or some, with what is asked of them."""

    def __len__(self) -> int:
        return len(self.exists)

    def keep(self, which: Any) -> None:
        self.kept = np.asarray(which).tolist()


def _store(**of: Any) -> Any:
    plain: dict[str, Any] = {
        "exists": 0.99, "seen": 0.0, "looked": 0.0, "quality": 0.0, "patience": 0.0, "fit": 0.0, "own_false": 1.0,
        "clutter": 0.0, "confirmed": False, "n_hits": 20, "n_scans": 20, "misses": 0,
    }  # fmt: skip
    store = _Store(**{k: np.atleast_1d(np.array(of.get(k, v))) for k, v in plain.items()})
    mu = of.get("mu", (1.0, 0.0, 0.0, 0.0))
    store.mu = np.tile(mu, (len(store), 1))
    return store


def _turn(
    store: Any, hit: float, unseen: float, visible: float = 1.0, surprise: float = math.nan, owns: bool = True
) -> None:
    h, u, v, d2 = (np.full(len(store), one) for one in (hit, unseen, visible, surprise))
    update_existence(store, S, h, u, v, d2, np.full(len(store), owns))


def test_how_often_it_is_seen_is_counted_over_the_turns_in_which_it_could_be() -> None:
    """A faded count over a faded count, with the prior's weight; within bounds."""
    store, seen, looked = _store(), 0.0, 0.0
    keep = 1.0 - 1.0 / S.p_detect_memory
    for hit, unseen, visible in ((0.9, 0.05, 1.0), (0.0, 0.8, 1.0), (0.0, 0.9, 0.3), (0.5, 0.5, 0.2), (0.6, 0.2, 1.0)):
        _turn(store, hit, unseen, visible)
        there = hit / (hit + unseen)
        seen, looked = seen * keep + there, looked * keep + max(visible, there)
        assert store.exists[0] == pytest.approx(min(hit + unseen, S.surest))
        assert store.seen[0] == pytest.approx(seen) and store.looked[0] == pytest.approx(looked)
        want = (seen + S.p_detect_weight * S.p_detect) / (looked + S.p_detect_weight)
        assert detection_probability(store, S)[0] == pytest.approx(min(max(want, S.p_detect_least), S.p_detect_most))
    assert detection_probability(_store(seen=0.0, looked=1e6), S)[0] == S.p_detect_least
    assert detection_probability(_store(seen=1e6, looked=1e6), S)[0] == S.p_detect_most


def test_a_record_of_hits_and_misses_is_a_cumulative_sum_of_log_ratios() -> None:
    """Bernoulli by scipy; held at nought and more (Page 1954); a turn in which it could not be seen says nothing."""

    def ratio(hit: int, often: float, seldom: float) -> float:
        return float(stats.bernoulli(often).logpmf(hit) - stats.bernoulli(seldom).logpmf(hit))

    store, quality, patience = _store(), 0.0, 0.0
    always, never = (1, 1.0, True), (0, 1.0, True)
    for hit, visible, owns in (
        always,
        always,
        never,
        (0, 0.3, True),
        (1, 1.0, False),
        never,
        never,
        never,
        (1, 0.2, True),
    ):
        _turn(store, 0.9 * hit, 0.9 * (1 - hit), visible, owns=owns)
        step = (
            ratio(1, S.steady_p_detect, S.flicker_p_detect)
            if hit
            else visible * ratio(0, S.steady_p_detect, S.flicker_p_detect)
        )
        quality = min(max(quality + step, 0.0), S.most_log_odds)
        own = hit and owns
        step = (
            ratio(1, S.patient_p_detect, S.seldom_p_detect)
            if own
            else visible * ratio(0, S.patient_p_detect, S.seldom_p_detect)
        )
        patience = min(max(patience + step, 0.0), S.most_patience)
        assert store.quality[0] == pytest.approx(quality) and store.patience[0] == pytest.approx(patience)
    for _ in range(200):
        _turn(store, 0.99, 0.0)
    assert store.quality[0] == S.most_log_odds and store.patience[0] == S.most_patience


def test_plots_near_the_prediction_speak_for_one_thing_and_far_ones_against() -> None:
    """A Gaussian's density over a flat one in the gate: in two dimensions log(gate / 2) - d2 / 2."""
    gate_area = math.pi * S.gate
    for d2 in (0.0, 2.0, S.gate):
        want = math.log(math.exp(-0.5 * d2) / (2.0 * math.pi)) - math.log(1.0 / gate_area)
        store = _store(fit=3.0)
        _turn(store, 0.7, 0.1, surprise=d2)
        assert store.fit[0] == pytest.approx(3.0 + 0.7 / 0.8 * want)
    store = _store(fit=3.0)
    _turn(store, 0.7, 0.1, surprise=3.0 * S.gate)
    assert store.fit[0] == pytest.approx(3.0 + 0.7 / 0.8 * (math.log(S.gate / 2.0) - 0.5 * S.gate))
    # Without a plot of its own nothing is learnt; its own among the false ones fade.
    _turn(store, 0.0, 0.9)
    before = store.fit[0]
    _turn(store, 0.0, 0.9)
    assert store.fit[0] == before
    assert store.own_false[0] == pytest.approx((1.0 - 1.0 / S.clutter_memory_turns) ** 3)


TENFOLD = math.log(10.0)
SURE = {"quality": 99.0, "fit": 99.0, "patience": -99.0, "n_hits": 99}


def _earns(**of: Any) -> bool:
    store = _store(**{**SURE, **of})
    now = confirm(store, S)
    assert store.confirmed.tolist() == (now | np.atleast_1d(of.get("confirmed", False))).tolist()
    return bool(now[0])


def _near(limit: float) -> tuple[float, float]:
    return limit - 1e-6, limit + 1e-6


@pytest.mark.parametrize("times", [0.1, 1.0, 10.0, 1e9])
def test_what_earns_confirmation_and_how_much_more_where_clutter_is_dense(times: float) -> None:
    clutter = times * S.clean_per_m2
    dirt = max(0.0, math.log(times))
    steady = min(S.confirm_log_odds + S.confirm_per_clutter * dirt, S.most_log_odds)
    one = min(S.confirm_fit + S.fit_per_clutter * dirt, S.most_log_odds)
    less, more = _near(steady)
    assert not _earns(clutter=clutter, quality=less) and _earns(clutter=clutter, quality=more)
    less, more = _near(one)
    # One thing by its fit, or one that comes back turn after turn.
    short = {"n_hits": S.lasting_hits - 1} if S.lasting_hits > S.confirm_hits else {"quality": steady}
    assert not _earns(clutter=clutter, fit=less, **short) and _earns(clutter=clutter, fit=more, **short)
    # Patience: seen now and then, but again and again.
    wanted = S.patient_log_odds + S.patient_per_clutter * dirt
    less, more = _near(wanted)
    seldom = {"quality": -1.0, "clutter": clutter}
    assert not _earns(patience=less, **seldom) and _earns(patience=more, **seldom)
    assert not _earns(patience=more, **{**seldom, "n_hits": S.patient_hits - 1})
    calm = S.patient_calm
    assert _earns(patience=more, mu=(0.5 * calm + 1e-6, 0.5 * calm, 1.0 - calm, 0.0), **seldom)
    assert not _earns(patience=more, mu=(0.5 * calm - 1e-6, 0.5 * calm, 1.0 - calm, 0.0), **seldom)
    assert not _earns(patience=more, **{**seldom, "fit": one - 1e-6})


def test_how_many_plots_and_how_sure() -> None:
    assert not _earns(n_hits=S.confirm_hits - 1) and _earns(n_hits=S.confirm_hits)
    less, more = _near(S.confirm_at)
    assert not _earns(exists=less) and _earns(exists=more)
    assert not _earns(confirmed=True)
    lasts = {"fit": -1.0, "n_hits": S.lasting_hits}
    less, more = _near(S.lasting_log_odds)
    assert not _earns(**{**lasts, "quality": less}) and _earns(**{**lasts, "quality": max(more, S.confirm_log_odds)})
    assert not _earns(**{**lasts, "n_hits": S.lasting_hits - 1})


def _kept(n: int = 1, **of: Any) -> list[bool]:
    plain: dict[str, Any] = {"exists": 0.99, "confirmed": False, "misses": 0, "n_scans": 20}
    store = _store(**{k: np.broadcast_to(v, (n,)) for k, v in {**plain, **of}.items()})
    drop(store, S)
    return list(store.kept)


def test_what_is_forgotten() -> None:
    for confirmed, floor in ((True, S.drop_confirmed_at), (False, S.drop_tentative_at)):
        less, more = _near(floor)
        assert _kept(exists=less, confirmed=confirmed) == [False] and _kept(exists=more, confirmed=confirmed) == [True]
    # One of this turn has had no chance yet.
    assert _kept(exists=0.0, n_scans=1) == [True] and _kept(exists=0.0, n_scans=2) == [False]
    # Where room runs short what was never sure is not waited for.
    full = int(S.full_from * S.max_tracks)
    late = S.tentative_waits + 1
    assert all(_kept(full, misses=late)) and not any(_kept(full + 1, misses=late))
    assert all(_kept(full + 1, misses=S.tentative_waits)) and all(_kept(full + 1, misses=late, confirmed=True))
