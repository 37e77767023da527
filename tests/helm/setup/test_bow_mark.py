"""The bow mark against the chart: measured only where it can be, offered only when sure."""

from __future__ import annotations

import asyncio
import math
from pathlib import Path

import numpy as np
import pytest
from helm_made import MadeSource

from moonless.boat.file import default_boat, read_boat
from moonless.errors import InputError
from moonless.helm.hub import Hub
from moonless.helm.process.requests import HELM, SetBowOffset
from moonless.helm.setup.service import SetupService
from moonless.helm.setup.settings import HelmSettings
from moonless.helm.web.controls import read_control
from moonless.reading.registration.bow_mark import GOOD_SIGMA_DEG, LEAST_S, BowAlignment, BowMark
from moonless.reading.types import Own, Reading, Registration, SpeedAdvice
from moonless.units import NS_PER_S
from moonless.watch.pipeline.chain import Chain

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


def run(bow: BowAlignment, bias: float, seconds: float = 40.0, begin: float = 0.0, scatter: float = 0.1) -> None:
    noise = np.random.default_rng(7)
    for k in range(int(seconds / 2.5)):
        bow.add(reading(begin + k * 2.5, bias + noise.normal(0.0, scatter)), 24.0, 0.0)


def test_a_steady_bias_is_measured_and_offered() -> None:
    bow = BowAlignment()
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
    bow = BowAlignment()
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
    bow = BowAlignment()
    run(bow, 1.8)
    assert bow.to_take_deg is not None
    turns = bow.measured.turns if bow.measured else 0
    bow.add(one, heading, turn)
    assert bow.state == state and bow.to_take_deg is None and bow.why
    assert bow.measured is not None and bow.measured.turns <= turns, "such a turn has no say"


def test_a_bias_that_wanders_is_not_sure() -> None:
    bow = BowAlignment()
    for k in range(30):
        bow.add(reading(k * 2.5, 1.0 + 0.08 * k), 24.0, 0.0)
    assert bow.state == "measuring"


def test_old_turns_fall_out_and_a_new_beginning_forgets() -> None:
    bow = BowAlignment()
    run(bow, 5.0, seconds=60.0)
    run(bow, 1.0, seconds=120.0, begin=60.0)
    assert bow.measured is not None and bow.measured.bias_deg == pytest.approx(1.0, abs=0.1)
    bow.add(reading(-50.0, 2.0), 24.0, 0.0)
    assert bow.measured.turns == 1
    bow.forget()
    assert bow.measured is None and bow.body(0.0, None)["bias_deg"] is None


def test_the_compass_is_named_where_the_course_differs_likewise() -> None:
    bow = BowAlignment()
    for k in range(16):
        bow.add(reading(k * 2.5, 3.0, cog=21.0), 24.0, 0.0)
    assert "compass" in str(bow.body(0.0, None)["compass"])
    bow = BowAlignment()
    for k in range(16):
        bow.add(reading(k * 2.5, 3.0, cog=24.0), 24.0, 0.0)
    assert bow.body(0.0, None)["compass"] is None


# ---- taken and undone ---------------------------------------------------------------------------------------------


def measured_mark(bias: float = 1.8, offset: float | None = 0.5) -> BowMark:
    mark = BowMark()
    mark.begin(offset)
    for k in range(16):
        mark.turn(reading(k * 2.5, bias), 24.0)
    return mark


def test_one_touch_takes_it_and_one_undoes_it() -> None:
    mark = measured_mark()
    assert mark.take() == pytest.approx(-1.3) and mark.before_deg == 0.5
    # What was measured before says nothing of the picture as it lies now.
    assert mark.align.measured is None
    with pytest.raises(InputError, match="not taken"):
        mark.take()
    assert mark.undo() == 0.5 and mark.before_deg == pytest.approx(-1.3)


def test_nothing_is_taken_while_it_is_not_sure_or_not_known() -> None:
    mark = BowMark()
    mark.begin(0.0)
    with pytest.raises(InputError, match="run past shore or marks"):
        mark.take()
    with pytest.raises(InputError, match="nothing was taken"):
        mark.undo()
    with pytest.raises(InputError):
        measured_mark(offset=None).take()


def test_a_turn_is_told_by_the_heading_itself() -> None:
    mark = measured_mark()
    mark.turn(reading(60.0, 1.8), 24.0)
    mark.turn(reading(62.5, 1.8), 34.0)  # 4 degrees a second
    assert mark.align.state == "turning"
    mark.turn(reading(65.0, 1.8), math.nan)
    assert mark.align.state == "turning", "an unknown heading is no straight course"


def test_the_hub_applies_it_at_once_and_keeps_it_where_it_can(tmp_path: Path) -> None:
    source = MadeSource()
    source.kind = "live"
    service = SetupService(tmp_path / "helm.toml", HelmSettings())
    hub = Hub(source, setup=service)
    hub.bow = measured_mark()
    with pytest.raises(InputError):
        hub.ask(read_control({"do": "undo bow"}))
    line = hub.ask(read_control({"do": "take bow"}))
    assert line == "bow offset -1.30 degrees: applied now, and not kept: there is no boat file yet"
    assert source.asked[-1] == (HELM, SetBowOffset(pytest.approx(-1.3)))
    asyncio.run(service.do({"do": "answer", "key": "boat.length_m", "value": 9.2}, hub))
    assert hub.ask(read_control({"do": "undo bow"})) == "bow offset +0.50 degrees: applied, and kept in boat.toml"
    assert read_boat(tmp_path / "boat.toml").radar.bow_offset_rad == pytest.approx(math.radians(0.5))


def test_the_chain_turns_its_picture_and_what_it_knows() -> None:
    boat = default_boat()
    chain = Chain(boat)
    before = chain._judge._registration._registrar.now.heading_bias
    chain.set_bow_offset(math.radians(-1.5))
    assert chain.boat.radar.bow_offset_rad == pytest.approx(math.radians(-1.5))
    assert chain._judge._registration._registrar.now.heading_bias - before == pytest.approx(math.radians(-1.5))
    # Round the circle the short way.
    chain.set_bow_offset(math.radians(-1.5 + 360.0))
    after = chain._judge._registration._registrar.now.heading_bias
    assert after - before == pytest.approx(math.radians(-1.5), abs=1e-9)
