"""Questions under way by day: asked only in daylight, under way, and when nothing is close, wrong or to be done."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import Any

import pytest

from moonless.errors import InputError
from moonless.helm.practice.day import DayQuestions
from moonless.practice.by_day import DayQuestion, ask_by_day, mark_by_eye
from moonless.reading.types import Call, Echo, Fault, Instruction, Own, Reading, Registration, SpeedAdvice
from moonless.watch.afterwards.by_eye import CHARTED, UNCHARTED, VESSEL

# 10:00 UTC of 21 June 2030 off Lisbon: forenoon, the sun high; 01:00: deep night (by any almanac).
DAY_NS, NIGHT_NS = 1_908_266_400 * 10**9, 1_908_234_000 * 10**9


def echo(number: int, range_m: float, kind: Any = "charted", bearing: float = 20.0, **more: Any) -> Echo:
    values: dict[str, Any] = dict(
        id=number, lat=38.5, lon=-9.5, range_m=range_m, bearing_deg=bearing, relative_bearing_deg=bearing, cog_deg=None,
        sog_kn=0.0, length_m=None, kind=kind, confidence=0.9, p_moving=0.0, charted_as=None, ais=None, cpa_m=900.0,
        tcpa_s=60.0, cpa_sigma_m=20.0, why="",
    )  # fmt: skip
    return Echo(**(values | more))


def reading(*echoes: Echo, time_ns: int = DAY_NS, sog_kn: float = 6.0, **more: Any) -> Reading:
    own = Own(38.5, -9.5, 0.0, sog_kn, 0.0)
    values: dict[str, Any] = dict(
        time_ns=time_ns, own=own, echoes=echoes, missing=(), hidden=None, seeing=(), seeing_line=None, stopping_m=None,
        registration=Registration(None, None, None, None, None), speed=SpeedAdvice(None, ""),
    )  # fmt: skip
    return Reading(**(values | more))


def asked(found: DayQuestion | str) -> bool:
    return isinstance(found, DayQuestion)


def test_a_quiet_day_asks_of_the_nearest_echo_that_can_be_checked() -> None:
    found = ask_by_day(reading(echo(1, 900.0), echo(2, 400.0), echo(3, 350.0, bearing=170.0)), None, frozenset())
    assert isinstance(found, DayQuestion) and found.echo == 2
    again = ask_by_day(reading(echo(1, 900.0), echo(2, 400.0)), None, frozenset({2}))
    assert isinstance(again, DayQuestion) and again.echo == 1


@pytest.mark.parametrize(
    ("now", "why"),
    [
        (None, "no reading"),
        (reading(echo(1, 400.0), time_ns=NIGHT_NS), "not day"),
        (reading(echo(1, 400.0), sog_kn=0.3), "not under way"),
        (reading(echo(1, 400.0), faults=(Fault("radar", "stale", DAY_NS),)), "wrong"),
        (reading(echo(1, 400.0), calls=(Call("k", "collision", 3, "x"),)), "called"),
        (reading(echo(1, 400.0), instruction=Instruction("turn", 90.0, None, "x", "y")), "to do"),
        (reading(echo(1, 400.0), echo(2, 1_400.0, "vessel", cpa_m=100.0, tcpa_s=400.0)), "close"),
        (reading(echo(1, 400.0), echo(2, 250.0, "vessel", cpa_m=5_000.0)), "close"),
        (reading(echo(1, 400.0), echo(2, 900.0, "vessel", cpa_m=None, tcpa_s=None)), "close"),
        (reading(echo(1, 400.0), echo(2, 60.0, "shore")), "close"),
        (reading(echo(1, 5_000.0)), "no echo"),
        (reading(echo(1, 400.0, coasting=True)), "no echo"),
    ],
)  # fmt: skip
def test_nothing_is_asked_otherwise(now: Reading | None, why: str) -> None:
    found = ask_by_day(now, None, frozenset())
    assert isinstance(found, str) and why in found


def test_not_all_the_time() -> None:
    now = reading(echo(1, 400.0))
    assert not asked(ask_by_day(now, DAY_NS - 60 * 10**9, frozenset()))
    assert asked(ask_by_day(now, DAY_NS - 600 * 10**9, frozenset()))


def test_the_eye_is_the_truth() -> None:
    right, wrong = mark_by_eye(VESSEL, VESSEL), mark_by_eye(CHARTED, UNCHARTED)
    assert right is not None and right.points == 1.0 and right.for_ == pytest.approx(0.75)
    assert wrong is not None and wrong.points == 0.0 and wrong.against == 1.0
    assert mark_by_eye(VESSEL, None) is None


class Shown:
    """A picture as far as the questions look at it."""

    def __init__(self, newest: Reading, age_s: float) -> None:
        self.newest, self.age_s = newest, age_s

    def ages(self) -> dict[str, float]:
        return {"reading_age_s": self.age_s}


class Kept:
    """A process that only remembers."""

    def __init__(self) -> None:
        self.told: list[Any] = []

    async def ask(self, asked: Any) -> dict[str, Any]:
        self.told.append(asked)
        return {"points": 1.0}


def test_an_old_reading_is_not_asked_about_and_what_was_asked_goes_when_it_is_not_quiet() -> None:
    shown, kept = Shown(reading(echo(1, 400.0)), 60.0), Kept()
    eyes: list[tuple[int, str]] = []
    day = DayQuestions(shown, kept, lambda echo, eye: eyes.append((echo, eye)))

    async def run() -> None:
        assert "no reading" in (await day.do({"do": "ask"}))["why"]
        shown.age_s = 1.0
        assert "0.22 NM off, 20° to starboard" in (await day.do({"do": "ask"}))["say"]
        # Still the same one while it is quiet.
        assert "0.22 NM" in (await day.do({"do": "ask"}))["say"]
        shown.newest = replace(shown.newest, instruction=Instruction("stop", None, 0.0, "x", "y"))
        assert "to do" in (await day.do({"do": "ask"}))["why"]
        with pytest.raises(InputError, match="nothing was asked"):
            await day.do({"do": "told", "read": VESSEL, "eye": VESSEL})
        shown.newest = reading(echo(2, 500.0), time_ns=DAY_NS + 600 * 10**9)
        await day.do({"do": "ask"})
        await day.do({"do": "told", "read": VESSEL, "eye": CHARTED})
        assert kept.told == [{"do": "eye", "read": VESSEL, "eye": CHARTED}]
        assert eyes == [(2, CHARTED)], "what the eye saw goes to the run's recording"

    asyncio.run(run())
