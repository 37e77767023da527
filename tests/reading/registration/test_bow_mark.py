"""The bow mark against the chart: which turns count, when it is offered, and what taking it makes of the offset."""

from __future__ import annotations

import math
import statistics
from typing import Any

import pytest
from reading_fakes import T0, S

from moonless.errors import InputError
from moonless.reading.registration.bow_mark import BowAlignment, BowMark
from moonless.reading.types import Own, Reading, Registration, SpeedAdvice

TURN_S = 2.5


def _reading(
    at_s: float, bias: float | None = 2.0, sigma: float | None = 0.2, *, sog_kn: float | None = 6.0,
    cog_deg: float | None = 100.0, agrees: bool | None = True,
) -> Reading:  # fmt: skip
    return Reading(
        time_ns=T0 + round(at_s * S), own=Own(10.0, -150.0, cog_deg, sog_kn, 100.0), echoes=(), missing=(), hidden=None,
        seeing=(), seeing_line=None, stopping_m=None,
        registration=Registration(bias, None, None, None, agrees, sigma),
        speed=SpeedAdvice(None, "unknown"), faults=(), calls=(),
    )  # fmt: skip


def _run(bow: BowAlignment, turns: int, begin_s: float = 0.0, **change: Any) -> None:
    for k in range(turns):
        bow.add(_reading(begin_s + TURN_S * k, **change), 100.0, 0.0)


def test_it_is_ready_after_twenty_five_seconds_and_eight_turns() -> None:
    bow, states = BowAlignment(), []
    for k in range(13):
        bow.add(_reading(TURN_S * k), 100.0, 0.0)
        states.append(bow.state)
    assert states == ["measuring"] * 10 + ["ready"] * 3  # 25 s with the eleventh
    slow = BowAlignment()
    for k in range(8):
        slow.add(_reading(10.0 * k), 100.0, 0.0)
        assert slow.state == ("ready" if k == 7 else "measuring")


@pytest.mark.parametrize(
    ("change", "rate_deg_s", "state"),
    [
        ({"sog_kn": 2.9}, 0.0, "still"), ({"sog_kn": 3.1}, 0.0, "measuring"), ({"sog_kn": None}, 0.0, "still"),
        ({}, 1.4, "measuring"), ({}, 1.6, "turning"), ({}, -1.6, "turning"), ({}, None, "turning"),
        ({"sigma": 0.59}, 0.0, "measuring"), ({"sigma": 0.61}, 0.0, "no view"), ({"sigma": None}, 0.0, "no view"),
        ({"bias": None}, 0.0, "no view"), ({"agrees": False}, 0.0, "no view"), ({"agrees": None}, 0.0, "no view"),
    ],
)  # fmt: skip
def test_which_turns_count(change: dict[str, Any], rate_deg_s: float | None, state: str) -> None:
    bow = BowAlignment()
    bow.add(_reading(0.0, **change), 100.0, None if rate_deg_s is None else math.radians(rate_deg_s))
    assert bow.state == state and (bow.measured is not None) is (state == "measuring")
    assert (bow.why == "") is False


def test_the_mean_and_its_doubt_over_a_minute_and_a_half() -> None:
    bow, told = BowAlignment(), [1.0 + 0.1 * (k % 3) for k in range(60)]
    for k, bias in enumerate(told):
        bow.add(_reading(TURN_S * k, bias), 103.0, 0.0)
    measured = bow.measured
    assert measured is not None and measured.turns == 37 and measured.seconds == 90.0
    kept = told[-37:]
    assert measured.bias_deg == pytest.approx(statistics.fmean(kept))
    # One turn's doubt, the scatter, and eight hundredths that no turns average away.
    assert measured.sigma_deg == pytest.approx(math.sqrt(0.2**2 + statistics.pstdev(kept) ** 2 + 0.08**2))
    assert measured.course_deg == pytest.approx(3.0)  # heading less course
    # What was measured before a turn still holds; a recording that began again does not.
    bow.add(_reading(TURN_S * 60), 103.0, 1.0)
    assert bow.state == "turning" and bow.measured is not None
    bow.add(_reading(0.0), 103.0, 0.0)
    assert bow.measured is not None and bow.measured.turns == 1 and bow.state == "measuring"


