"""What words of the still world begin and end a doubt: each limit from both sides, words written by hand.

The figures are the rules' own (`design/still_world.py`), written out here.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from moonless.echo.still_world import Against
from moonless.units import NS_PER_S
from moonless.watch.instruments.evidence import still_watch
from moonless.watch.instruments.evidence.still_watch import StillWatch

T0 = 1_800_000_000 * NS_PER_S
# Nothing moved, borne out by twenty echoes of forty, by two if all stands elsewhere.
WORD = Against(0.0, 0.0, 0.0, 1.0, 20.0, 0.5, 2.0, 2.0, 1.0)
NONE = object()


class _Watched:
    """Stands for the watch of a position or a heading."""

    def __init__(self) -> None:
        self.is_doubted, self.said = False, list[Any]()

    def turns_alone(self, now_ns: int, began_ns: int, by_rad: float) -> None:
        self.is_doubted = True
        self.said.append(((now_ns - T0) / NS_PER_S, (began_ns - T0) / NS_PER_S, math.degrees(by_rad)))

    def drifts(self, now_ns: int, since_ns: int) -> None:
        self.is_doubted = True
        self.said.append(((now_ns - T0) / NS_PER_S, (since_ns - T0) / NS_PER_S))

    def still_world_says(self, now_ns: int, *, is_back: bool, stands: bool) -> None:
        self.said.append((is_back, stands))
        if is_back or stands:
            self.is_doubted = False


class Run:
    """Turns 2.5 s apart, of which the words are given: of each step, and against the base some ten seconds before."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, own_m: Any = (0.0, 0.0), way: Any = (0.0, 0.0)) -> None:
        self.heading, self.position = _Watched(), _Watched()
        watched: Any = self.position, self.heading
        self.still = StillWatch(*watched)
        self._step: Any = WORD
        self._base: Any = WORD
        self._t, self._own, self._way = 0.0, np.array(own_m), np.array(way)
        monkeypatch.setattr(still_watch, "against", self._against)
        monkeypatch.setattr(still_watch, "lay", self._lay)

    def _lay(self, scan: Any, plots: Any, frame: Any) -> Any:
        return SimpleNamespace(time_ns=scan.end_ns, frame="plane", own_m=self._own + self._way * self._t)

    def _against(self, before: Any, now: Any, may_turn: bool = True) -> Any:
        word = self._step if may_turn else self._base
        return None if word is NONE else word

    def turn(self, step: Any = WORD, base: Any = WORD, seconds: float = 2.5) -> None:
        self._t += seconds
        self._step, self._base = step, base
        end_ns = T0 + round(self._t * NS_PER_S)
        scan: Any = SimpleNamespace(end_ns=end_ns, time_ns=np.array([end_ns - 2 * NS_PER_S, end_ns]))
        none: Any = None
        self.still.turn(scan, none)

    def steps(self, *turned_deg: float, **of: Any) -> None:
        for one in turned_deg:
            self.turn(replace(WORD, turned_rad=math.radians(one), **of))

    def shifts(self, *east_north: tuple[float, float], **of: Any) -> None:
        for east, north in east_north:
            self.turn(base=replace(WORD, east_m=east, north_m=north, **of))


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """A run whose base stands: four turns have been laid, the newest at ten seconds."""
    made = Run(monkeypatch)
    for _ in range(4):
        made.turn()
    assert made.heading.said == made.position.said == []
    return made


STEPS: list[tuple[str, list[float], dict[str, Any], bool]] = [
    ("two steps on end", [1.6, 1.6], {}, True), ("the other way", [-1.6, -1.6], {}, True),
    ("together three degrees", [1.4, 1.5], {}, False), ("one of them hardly", [0.7, 2.6], {}, False),
    ("both plainly", [0.9, 2.2], {}, True), ("to and fro", [2.5, -2.5], {}, False),
    ("one leap", [8.1], {}, True), ("not quite one", [7.9], {}, False), ("one leap to port", [-8.1], {}, True),
    ("with a shift of 16 m", [1.6, 1.6], {"east_m": 9.6, "north_m": 12.8}, False),
    ("with a shift of 14 m", [1.6, 1.6], {"east_m": 8.4, "north_m": 11.2}, True),
    ("outvoted", [1.6, 1.6], {"as_told": 14.4}, False), ("not outvoted", [1.6, 1.6], {"as_told": 14.2}, True),
    ("by seven", [1.6, 1.6], {"paired": 7.9}, False), ("by eight", [1.6, 1.6], {"paired": 8.0}, True),
    ("by chance", [1.6, 1.6], {"chance": 6.7}, False), ("by more than chance", [1.6, 1.6], {"chance": 6.6}, True),
    ("a tenth of all", [1.6, 1.6], {"share": 0.11}, False), ("an eighth", [1.6, 1.6], {"share": 0.13}, True),
    ("too wide", [1.6, 1.6], {"sigma_m": 6.1}, False), ("wide", [1.6, 1.6], {"sigma_m": 5.9}, True),
]  # fmt: skip


