"""Calls: said once, again when worse, never after acknowledging until more urgent; words of the wheel."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading_fakes import T0, FakeChart, S, make_boat, make_situation, make_track

from moonless.reading.alerts.schedule import Candidate, Schedule
from moonless.reading.judge import Judge
from moonless.reading.words import direction_words, distance_words, place_words, time_words


def test_said_once_then_not_until_worse() -> None:
    schedule = Schedule()
    assert len(schedule.choose(T0, [Candidate("a", "speed", 2, "x", 1.0)])) == 1
    for k in range(1, 100):
        assert schedule.choose(T0 + k * S, [Candidate("a", "speed", 2, "x", 1.2)]) == ()
    assert len(schedule.choose(T0 + 100 * S, [Candidate("a", "speed", 2, "x", 1.6)])) == 1


def test_rising_urgency_is_said_at_once() -> None:
    schedule = Schedule()
    schedule.choose(T0, [Candidate("a", "speed", 2, "x")])
    assert schedule.choose(T0 + S, [Candidate("a", "speed", 3, "y")])[0].urgency == 3


def test_acknowledged_is_quiet_until_more_urgent() -> None:
    schedule = Schedule()
    (call,) = schedule.choose(T0, [Candidate("a", "speed", 3, "x", 1.0)])
    assert (call.key, call.kind) == ("a", "speed")
    schedule.acknowledge(call.key)
    for k in range(1, 300):
        assert schedule.choose(T0 + k * S, [Candidate("a", "speed", 3, "x", 1.0 + k)]) == ()
    assert len(schedule.choose(T0 + 300 * S, [Candidate("a", "speed", 4, "x")])) == 1


@pytest.mark.parametrize(("urgency", "pause_s"), [(4, 24), (3, 90), (2, None), (1, None)])
def test_only_what_is_urgent_is_said_again_unasked(urgency: int, pause_s: int | None) -> None:
    # A shout stands on the screens for 25 s and is given again before it goes; a warning rests a minute and a half.
    schedule = Schedule()
    said = [k for k in range(200) if schedule.choose(T0 + k * S, [Candidate("a", "speed", urgency, "x")])]
    assert said == ([0] if pause_s is None else list(range(0, 200, pause_s)))


@pytest.mark.parametrize(("urgency", "sooner_s"), [(4, 20), (3, 30), (2, 60), (1, 200)])
def test_what_has_grown_by_half_is_said_after_a_third_of_its_pause_or_20_s(urgency: int, sooner_s: int) -> None:
    for growth, is_said in ((1.49, False), (1.5, True)):
        schedule = Schedule()
        schedule.choose(T0, [Candidate("a", "speed", urgency, "x", 2.0)])
        for k in range(1, sooner_s):
            assert schedule.choose(T0 + k * S, [Candidate("a", "speed", urgency, "x", 2.0 * growth)]) == ()
        said = schedule.choose(T0 + sooner_s * S, [Candidate("a", "speed", urgency, "x", 2.0 * growth)])
        assert bool(said) == is_said


def test_flicker_is_not_news_but_a_return_after_a_while_is() -> None:
    schedule = Schedule()
    schedule.choose(T0, [Candidate("a", "speed", 2, "x")])
    schedule.choose(T0 + 3 * S, [])
    assert schedule.choose(T0 + 6 * S, [Candidate("a", "speed", 2, "x")]) == ()
    schedule.choose(T0 + 60 * S, [])
    assert len(schedule.choose(T0 + 61 * S, [Candidate("a", "speed", 2, "x")])) == 1


def test_three_at_a_time_the_most_urgent_first() -> None:
    calls = Schedule().choose(T0, [Candidate(str(k), "speed", 1 + k % 4, f"m{k}") for k in range(8)])
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


# Where from the bow each word reaches, degrees off it; the edges are this program's own, and stand in docs/words.md.
_REACHES = {
    "dead ahead": (0, 3), "ahead, a little to": (3, 15), "fine on the": (15, 35), "on the bow": (35, 70),
    "abeam to": (70, 110), "on the quarter": (110, 160), "astern": (160, 180),
}  # fmt: skip


@given(st.floats(-179.99, 180.0), st.integers(-2, 2))
def test_every_direction_is_heard_as_what_it_is(off_deg: float, turns: int) -> None:
    words = direction_words(math.radians(off_deg + 360.0 * turns))
    side = "starboard" if off_deg > 0 else "port"
    if words not in ("dead ahead", "astern"):
        assert side in words.split(), (off_deg, words)
    bare = words.replace(f" {side}", "")
    name = next(k for k in _REACHES if bare == k or (k == "fine on the" and bare == "fine on the bow"))
    low, high = _REACHES[name]
    assert low - 1e-6 <= abs(off_deg) <= high + 1e-6, (off_deg, words)


def test_directions_mirror() -> None:
    for degrees in (5, 20, 50, 90, 130):
        right = direction_words(math.radians(degrees))
        left = direction_words(math.radians(-degrees))
        assert right.replace("starboard", "port") == left and "starboard" in right
    assert direction_words(0.0) == "dead ahead" and direction_words(math.pi) == "astern"


def test_places() -> None:
    assert place_words(-12.4, -118.3) == "12 24.000 south, 118 18.000 west"
    assert place_words(0.99999999, 9.5) == "01 00.000 north, 009 30.000 east"