@pytest.mark.parametrize(
    ("bias", "sigma", "take"),
    # Not under two tenths, nor under twice the doubt: sqrt(0.2^2 + 0.08^2) is 0.215, twice 0.431; past 0.3 never.
    [(0.42, 0.2, None), (0.45, 0.2, -0.45), (-0.45, 0.2, 0.45), (0.19, 0.01, None), (0.21, 0.01, -0.21),
     (3.0, 0.28, -3.0),
     (3.0, 0.30, None)],
)  # fmt: skip
def test_what_is_offered(bias: float, sigma: float, take: float | None) -> None:
    bow = BowAlignment()
    _run(bow, 14, bias=bias, sigma=sigma)
    assert bow.to_take_deg == (None if take is None else pytest.approx(take))
    line = bow.body(5.0, 4.0)
    if take is not None:
        way = "clockwise" if bias > 0 else "anticlockwise"
        assert line["say"] == f"The picture lies {abs(bias):.1f} degrees {way} of the chart."
        assert line["new_deg"] == pytest.approx(5.0 + take)
    else:
        assert line["new_deg"] is None
    assert (line["before_deg"], line["offset_deg"], line["of_seconds"], line["seconds"]) == (4.0, 5.0, 25.0, 32)
    assert (line["bias_deg"], line["sigma_deg"]) == (bias, pytest.approx(math.hypot(sigma, 0.08), abs=0.006))


def test_a_right_mark_is_said_to_be_right_and_one_not_measured_says_what_to_do() -> None:
    bow = BowAlignment()
    assert bow.body(None, None) == {
        "state": "no view", "say": "Too little of the chart is seen to tell: run past shore or marks.",
        "bias_deg": None,
        "sigma_deg": None, "seconds": 0, "of_seconds": 25.0, "offset_deg": None, "new_deg": None, "before_deg": None,
        "compass": None,
    }  # fmt: skip
    _run(bow, 14, bias=0.1)
    assert bow.body(1.0, None)["say"] == "The bow mark is right, as far as this can tell."
    bow.add(_reading(60.0, sog_kn=1.0), 100.0, 0.0)
    assert bow.body(1.0, None)["say"] == "Make way: it is measured at 3 knots and more."
    bow.forget()
    assert bow.measured is None and bow.state == "no view"


@pytest.mark.parametrize(
    ("heading", "bias", "is_said"),
    # Heading 100 over a course of 97: the compass reads three degrees high, as the picture lies.
    [(100.0, 3.0, True), (100.0, 2.2, True), (100.0, 2.1, False), (100.0, 5.1, False), (100.0, -3.0, False),
     (97.9, 0.9, False),
     (359.0, 3.0, False)],
)  # fmt: skip
def test_where_heading_and_course_differ_as_much_it_is_the_compass(heading: float, bias: float, is_said: bool) -> None:
    bow = BowAlignment()
    for k in range(14):
        bow.add(_reading(TURN_S * k, bias, cog_deg=97.0), heading, 0.0)
    said = bow.body(0.0, None)["compass"]
    assert (said is not None) is is_said
    if said is not None:
        assert said.startswith("Heading and course over ground differ by +3.0 degrees too")
    across = BowAlignment()
    for k in range(14):
        across.add(_reading(TURN_S * k, 3.0, cog_deg=358.5), 1.5, 0.0)  # over north
    assert across.body(0.0, None)["compass"] is not None
    none = BowAlignment()
    for k in range(14):
        none.add(_reading(TURN_S * k, 3.0, cog_deg=None), 100.0, 0.0)
    assert none.body(0.0, None)["compass"] is None


def test_taken_it_is_the_offset_less_the_bias_and_can_be_undone_once() -> None:
    bow = BowMark()
    bow.begin(359.0)
    with pytest.raises(InputError, match="nothing was taken"):
        bow.undo()
    with pytest.raises(InputError, match="Too little of the chart"):
        bow.take()
    for k in range(14):
        bow.turn(_reading(TURN_S * k, -3.0), 100.0)
    assert bow.align.state == "ready"
    assert bow.take() == 2.0 and (bow.offset_deg, bow.before_deg) == (2.0, 359.0)
    assert bow.align.measured is None
    assert bow.undo() == 359.0 and bow.before_deg == 2.0
    unknown = BowMark()
    unknown.begin(None)
    for k in range(14):
        unknown.turn(_reading(TURN_S * k, -3.0), 100.0)
    with pytest.raises(InputError, match="nothing to take"):
        unknown.take()


@pytest.mark.parametrize(
    ("headings", "step_s", "state"),
    # A degree and a half a second is a turn; over north it is no more of one.
    [((100.0, 103.5), 2.5, "measuring"), ((100.0, 104.0), 2.5, "turning"), ((359.0, 2.0), 2.5, "measuring"),
     ((2.0, 358.0), 2.5, "turning"), ((100.0, 100.0), 0.1, "turning"), ((100.0, 100.0), 11.0, "turning"),
     ((100.0, math.nan), 2.5, "turning"), ((math.nan, 100.0), 2.5, "turning")],
)  # fmt: skip
def test_how_fast_she_turns_is_told_by_two_headings(headings: tuple[float, float], step_s: float, state: str) -> None:
    bow = BowMark()
    bow.begin(0.0)
    for k, heading in enumerate(headings):
        bow.turn(_reading(step_s * k), heading)
    assert bow.align.state == state
    assert bow.body()["state"] == state
