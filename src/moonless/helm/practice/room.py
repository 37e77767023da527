"""One skipper's practice: exercises made on demand, answers marked and kept.  Lives in a process of its own."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from moonless.boat.types import Boat
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.clock import Clock, SystemClock
from moonless.errors import InputError
from moonless.helm.practice.body import exercise_body, marked_body, progress_body, read_answer, verdict
from moonless.practice.by_day import mark_by_eye
from moonless.practice.ladder import make
from moonless.practice.progress import Answered, next_seed, next_step
from moonless.practice.scoring import mark
from moonless.practice.steps.own_runs import OwnRuns
from moonless.practice.store import keep_answers, read_answers
from moonless.practice.types import Exercise, ExerciseAnswer, Marked
from moonless.practice.waters import PracticeWaters, open_waters
from moonless.watch.afterwards.by_eye import UNCHARTED, WORDS

# Exercises that can still be answered: of some screens, each with the one before.
_KEPT = 12


class PracticeRoom:
    """Rules: an exercise is answered once; what was answered is on the disk before its mark is told."""

    def __init__(
        self,
        charts: Sequence[Path],
        boat: Boat,
        record: Path,
        at: tuple[float, float] | None = None,
        clock: Clock | None = None,
        runs: Sequence[Path] = (),
        knowledge: Path | None = None,
    ) -> None:
        """``record``: where the answers are kept; ``at``: where on the charts to practise, None anywhere; ``runs``: the
        skipper's own recordings; ``knowledge``: his local knowledge, whose things are put into the exercises."""
        self._knowledge = knowledge
        self.own = OwnRuns(runs, charts, boat)
        self._charts = tuple(charts)
        self.boat = boat
        self._record = record
        self._at = at
        self._clock = clock or SystemClock()
        self._waters: PracticeWaters | None = None
        self._made: OrderedDict[str, tuple[Exercise, PracticeWaters]] = OrderedDict()
        self._answered: set[str] = set()

    @property
    def waters(self) -> PracticeWaters:
        """The waters, opened when first asked for."""
        if self._waters is None:
            known = None if self._knowledge is None else Knowledge.open(self._knowledge)
            self._waters = open_waters(self._charts, self.boat.draught_m, self._at, knowledge=known)
        return self._waters

    def do(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Answer one question of the page.

        Raises MoonlessError in one plain line: an unknown step, an answer that is none, a record that cannot be kept.
        """
        what = asked.get("do")
        if what == "next":
            given = read_answers(self._record)
            step = next_step(given, self._clock.now_ns())
            return self._ask(step, next_seed(given, step))
        if what == "step":
            step = str(asked.get("step"))
            return self._ask(step, next_seed(read_answers(self._record), step))
        if what == "make":
            return self._ask(str(asked.get("step")), _seed(asked.get("seed")))
        if what == "own":
            number = self.own.next(read_answers(self._record))
            return self._put(*self.own.exercise(number))
        if what == "answer":
            return self._mark(str(asked.get("id")), asked.get("answer"))
        if what == "progress":
            return {**progress_body(read_answers(self._record), self._clock.now_ns()), "own": len(self.own)}
        if what == "eye":
            return self._by_eye(str(asked.get("read")), asked.get("eye"))
        raise InputError("practice is asked for next, step, make, own, answer or progress")

    def counts(self, key: str, look: int) -> bytes:
        """Return one look of an exercise as bytes, row by row.  Raises InputError if there is none such."""
        exercise, _ = self._made.get(key, (None, None))
        if exercise is None or exercise.pictures is None or not 0 <= look < len(exercise.pictures.counts):
            raise InputError("there is no such picture now")
        return np.ascontiguousarray(exercise.pictures.counts[look]).tobytes()

    def make(self, step: str, seed: int) -> tuple[Exercise, PracticeWaters]:
        """Return a made exercise and its waters.  Raises InputError where there is none of that seed."""
        return make(step, seed, self.waters, self.boat), self.waters

    def take(self, exercise: Exercise, waters: PracticeWaters, answer: ExerciseAnswer) -> Marked:
        """Mark an answer and keep it."""
        marked = mark(exercise, answer)
        self._keep(exercise.step, exercise.seed, self.own.label(exercise.seed) or waters.name, marked)
        return marked

    def _by_eye(self, read: str, eye: Any) -> dict[str, Any]:
        """Keep what was read of an echo by day, and what the eye then saw."""
        if read not in WORDS or (eye is not None and eye not in WORDS):
            raise InputError(f"by day it is one of: {'; '.join(WORDS)}")
        marked = mark_by_eye(read, eye)
        if marked is None:
            return {"points": None, "verdict": "Not marked: the eye could not tell."}
        step = "not_charted" if eye == UNCHARTED else "boat_or_beacon"
        self._keep(step, -1, "by eye, by day", marked)
        return {"points": marked.points, "verdict": verdict(marked)}

    def _keep(self, step: str, seed: int, waters: str, marked: Marked) -> None:
        given = list(read_answers(self._record))
        given.append(
            Answered(
                self._clock.now_ns(), step, seed, waters, marked.points, marked.for_, marked.against, marked.withheld,
                marked.knowable,
            )
        )  # fmt: skip
        keep_answers(self._record, given)

    def _ask(self, step: str, seed: int) -> dict[str, Any]:
        # A seed for which these waters have no place is passed by; a few running, and the step cannot be had here.
        problem: InputError | None = None
        for number in range(seed, seed + 3):
            try:
                exercise, _ = self.make(step, number)
                break
            except InputError as found:
                problem = found
        else:
            assert problem is not None
            raise problem
        return self._put(exercise, self.waters)

    def _put(self, exercise: Exercise, waters: PracticeWaters) -> dict[str, Any]:
        key = f"{exercise.step}:{exercise.seed}"
        self._made[key] = exercise, waters
        self._made.move_to_end(key)
        self._answered.discard(key)
        while len(self._made) > _KEPT:
            self._made.popitem(last=False)
        return exercise_body(exercise, waters)

    def _mark(self, key: str, given: Any) -> dict[str, Any]:
        if key not in self._made:
            raise InputError("this exercise is over; ask for the next")
        exercise, waters = self._made[key]
        if key in self._answered:
            raise InputError("this exercise was answered already")
        if not isinstance(given, Mapping):
            raise InputError("there is no answer")
        answer = read_answer(given, exercise, waters)
        marked = self.take(exercise, waters, answer)
        self._answered.add(key)
        return marked_body(exercise, waters, answer, marked)


def _seed(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**31:
        raise InputError(f"{value!r} is not a seed: a whole number from 0")
    return value
