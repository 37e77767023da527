"""Two sources of one thing that say different things: told, and how soon."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from moonless.units import NS_PER_S
from moonless.watch.instruments.source_agreement import SourceAgreement

T0 = 1_800_000_000 * NS_PER_S


def _told_after_s(apart_deg: Callable[[float], float], seconds: float = 40.0) -> float | None:
    """Return when two compasses that speak ten times a second are told to disagree."""
    agreement = SourceAgreement()
    for tenth in range(int(seconds * 10)):
        now_ns = T0 + tenth * NS_PER_S // 10
        agreement.said("heading", "one", True, now_ns, (1.0,))
        agreement.said("heading", "other", False, now_ns, ((1.0 + math.radians(apart_deg(tenth / 10))) % math.tau,))
        if agreement.faults(now_ns):
            return tenth / 10
    return None


@pytest.mark.parametrize(("apart_deg", "after_s"), [(40.0, 2.0), (-170.0, 2.0), (20.0, 10.0), (-20.0, 10.0)])
def test_the_further_apart_the_sooner_it_is_told(apart_deg: float, after_s: float) -> None:
    assert _told_after_s(lambda _: apart_deg) == pytest.approx(after_s, abs=0.2)


def test_compasses_that_swing_against_each_other_are_let_swing() -> None:
    """A seaway of six seconds swings one 45 degrees further than the other, and back: never far apart for two."""
    assert _told_after_s(lambda t: 45.0 * math.sin(math.tau * t / 6.0)) is None


def test_what_differs_by_a_deviation_card_does_not_disagree() -> None:
    assert _told_after_s(lambda _: 10.0) is None


def test_it_is_over_when_they_have_agreed_as_long() -> None:
    agreement, over = SourceAgreement(), None
    for second in range(40):
        now_ns = T0 + second * NS_PER_S
        agreement.said("heading", "one", True, now_ns, (1.0,))
        agreement.said("heading", "other", False, now_ns, (2.0 if second < 10 else 1.0,))
        if second > 10 and over is None and not agreement.faults(now_ns):
            over = second
    assert over == 20
