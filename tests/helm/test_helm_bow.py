"""The bow mark against the chart: measured only where it can be, offered only when sure."""

from __future__ import annotations

import numpy as np
import pytest

from moonless.helm.bow import GOOD_SIGMA_DEG, LEAST_S, BowAlign
from moonless.reading.types import Own, Reading, Registration, SpeedAdvice
from moonless.units import NS_PER_S

T0 = 1_930_000_000 * NS_PER_S


def reading(
    second: float, bias: float | None, *, sigma: float | None = 0.12, sog: float | None = 8.0, cog: float = 24.0,
    agrees: bool | None = True,
) -> Reading:  # fmt: skip
    return Reading(
        time_ns=T0 + round(second * NS_PER_S), own=Own(-38.0, -128.0, cog, sog, 24.0), echoes=(), missing=(),
        hidden=None, seeing=(), seeing_line=None, stopping_m=None,
        registration=Registration(bias, 0.0, 0.0, 4.0, agrees, sigma), speed=SpeedAdvice(None, ""),
    )  # fmt: skip


def run(bow: BowAlign, bias: float, seconds: float = 40.0, begin: float = 0.0, scatter: float = 0.1) -> None:
    noise = np.random.default_rng(7)
    for k in range(int(seconds / 2.5)):
        bow.add(reading(begin + k * 2.5, bias + noise.normal(0.0, scatter)), 24.0, 0.0)


def test_a_steady_bias_is_measured_and_offered() -> None:
    bow = BowAlign()
    run(bow, 1.8, seconds=10.0)
    assert bow.state == "measuring" and bow.to_take_deg is None
    run(bow, 1.8, begin=10.0)
    measured = bow.measured
    assert bow.state == "ready" and measured is not None
    assert measured.bias_deg == pytest.approx(1.8, abs=2.0 * measured.sigma_deg)
    assert measured.sigma_deg < GOOD_SIGMA_DEG and measured.seconds >= LEAST_S
    # The picture lies clockwise: angles are to be made smaller.
    assert bow.to_take_deg == pytest.approx(-1.8, abs=0.2)
    body = bow.body(offset_deg=0.5, before_deg=None)
    assert body["new_deg"] == pytest.approx(0.5 - 1.8, abs=0.2)
    assert body["say"] == "The picture lies 1.8 degrees clockwise of the chart."


def test_a_bow_mark_that_is_right_has_nothing_to_take() -> None:
    bow = BowAlign()
    run(bow, 0.05)
    assert bow.state == "ready" and bow.to_take_deg is None
    assert "right" in bow.body(0.0, None)["say"]


@pytest.mark.parametrize(
    ("one", "heading", "turn", "state"),
    [
        (reading(60, 1.8, sog=1.0), 24.0, 0.0, "still"),
        (reading(60, 1.8, sog=None), 24.0, 0.0, "still"),
        (reading(60, 1.8), 24.0, 0.06, "turning"),
        (reading(60, 1.8), 24.0, None, "turning"),
        (reading(60, None), 24.0, 0.0, "no view"),
        (reading(60, 1.8, sigma=0.9), 24.0, 0.0, "no view"),
        (reading(60, 1.8, agrees=False), 24.0, 0.0, "no view"),
    ],
)
def test_it_is_refused_where_it_cannot_be_told(one: Reading, heading: float, turn: float | None, state: str) -> None:
    bow = BowAlign()
    run(bow, 1.8)
    assert bow.to_take_deg is not None
    turns = bow.measured.turns if bow.measured else 0
    bow.add(one, heading, turn)
    assert bow.state == state and bow.to_take_deg is None and bow.why
    assert bow.measured is not None and bow.measured.turns <= turns, "such a turn has no say"


def test_a_bias_that_wanders_is_not_sure() -> None:
    bow = BowAlign()
    for k in range(30):
        bow.add(reading(k * 2.5, 1.0 + 0.08 * k), 24.0, 0.0)
    assert bow.state == "measuring"


def test_old_turns_fall_out_and_a_new_beginning_forgets() -> None:
    bow = BowAlign()
    run(bow, 5.0, seconds=60.0)
    run(bow, 1.0, seconds=120.0, begin=60.0)
    assert bow.measured is not None and bow.measured.bias_deg == pytest.approx(1.0, abs=0.1)
    bow.add(reading(-50.0, 2.0), 24.0, 0.0)
    assert bow.measured.turns == 1
    bow.forget()
    assert bow.measured is None and bow.body(0.0, None)["bias_deg"] is None


def test_the_compass_is_named_where_the_course_differs_likewise() -> None:
    bow = BowAlign()
    for k in range(16):
        bow.add(reading(k * 2.5, 3.0, cog=21.0), 24.0, 0.0)
    assert "compass" in str(bow.body(0.0, None)["compass"])
    bow = BowAlign()
    for k in range(16):
        bow.add(reading(k * 2.5, 3.0, cog=24.0), 24.0, 0.0)
    assert bow.body(0.0, None)["compass"] is None