@pytest.mark.parametrize(("why", "steps", "of", "is_told"), STEPS, ids=[s[0] for s in STEPS])
def test_which_steps_are_a_heading_that_turns_alone(
    why: str, steps: list[float], of: dict[str, Any], is_told: bool, run: Run
) -> None:
    run.steps(*steps, **of)
    if is_told:
        # It began with the step before: two turns ago, by how much both say.
        (said,) = run.heading.said
        began = 7.5 if len(steps) == 1 else 10.0
        assert said == pytest.approx((10.0 + 2.5 * len(steps), began, sum(steps)))
    else:
        assert run.heading.said == []


def test_a_turn_without_a_word_parts_two_steps(run: Run) -> None:
    run.steps(1.6)
    run.turn(NONE)
    run.steps(1.6)
    assert run.heading.said == []
    # A step of more than eight seconds is none.
    run.steps(1.6)
    run.heading.said.clear()
    run.turn(replace(WORD, turned_rad=math.radians(9.0)), seconds=8.1)
    assert run.heading.said == []


def test_a_heading_is_believed_again_when_it_is_back_or_stands(run: Run) -> None:
    run.steps(2.0, 2.0)
    run.heading.said.clear()
    # 4 degrees off, then 2.9, then 2.8: twice within three.
    run.steps(-1.1, -0.1)
    assert run.heading.said == [(False, False), (True, False)] and not run.heading.is_doubted
    run.steps(2.0, 2.0)
    run.heading.said.clear()
    run.steps(0.7, -0.7, 0.9, 0.1, 0.2, 0.3)
    assert run.heading.said == [(False, False)] * 5 + [(False, True)]
    # One that goes on turning to port neither is back nor stands, and comes back from there as from the other side.
    run.steps(-2.0, -2.0)
    run.heading.said.clear()
    run.steps(-0.9, -0.9, -0.9, 3.8, 0.85)
    assert run.heading.said == [(False, False)] * 4 + [(True, False)]


def test_while_the_heading_is_in_doubt_nothing_is_said_of_the_position(run: Run) -> None:
    run.steps(2.0, 2.0)
    for _ in range(4):
        run.turn(replace(WORD, turned_rad=math.radians(2.0)), replace(WORD, east_m=40.0))
    assert run.position.said == []


SHIFTS: list[tuple[str, list[tuple[float, float]], dict[str, Any], bool]] = [
    ("two words on end", [(9.0, 0.0), (9.0, 0.0)], {}, True), ("north", [(0.0, -9.0), (0.0, -9.0)], {}, True),
    ("once", [(30.0, 0.0)], {}, False), ("the mean too little", [(7.9, 0.0), (7.9, 0.0)], {}, False),
    ("one too little", [(5.9, 0.0), (12.0, 0.0)], {}, False), ("both enough", [(6.1, 0.0), (12.0, 0.0)], {}, True),
    ("eleven apart", [(6.5, 0.0), (17.6, 0.0)], {}, False), ("nine apart", [(6.5, 0.0), (15.5, 0.0)], {}, True),
    ("apart across", [(9.0, -5.1), (9.0, 5.1)], {}, False), ("alike across", [(9.0, -4.9), (9.0, 4.9)], {}, True),
    ("as wide as it is", [(9.0, 0.0), (9.0, 0.0)], {"sigma_m": 4.6}, False),
    ("half as wide", [(9.0, 0.0), (9.0, 0.0)], {"sigma_m": 4.4}, True),
    ("outvoted", [(9.0, 0.0), (9.0, 0.0)], {"unmoved": 14.4}, False),
    ("by seven", [(9.0, 0.0), (9.0, 0.0)], {"paired": 7.9}, False),
    ("by chance", [(9.0, 0.0), (9.0, 0.0)], {"chance": 6.7}, False),
    ("with a turn", [(9.0, 0.0), (9.0, 0.0)], {"turned_rad": math.radians(3.1)}, False),
]  # fmt: skip


@pytest.mark.parametrize(("why", "shifts", "of", "is_told"), SHIFTS, ids=[s[0] for s in SHIFTS])
def test_which_shifts_are_a_drift(
    why: str, shifts: list[tuple[float, float]], of: dict[str, Any], is_told: bool, run: Run
) -> None:
    run.shifts(*shifts, **of)
    if is_told:
        # The base is the oldest turn no more than fourteen seconds old.
        now = 10.0 + 2.5 * len(shifts)
        assert run.position.said == [(now, 2.5)]
    else:
        assert run.position.said == []


