"""Calls: said once, again when worse, never after acknowledging until more urgent; words of the wheel."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading_fakes import T0, FakeChart, S, make_boat, make_situation, make_track

from moonless.reading.alerts.schedule import Candidate, Schedule
from moonless.reading.judge import Judge
from moonless.reading.words import bow_words, distance_words, place_words, time_words


def _one(urgency: int, key: str = "a", say: str = "x", weight: float = 1.0) -> Candidate:
    return Candidate(key, "speed", urgency, say, weight)


@pytest.mark.parametrize("urgency", [1, 2, 3])
def test_said_once_and_not_again_while_it_is_no_worse(urgency: int) -> None:
    schedule = Schedule()
    said = [k for k in range(400) if schedule.choose(T0 + k * S, [_one(urgency)])]
    assert said == [0]


def test_what_must_be_acted_on_now_is_said_again_until_it_is_answered() -> None:
    schedule = Schedule()
    said = [k for k in range(100) if schedule.choose(T0 + k * S, [_one(4)])]
    assert said == [0, 24, 48, 72, 96]
    schedule.acknowledge("a")
    assert not any(schedule.choose(T0 + k * S, [_one(4)]) for k in range(100, 200))


def test_rising_urgency_is_said_within_the_budget_and_a_shout_at_once() -> None:
    schedule = Schedule()
    schedule.choose(T0, [_one(2)])
    assert schedule.choose(T0 + 10 * S, [_one(3)]) == ()
    assert [c.urgency for c in schedule.choose(T0 + 20 * S, [_one(3)])] == [3]
    assert [c.urgency for c in schedule.choose(T0 + 21 * S, [_one(4)])] == [4]


def test_one_new_sentence_in_twenty_seconds_the_most_urgent_first() -> None:
    schedule = Schedule()
    waiting = [_one(1 + k % 3, str(k)) for k in range(8)]
    said: list[tuple[int, int]] = []
    for k in range(160):
        said += [(k, c.urgency) for c in schedule.choose(T0 + k * S, waiting)]
    assert [t for t, _ in said] == [0, 20, 40, 60, 80, 100, 120, 140]
    assert [u for _, u in said] == [3, 3, 2, 2, 2, 1, 1, 1]


def test_another_order_than_the_one_heard_last_is_said() -> None:
    # By hand: a helmsman who heard "stop" and is to hold on hears of it, as soon as the budget of sentences allows.
    schedule = Schedule()
    stop, hold, turn = (Candidate("a", "vessel", u, do, order=do) for u, do in ((3, "stop"), (2, "hold"), (4, "turn")))

    def said(k: int, one: Candidate) -> list[str]:
        return [call.say for call in schedule.choose(T0 + k * S, [one])]

    assert said(0, stop) == ["stop"] and said(10, stop) == []
    assert said(12, hold) == [] and said(20, hold) == ["hold"] and said(41, hold) == []
    assert said(43, turn) == ["turn"]
    # An order of long ago is steered by no more.
    schedule = Schedule()
    assert said(0, stop) == ["stop"]
    assert [said(k, stop) for k in range(1, 61)] == [[]] * 60 and said(62, hold) == []


def test_what_waited_is_said_in_the_words_of_its_turn_or_not_at_all() -> None:
    schedule = Schedule()
    schedule.choose(T0, [_one(3)])
    schedule.choose(T0 + S, [_one(3), _one(2, "b", "old"), _one(2, "c", "gone")])
    (call,) = schedule.choose(T0 + 20 * S, [_one(3), _one(2, "b", "new")])
    assert (call.key, call.say) == ("b", "new")
    assert schedule.choose(T0 + 40 * S, [_one(3), _one(2, "b", "new")]) == ()


def test_acknowledged_is_quiet_until_more_urgent() -> None:
    schedule = Schedule()
    (call,) = schedule.choose(T0, [_one(3)])
    assert (call.key, call.kind) == ("a", "speed")
    schedule.acknowledge(call.key)
    assert not any(schedule.choose(T0 + k * S, [_one(3)]) for k in range(1, 300))
    assert len(schedule.choose(T0 + 300 * S, [_one(4)])) == 1


def test_flicker_is_not_news_but_a_return_after_a_while_is() -> None:
    schedule = Schedule()
    schedule.choose(T0, [_one(2)])
    schedule.choose(T0 + 30 * S, [])
    assert schedule.choose(T0 + 60 * S, [_one(2)]) == ()
    schedule.choose(T0 + 121 * S, [])
    assert len(schedule.choose(T0 + 122 * S, [_one(2)])) == 1


def test_as_a_helmsman_says_it() -> None:
    # A still echo 10 degrees to starboard, three cables ahead, that no chart knows.
    reach, angle = 3 * 185.2, math.radians(8.0)
    track = make_track(5, reach * math.sin(angle), reach * math.cos(angle))
    judge = Judge(make_boat(), FakeChart())
    said = []
    for k in range(4):
        said += judge.read(make_situation([track], time_ns=T0 + k * 2 * S)).calls
    (call,) = [c for c in said if c.echo == 5]
    # Thirteen words with "three cables": what is missed least is left out.
    assert call.say == "Something uncharted, starboard bow, nearest under half a cable, two minutes."


@pytest.mark.parametrize(
    ("metres", "words"),
    [(60.0, "under half a cable"), (93.0, "half a cable"), (185.2, "one cable"), (555.6, "three cables"),
     (463.0, "two and a half cables"), (1852.0, "one mile"), (2315.0, "one and a quarter miles"),
     (9260.0, "five miles")],
)  # fmt: skip
def test_distances(metres: float, words: str) -> None:
    assert distance_words(metres) == words


_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_NUMBERS = {word: number for number, word in enumerate(_WORDS)}
_PARTS = {"a quarter": 0.25, "a half": 0.5, "three quarters": 0.75}


def _heard_m(words: str) -> tuple[float, float]:
    """What somebody who hears it takes for the distance, and how far off it may be: half a step of what is said."""
    if words == "under half a cable":
        return 0.0, 93.0
    if words == "half a cable":
        return 92.6, 46.4
    number, _, unit = words.rpartition(" ")
    if unit in ("yards", "metres"):
        value = float(number)
        step = 10.0 if value < 200 else 50.0 if value < 1000 else 100.0
        return value * (0.9144 if unit == "yards" else 1.0), 0.51 * step + 5.0
    whole, _, part = number.partition(" and ")
    value = (float(whole) if whole.isdigit() else float(_NUMBERS[whole])) + (_PARTS[part] if part else 0.0)
    if unit.startswith("cable"):
        return value * 185.2, 0.5 * 185.2 + 0.1
    return value * 1852.0, (0.126 if value < 3.0 else 0.501) * 1852.0


@given(st.floats(0.0, 50_000.0), st.sampled_from(["nm", "yards", "metres"]))
def test_every_distance_is_heard_as_what_it_is(metres: float, unit: str) -> None:
    words = distance_words(metres, unit)  # type: ignore[arg-type]
    heard, room = _heard_m(words)
    assert abs(heard - metres) <= room + 1e-6, words
    assert (unit == "nm") == (not words.endswith(("yards", "metres")))


@given(st.floats(0.0, 4000.0))
def test_every_time_is_heard_as_what_it_is(seconds: float) -> None:
    number, _, unit = time_words(seconds).partition(" ")
    if unit == "seconds":
        assert abs(float(number) - seconds) <= 10.0
        return
    minutes = float(number) if number.isdigit() else float(_NUMBERS[number])
    assert unit == ("minute" if minutes == 1 else "minutes")
    assert abs(60.0 * minutes - seconds) <= 30.1


# Where from the bow each word reaches, degrees off it; the edges are this program's own.
_REACHES = {"dead ahead": (0, 3), "bow": (3, 70), "beam": (70, 110), "quarter": (110, 160), "astern": (160, 180)}


@given(st.floats(-179.99, 180.0), st.integers(-2, 2))
def test_every_direction_is_heard_as_what_it_is(off_deg: float, turns: int) -> None:
    words = bow_words(math.radians(off_deg + 360.0 * turns))
    if words not in ("dead ahead", "astern"):
        assert words.split()[0] == ("starboard" if off_deg > 0 else "port"), (off_deg, words)
    low, high = _REACHES[words if words in _REACHES else words.split()[1]]
    assert low - 1e-6 <= abs(off_deg) <= high + 1e-6, (off_deg, words)


def test_places() -> None:
    assert place_words(-12.4, -118.3) == "12 24.000 south, 118 18.000 west"
    assert place_words(0.99999999, 9.5) == "01 00.000 north, 009 30.000 east"
