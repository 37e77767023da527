"""What is held of each step: a Beta posterior with its interval, and when it wants to be practised again.

Everything is worked out from the answers given, oldest first: the record is the only state there is.

The posterior begins flat, Beta(1, 1).  Each answer adds what it says for and against the skill (`scoring`) after what
went before has faded by a twentieth, so that the last twenty or so answers count: a learner moves, and old failures
must not hold him back, nor old successes flatter him.  The interval is the middle 90 % of the posterior.

Repetition is the open FSRS method through the library ``fsrs``: one card a step, rated by the points of each answer.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from fsrs import Card, Rating, Scheduler
from scipy import special

from moonless.practice.ladder import LADDER, STEPS, Step
from moonless.units import NS_PER_S, ns_to_utc

# What is left of the older evidence at each answer.  design/practice/fade.py weighs the lag behind a learner who
# improves against the width of the interval.
FADE = 0.95
# The lower end of the interval from which a step counts as held.
HELD = 0.7
# So sure of one step opens the next: what it would be worth on the mean.
OPENS, OPENS_AFTER = 0.6, 4.0
_AGAIN, _HARD = 0.4, 0.7
_SITTING_NS = 2 * 3600 * NS_PER_S
# Fuzz is off: the same answers give the same dates.
_SCHEDULER = Scheduler(enable_fuzzing=False)


@dataclass(frozen=True, slots=True)
class Answered:
    """One answer, as it is kept."""

    time_ns: int
    step: str
    seed: int
    waters: str
    points: float
    for_: float
    against: float
    withheld: bool
    knowable: float


@dataclass(frozen=True, slots=True)
class Mastery:
    """What is known of one step at a moment."""

    step: Step
    answers: int
    mean: float  # of the posterior
    low: float  # 5 %
    high: float  # 95 %
    due: datetime | None  # None: never practised
    recall: float  # FSRS's chance that it would come right now; 0 where never practised
    is_due: bool

    @property
    def is_held(self) -> bool:
        """Whether it is known well enough, with what is not known of it counted against it."""
        return self.low >= HELD

    @property
    def word(self) -> str:
        """One word for where it stands."""
        if self.answers == 0:
            return "new"
        if not self.is_held:
            return "begun"
        return "fading" if self.is_due else "held"


def interval(for_: float, against: float) -> tuple[float, float, float]:
    """Return (mean, 5 %, 95 %) of the posterior Beta(1 + for, 1 + against)."""
    a, b = 1.0 + for_, 1.0 + against
    return a / (a + b), float(special.betaincinv(a, b, 0.05)), float(special.betaincinv(a, b, 0.95))


def rating_of(points: float) -> Rating:
    """Return how an answer went in the words of FSRS; "easy" is never said for the learner."""
    return Rating.Again if points < _AGAIN else Rating.Hard if points < _HARD else Rating.Good


def held(answers: Iterable[Answered], now_ns: int) -> dict[str, Mastery]:
    """Return what is held of every step at a moment, in the ladder's order; answers of other steps are passed over."""
    now = ns_to_utc(now_ns)
    by_step: dict[str, list[Answered]] = {step.key: [] for step in LADDER}
    for one in sorted(answers, key=lambda one: one.time_ns):
        if one.step in by_step:
            by_step[one.step].append(one)
    return {key: _held(STEPS[key], given, now) for key, given in by_step.items()}


def _held(step: Step, given: list[Answered], now: datetime) -> Mastery:
    for_ = against = 0.0
    # Without a number of its own a card would take one from the clock.
    card = Card(card_id=zlib.crc32(step.key.encode()), due=now)
    for one in given:
        for_, against = FADE * for_ + one.for_, FADE * against + one.against
        card, _ = _SCHEDULER.review_card(card, rating_of(one.points), ns_to_utc(one.time_ns))
    mean, low, high = interval(for_, against)
    if not given:
        return Mastery(step, 0, mean, low, high, None, 0.0, False)
    recall = float(_SCHEDULER.get_card_retrievability(card, now))
    return Mastery(step, len(given), mean, low, high, card.due, recall, card.due <= now)


def opened(state: Mapping[str, Mastery]) -> list[str]:
    """Return the steps that are open: all that were begun, and the first of those that wait on the one before."""
    out: list[str] = []
    for step in LADDER:
        now = state[step.key]
        if now.answers == 0 and out and not _opens(state[out[-1]]):
            break
        out.append(step.key)
    return out


def _opens(before: Mastery) -> bool:
    return before.answers >= OPENS_AFTER and before.mean >= OPENS


def next_step(answers: Iterable[Answered], now_ns: int) -> str:
    """Return what to practise now: what is due and fades most, else what is new, else what is weakest."""
    given = sorted(answers, key=lambda one: one.time_ns)
    state = held(given, now_ns)
    open_steps = opened(state)
    # Three of a kind running teach no more than two, at one sitting.
    last = [one.step for one in given[-2:] if now_ns - one.time_ns < _SITTING_NS]
    free = [key for key in open_steps if last != [key, key]] or open_steps
    due = [key for key in free if state[key].is_due]
    if due:
        return min(due, key=lambda key: state[key].recall)
    begun = [key for key in free if state[key].answers and not state[key].is_held]
    new = [key for key in free if not state[key].answers]
    if new and all(_opens(state[key]) for key in begun):
        return new[0]
    return min(begun or free, key=lambda key: state[key].low)


def next_seed(answers: Iterable[Answered], step: str) -> int:
    """Return the seed that was not asked yet: each exercise comes once."""
    return max((one.seed for one in answers if one.step == step), default=-1) + 1


def hours_until(due: datetime, now_ns: int) -> float:
    """Return hours from now; negative when past."""
    return due.timestamp() / 3600.0 - now_ns / NS_PER_S / 3600.0 if math.isfinite(due.timestamp()) else math.inf