def test_a_position_is_believed_again_when_it_is_back_or_stands(run: Run) -> None:
    run.shifts((9.0, 0.0), (9.0, 0.0))
    run.position.said.clear()
    # Near: 7 m and 0.1 m a second since 2.5 s, when the base of the first word was laid: 8.5, 8.75 and 9 m.
    run.shifts((8.9, 0.0), (8.0, 0.0), (8.3, 0.0))
    assert run.position.said == [(False, False), (False, False), (True, False)] and not run.position.is_doubted


def test_a_position_that_goes_no_farther_stands_after_three_turns(run: Run) -> None:
    run.shifts((20.0, 0.0), (20.0, 0.0))
    run.position.said.clear()
    # Until the base itself was laid 20 m off, the words say 20 m; what was found adds up.
    run.shifts((20.0, 0.0), (20.0, 0.0), (20.0, 0.0), (20.0, 0.0))
    run.shifts((3.9, 0.0), (4.1, 0.0), (3.9, 0.0), (0.0, 3.9), (-3.9, 0.0))
    assert run.position.said == [(False, False)] * 8 + [(False, True)] and not run.position.is_doubted


def test_a_leap_that_others_found_begins_the_watch_anew(run: Run) -> None:
    run.position.is_doubted = True
    run.turn(base=replace(WORD, east_m=30.0))
    run.turn(base=replace(WORD, east_m=30.0))
    assert run.position.said == [] and len(run.still._kept) == 0
    run.position.is_doubted = False
    run.shifts((30.0, 0.0), (30.0, 0.0))
    # Nothing is old enough to be held against.
    assert run.position.said == []


def test_turns_too_soon_too_late_and_from_before_are_left_out(run: Run) -> None:
    n = len(run.still._kept)
    run.turn(seconds=1.9)
    assert len(run.still._kept) == n
    run.turn(seconds=0.2)
    assert len(run.still._kept) == n + 1
    run.turn(seconds=14.1)
    assert len(run.still._kept) == 1
    run.turn(seconds=-5.0)
    assert len(run.still._kept) == 1 and run.still._kept[0].laid.time_ns < T0 + 30 * NS_PER_S
    run.still.begin_again(T0 + round((run._t + 1.0) * NS_PER_S))
    run.turn(seconds=2.5)  # begun before then
    assert len(run.still._kept) == 0
    run.turn(seconds=2.5)
    assert len(run.still._kept) == 1


@pytest.mark.parametrize("course_deg", [0.0, 70.0, 200.0, 310.0])
@pytest.mark.parametrize("bias_deg", [3.0, -4.0])
def test_a_bearing_that_is_steadily_out_makes_the_world_drift_across_the_way(
    course_deg: float, bias_deg: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bearings too great by an angle clockwise: what lies ahead seems to go to port, by that angle of the way.

    With the way made good known, what is left after five degrees at the most is the drift.
    """
    c = math.radians(course_deg)
    ahead, right = np.array([math.sin(c), math.cos(c)]), np.array([math.cos(c), -math.sin(c)])
    run = Run(monkeypatch)
    way = 100.0 * ahead
    aside = -math.radians(bias_deg) * 100.0 * right
    for k in range(6):
        left = run.still._less_bias(aside, way)
        assert left == pytest.approx(np.zeros(2), abs=1e-9)
        mine = run.still._of_position
        assert mine.n_bias == k + 1 and math.degrees(mine.bias_rad) == pytest.approx(bias_deg)
    # Known by then: a drift beside it is left, whichever way it goes, and teaches nothing.
    drift = np.array([5.0, -3.0])
    assert run.still._less_bias(aside + drift, way) == pytest.approx(drift)
    assert run.still._of_position.n_bias == 6
    # A short way says little of an angle and teaches nothing; a boat that lies has none.
    assert run.still._less_bias(0.39 * aside, 0.39 * way) == pytest.approx(np.zeros(2), abs=1e-9)
    assert run.still._of_position.n_bias == 6
    assert run.still._less_bias(drift, 0.009 * way).tolist() == drift.tolist()


def test_no_more_than_five_degrees_are_taken_for_an_angle(monkeypatch: pytest.MonkeyPatch) -> None:
    run = Run(monkeypatch)
    left = run.still._less_bias(np.array([-12.0, 0.0]), np.array([0.0, 100.0]))
    assert left == pytest.approx([-12.0 + 100.0 * math.radians(5.0), 0.0])
    assert run.still._of_position.n_bias == 0
