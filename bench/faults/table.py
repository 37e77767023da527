"""``python -m bench faults [WORDS...]``: each fault through the live watch, and how soon it was told.

With words only the cases whose names hold one of them; ``--page`` prints the table of ``docs/faults.md`` and nothing
else.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

from bench.faults.cases import CASES, FROM_S, TO_S, UNTIL_S, Case
from bench.faults.play import Played, Told, play
from bench.result import Result
from moonless.chart.library import Chart
from moonless.errors import InputError
from moonless.scene.story import demo_chart, open_demo

NAMES = ("faults",)
TAKES_REST = True

TURN_S = 2.5
LIMIT_S = max(2.0 * TURN_S, 3.0)
# A reading may be told this much after the moment it speaks of: what is older stands as if it were now.
OLD_S = 2.0
# A speed may wander by so much by itself from turn to turn on the demo's water; one that falls falls by half.
SPEED_KN, FALLS_TO = 3.0, 0.5


@dataclass(frozen=True, slots=True)
class Found:
    """What became of one fault."""

    case: Case
    said: str  # the fault's own words; "" where nothing was said
    after_s: float | None
    misled: int  # readings that show echoes or a speed though they must not, past the limit
    oldest_s: float  # the oldest confident reading when it was told
    goes_on: str
    back_s: float | None  # from the fault's end to the first confident reading without one
    is_right: bool

    def row(self) -> str:
        """Return the line of the table."""
        after = "" if self.after_s is None else f"{self.after_s:.1f}"
        back = "" if self.back_s is None else f"{self.back_s:.1f}"
        name = self.case.name + ("" if self.is_right else " **")
        return f"| {name} | {self.case.right} | {self.said} | {after} | {self.misled} | {self.goes_on} | {back} |"


HEAD = (
    "| fault | must | told as | after, s | misled | goes on | back after, s |\n"
    "|---|---|---|---|---|---|---|"
)  # fmt: skip


def _faults(told: Told) -> dict[str, str]:
    return {fault.what: fault.state for fault in told.reading.faults}


def _is_whole(told: Told) -> bool:
    """Whether a reading rests on the receiver's own position, all shown."""
    return told.is_confident and told.reading.own.position_from != "radar and chart"


def _speed(told: Told) -> float | None:
    return told.reading.speed.advised_kn


def judge(case: Case, played: Played) -> Found:
    """Hold what came of a run against what is right."""
    is_load = case.cost.scan_s > 1.0
    from_s = 0.0 if is_load else FROM_S
    to_s = UNTIL_S if from_s == 0.0 else TO_S
    during = [t for t in played.told if from_s < t.at_s <= to_s]
    first = next((t for t in during if any(w in _faults(t) for w in case.what)), None)
    said, after = "", None
    if first is not None:
        what = next(w for w in case.what if w in _faults(first))
        said, after = f"{what} {_faults(first)[what]}", first.at_s - from_s
    elif case.what == ("link",):
        line = next(((s, text) for s, text in played.lines if from_s < s <= to_s and "more comes than" in text), None)
        if line is not None:
            said, after = "link lost: too much", line[0] - from_s
    limit_s = case.known_s + LIMIT_S
    late = [t for t in during if t.at_s > from_s + limit_s]
    wrong = [t for t in late if (_is_whole(t) if "position" in case.what else t.is_confident)]
    oldest = max((t.at_s - t.of_s for t in played.told if t.is_confident), default=0.0)
    misled = len(wrong) if case.right == "withdraw" else 0
    if is_load:
        # What is told in time is right however busy the computer is.
        misled = sum(1 for t in played.told if t.is_confident and t.at_s - t.of_s > OLD_S)
        said = said or f"nothing: at most {oldest:.1f} s old"
    before = [v for t in played.told if from_s - 10.0 < t.at_s <= from_s and (v := _speed(t)) is not None]
    if case.right == "slow":
        wrong = [t for t in late if (v := _speed(t)) is not None and v > FALLS_TO * min(before)]
        slowed = next((t for t in during if (v := _speed(t)) is not None and v <= FALLS_TO * min(before)), None)
        misled = len(wrong)
        if slowed is not None:
            said, after = f"speed {_speed(slowed):.1f} kn for {min(before):.1f}", slowed.at_s - from_s
    if case.right == "steady":
        raised = [v for t in during if (v := _speed(t)) is not None and before and v > max(before) + SPEED_KN]
        misled = len(raised)
    back = next((t.at_s - to_s for t in played.told if t.at_s > to_s and _is_whole(t) and not _faults(t)), None)
    goes_on = _goes_on(late)
    is_told = after is not None and after <= limit_s
    if case.right == "steady":
        # Sources that disagree are told, and nothing is withdrawn for it.
        faults = [what for t in during for what, state in _faults(t).items() if state != "disagrees"]
        goes = bool(late) and sum(t.is_confident for t in late) > len(late) / 2
        is_right = misled == 0 and not faults and goes and played.failures == 0
        said = said or ", ".join(sorted({f"{w} {s}" for t in during for w, s in _faults(t).items()}))
    elif is_load:
        is_right = misled == 0 and played.failures == 0
    else:
        is_right = misled == 0 and is_told and played.failures == 0 and back is not None
    return Found(case, said, after, misled, oldest, goes_on, back, is_right)


def _goes_on(told: list[Told]) -> str:
    """Return what most of the readings of a stretch still show, past the limit."""
    if not told:
        return "nothing"
    n = len(told)
    parts = {
        "echoes": sum(bool(t.reading.echoes) for t in told),
        "speed": sum(_speed(t) is not None for t in told),
        "position": sum(t.reading.own.lat is not None for t in told),
        "heading": sum(t.reading.own.heading_deg is not None for t in told),
    }
    return ", ".join(name for name, count in parts.items() if count > n / 2) or "the line of faults"


def found_of(cases: tuple[Case, ...]) -> Iterator[Found]:
    """Play the cases one after the other."""
    scene = open_demo()
    chart = Chart.open([demo_chart()])
    for case in cases:
        yield judge(case, play(scene.boat, chart if case.has_chart else None, case.arrivals(), UNTIL_S, cost=case.cost))


def run(names: list[str], rest: list[str]) -> Iterator[Result]:
    """Print the table as it grows, then how many of the cases were right."""
    words = [word for word in rest if word != "--page"]
    cases = tuple(c for c in CASES if not words or any(word in c.name for word in words))
    if not cases:
        raise InputError(f"no fault is called {' '.join(words)!r}; they are: {', '.join(c.name for c in CASES)}")
    print(HEAD)
    n_right = 0
    for found in found_of(cases):
        n_right += found.is_right
        print(found.row(), flush=True)
    if "--page" not in rest:
        print(f"told, withdrawn and back as it must: {n_right} of {len(cases)}", file=sys.stderr)
        yield Result("faults", float(n_right), f"right of {len(cases)}")
