"""Forty made nights over the invented waters: how much of what was planted is found, and what is told beside it.

Names: ``learned.one_boat``, ``learned.four_boats``: precision and recall after 3, 5, 10, 20 and 40 nights, the mean
over several fleets of nights and the least of them; how far off the things lie, how far the anchorages overlap, and how
the ways that are told stand to where vessels run.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bench.many_runs.matching import Found, match, ways
from bench.many_runs.nights import FOUR_BOATS, ONE_BOAT, Aboard, night
from bench.many_runs.record import record
from bench.result import Result
from moonless.chart.library import Chart
from moonless.memory.summary import RunSummary
from moonless.memory.teaching.teach import teach
from moonless.memory.work import ReduceJob, reduce_one
from moonless.scene.file import demo_folder
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo

NAMES = ("learned.one_boat", "learned.four_boats")
N_NIGHTS = 40
AFTER = (3, 5, 10, 20, 40)
FLEETS: dict[str, tuple[Aboard, ...]] = {"learned.one_boat": ONE_BOAT, "learned.four_boats": FOUR_BOATS}
# Seeds 0 to 3 were looked at while the program was written (the third told a moved mark as an anchorage too); these
# were not.
SEEDS = (4, 5)


@dataclass(frozen=True, slots=True)
class Grown:
    """What so many nights teach, held against what was planted."""

    nights: int
    found: Found
    ways: tuple[float | None, float]


def summaries(name: str, seed: int, folder: Path) -> Iterator[RunSummary]:
    """Yield the summaries of a fleet's nights; nights that are in the folder already are not played again."""
    fleet, chart = FLEETS[name], Chart.open([demo_folder() / "waters.gpkg"])
    for number in range(N_NIGHTS):
        aboard = fleet[number % len(fleet)]
        path = folder / f"{name.split('.')[1]}-{seed}-{number:02d}.mcap"
        if not path.exists():
            draft = path.with_suffix(".part")
            draft.unlink(missing_ok=True)
            record(ScenePlayer(night(number, aboard, seed=seed)), chart, draft)
            draft.rename(path)
        outcome = reduce_one(ReduceJob(boat=aboard.name), str(path))
        if outcome.summary is None:
            raise RuntimeError(outcome.problem)
        yield outcome.summary


def growth(name: str, seed: int, folder: Path, after: Sequence[int] = AFTER) -> list[Grown]:
    """Return what was found after each number of nights."""
    frame = open_demo().frame
    done: list[RunSummary] = []
    out = []
    for one in summaries(name, seed, folder):
        done.append(one)
        if len(done) in after:
            told = teach({s.run.number: s.run for s in done}, done).proposals
            out.append(Grown(len(done), match(told, frame), ways(told, frame)))
    return out


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield precision and recall, after each number of nights."""
    for name in names:
        with tempfile.TemporaryDirectory() as folder:
            grown = [growth(name, seed, Path(folder)) for seed in SEEDS]
        for same in zip(*grown, strict=True):
            nights = same[0].nights
            for what, of in (("precision", "of what is proposed"), ("recall", "of what was planted")):
                each = [float(getattr(one.found, what)) for one in same]
                yield Result(f"{name}.{what}.{nights}", float(np.mean(each)), of, "the least", min(each))
        last = [fleet[-1] for fleet in grown]
        yield Result(f"{name}.off", max(m for one in last for m in one.found.off_m), "metres, the furthest off")
        yield Result(
            f"{name}.overlap",
            min((m for one in last for m in one.found.overlap), default=0.0),
            "of an anchorage's area, the least",
        )
        right = [one.ways[0] for one in last if one.ways[0] is not None]
        yield Result(f"{name}.ways.right", float(np.mean(right)) if right else 0.0, "of the cells told as ways")
        yield Result(f"{name}.ways.told", float(np.mean([one.ways[1] for one in last])), "of the way vessels run")
        for seed, one in zip(SEEDS, last, strict=True):
            for words in one.found.wrong:
                print(f"{name}, seed {seed}: {words}", file=sys.stderr)
