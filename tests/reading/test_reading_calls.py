"""Calls: said once, again when worse, never after acknowledging until more urgent; words of the wheel."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading_fakes import T0, FakeChart, S, make_boat, make_situation, make_track

from moonless.reading.calls import Caller, Matter
from moonless.reading.judge import Judge
from moonless.reading.words import direction_words, distance_words, place_words, time_words


def test_said_once_then_not_until_worse() -> None:
    caller = Caller()
    assert len(caller.choose(T0, [Matter("a", 2, "x", 1.0)])) == 1
    for k in range(1, 100):
        assert caller.choose(T0 + k * S, [Matter("a", 2, "x", 1.2)]) == ()
    assert len(caller.choose(T0 + 100 * S, [Matter("a", 2, "x", 1.6)])) == 1


def test_rising_urgency_is_said_at_once() -> None:
    caller = Caller()
    caller.choose(T0, [Matter("a", 2, "x")])
    assert caller.choose(T0 + S, [Matter("a", 3, "y")])[0].urgency == 3


def test_acknowledged_is_quiet_until_more_urgent() -> None:
    caller = Caller()
    (call,) = caller.choose(T0, [Matter("a", 3, "x", 1.0)])
    caller.acknowledge(call)
    for k in range(1, 300):
        assert caller.choose(T0 + k * S, [Matter("a", 3, "x", 1.0 + k)]) == ()
    assert len(caller.choose(T0 + 300 * S, [Matter("a", 4, "x")])) == 1


@pytest.mark.parametrize(("urgency", "pause_s"), [(4, 24), (3, 90), (2, None), (1, None)])
def test_only_what_is_urgent_is_said_again_unasked(urgency: int, pause_s: int | None) -> None:
    # A shout stands on the screens for 25 s and is given again before it goes; a warning rests a minute and a half.
    caller = Caller()
    said = [k for k in range(200) if caller.choose(T0 + k * S, [Matter("a", urgency, "x")])]
    assert said == ([0] if pause_s is None else list(range(0, 200, pause_s)))


@pytest.mark.parametrize(("urgency", "sooner_s"), [(4, 8), (3, 30), (2, 60), (1, 200)])
def test_what_has_grown_by_half_is_said_after_a_third_of_its_pause(urgency: int, sooner_s: int) -> None:
    for growth, is_said in ((1.49, False), (1.5, True)):
        caller = Caller()
        caller.choose(T0, [Matter("a", urgency, "x", 2.0)])
        for k in range(1, sooner_s):
            assert caller.choose(T0 + k * S, [Matter("a", urgency, "x", 2.0 * growth)]) == ()
        assert bool(caller.choose(T0 + sooner_s * S, [Matter("a", urgency, "x", 2.0 * growth)])) == is_said


def test_flicker_is_not_news_but_a_return_after_a_while_is() -> None:
    caller = Caller()
    caller.choose(T0, [Matter("a", 2, "x")])
    caller.choose(T0 + 3 * S, [])
    assert caller.choose(T0 + 6 * S, [Matter("a", 2, "x")]) == ()
    caller.choose(T0 + 60 * S, [])
    assert len(caller.choose(T0 + 61 * S, [Matter("a", 2, "x")])) == 1


def test_three_at_a_time_the_most_urgent_first() -> None:
    calls = Caller().choose(T0, [Matter(str(k), 1 + k % 4, f"m{k}") for k in range(8)])
    assert [c.urgency for c in calls] == [4, 4, 3]


def test_as_a_helmsman_says_it() -> None:
    # A still echo 10 degrees to starboard, three cables ahead, that no chart knows.
    reach, angle = 3 * 185.2, math.radians(8.0)
    track = make_track(5, reach * math.sin(angle), reach * math.cos(angle))
    judge = Judge(make_boat(), FakeChart())
    said = []
    for k in range(4):
        said += judge.read(make_situation([track], time_ns=T0 + k * 2 * S)).calls
    (call,) = [c for c in said if c.echo == 5]
    assert call.say == "Ahead, a little to starboard, three cables, not on the chart, not moving."


@pytest.mark.parametrize(
    ("metres", "words"),
    [(60.0, "under half a cable"), (93.0, "half a cable"), (185.2, "one cable"), (555.6, "three cables"),
     (463.0, "two and a half cables"), (1852.0, "one mile"), (2315.0, "one and a quarter miles"),
     (9260.0, "five miles")],
)  # fmt: skip
def test_distances(metres: float, words: str) -> None:
    assert distance_words(metres) == words


@given(st.floats(0.0, 50_000.0), st.sampled_from(["nm", "cables", "yards", "metres"]))
def test_every_distance_has_words(metres: float, unit: str) -> None:
    assert distance_words(metres, unit)  # type: ignore[arg-type]


@given(st.floats(-7.0, 7.0), st.floats(0.0, 4000.0))
def test_every_direction_and_time_has_words(angle: float, seconds: float) -> None:
    assert direction_words(angle) and time_words(seconds)


def test_directions_mirror() -> None:
    for degrees in (5, 20, 50, 90, 130):
        right = direction_words(math.radians(degrees))
        left = direction_words(math.radians(-degrees))
        assert right.replace("starboard", "port") == left and "starboard" in right
    assert direction_words(0.0) == "dead ahead" and direction_words(math.pi) == "astern"


def test_places() -> None:
    assert place_words(-12.4, -118.3) == "12 24.000 south, 118 18.000 west"
    assert place_words(0.99999999, 9.5) == "01 00.000 north, 009 30.000 east"
