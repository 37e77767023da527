"""What the wild scenes call detectable: against the laws of fluctuation, and against what the drawing itself shows."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from moonless.scene.wild.clutter import speckle
from moonless.scene.wild.player import WildPlayer
from moonless.scene.wild.receiver import counts
from moonless.scene.wild.recipe import wild_of
from moonless.scene.wild.truth import PFA, chance, threshold_of, told_apart
from moonless.scene.wild.types import Receiver, Sea


def test_the_noise_threshold_is_passed_once_in_ten_thousand() -> None:
    wild = wild_of(0)
    noise, sea, _ = threshold_of(wild)
    looks = wild.antenna.looks
    assert float(stats.gamma(looks, scale=1.0 / looks).sf(noise)) == pytest.approx(PFA, rel=1e-6)
    assert sea >= noise  # spikier than noise


def test_chance_follows_the_fluctuation() -> None:
    # Swerling 1 power is exponential, Swerling 3 chi-squared of four degrees (scipy's gamma of shape 2).
    assert chance(20.0, 1.0, 11.0, "slow", 1) == pytest.approx(stats.expon(scale=20.0).sf(10.0))
    assert chance(20.0, 1.0, 11.0, "slow3", 1) == pytest.approx(stats.gamma(2.0, scale=10.0).sf(10.0))
    assert chance(10.0, 1.0, 11.0, "steady", 4) == pytest.approx(stats.ncx2(8, 80.0).sf(88.0))


@pytest.mark.parametrize("looks", [1, 4])
def test_a_steady_echo_passes_as_often_as_told(looks: int) -> None:
    """Draws of |s + n|^2, averaged: the drawer's own noise and cross term."""
    rng = np.random.default_rng(6)
    signal, threshold, n = 12.0, 11.0, 200_000
    s = np.sqrt(signal)
    noise = (rng.standard_normal((n, looks)) + 1j * rng.standard_normal((n, looks))) / math.sqrt(2.0)
    power = np.square(np.abs(s + noise)).mean(axis=1)
    share = float((power > threshold).mean())
    assert chance(signal, 1.0, threshold, "steady", looks) == pytest.approx(share, abs=0.005)


def test_a_step_of_the_receiver_is_asked_for() -> None:
    coarse = Receiver("log", 0.0, 60.0, 4, 3)  # steps of 20 dB
    assert told_apart(50.0, 1.0, coarse) == pytest.approx(100.0, rel=1e-4)
    # A threshold in the highest step: nothing stands over it.
    assert math.isinf(told_apart(2e6, 1.0, coarse))
    # Taken off before the receiver, it is asked for in front of it.
    assert told_apart(50.0, 0.1, coarse) == pytest.approx(1_000.0, rel=1e-4)


def test_k_clutter_passes_its_threshold_as_rarely_as_said() -> None:
    from moonless.scene.wild.clutter import bend_of, tail

    sea = Sea("k", 0.7)
    bend = bend_of(sea)
    assert bend is not None
    rng = np.random.default_rng(8)
    texture = bend(rng.standard_normal((3000, 1000)).astype(np.float32))
    power = texture * speckle(rng, (3000, 1000), 2)
    assert float((power > tail(sea, 2, PFA)).mean()) == pytest.approx(PFA, rel=0.3)


def test_counts_never_pass_full_scale() -> None:
    twelve = Receiver("log", 0.0, 60.0, 4096, 4095, bits=16)
    out = counts(np.array([[0.0, 1.0, 1e3, 1e9]], dtype=np.float32), twelve)
    assert out.dtype == np.uint16 and out.tolist()[0][0] == 0 and out.tolist()[0][3] == 4095


@pytest.mark.parametrize(("seed", "has_chart"), [(161, False), (160, True)])
def test_a_mark_that_no_chart_tells_of_is_a_thing_like_any_other(seed: int, has_chart: bool, tmp_path: Path) -> None:
    wild = wild_of(seed)
    aids = {t.name for t in wild.things if t.mark is not None}
    assert aids and wild.has_chart == has_chart
    truth = next(iter(WildPlayer(wild, tmp_path).turns())).truth
    told = {one.name: one.cls for one in truth.objects if one.name in aids}
    assert told == ({} if has_chart else dict.fromkeys(aids, "uncharted"))
    assert bool(truth.marks) == has_chart
