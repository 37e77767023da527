"""Forty made nights over the invented waters: how much of what was planted is found, and what is told beside it.

Names: ``learned.one_boat``, ``learned.four_boats``: precision and recall after 3, 5, 10, 20 and 40 nights.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from bench.many_runs.nights import ANCHORAGES, FOUR_BOATS, GONE, MOVED, ONE_BOAT, THINGS, Aboard, night
from bench.many_runs.record import record
from bench.result import Result
from moonless.chart.library import Chart
from moonless.frames import LocalFrame, geodesic
from moonless.memory.summary import RunSummary
from moonless.memory.teaching.lessons import Lesson
from moonless.memory.teaching.teach import teach
from moonless.memory.work import ReduceJob, reduce_one
from moonless.scene.file import demo_folder
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo

NAMES = ("learned.one_boat", "learned.four_boats")
N_NIGHTS = 40
AFTER = (3, 5, 10, 20, 40)
# A thing is found where it was told this near to where it was planted; an anchorage, by its middle.
THING_M, ANCHORAGE_M = 30.0, 100.0
# The thresholds were chosen before any of these nights was drawn; the first fleet's were looked at while the program
# was written, the second's were not.
SEEDS = {"learned.one_boat": 0, "learned.four_boats": 1}
FLEETS: dict[str, tuple[Aboard, ...]] = {"learned.one_boat": ONE_BOAT, "learned.four_boats": FOUR_BOATS}


@dataclass(frozen=True, slots=True)
class Planted:
    """One difference from the chart."""

    kind: str
    name: str
    place: tuple[float, float]
    within_m: float


def planted() -> tuple[Planted, ...]:
    """Return all that differs from the chart."""
    moved = (MOVED[0][1][0] + MOVED[1][0], MOVED[0][1][1] + MOVED[1][1])
    return (
        *(Planted("thing", "", place, THING_M) for _, _, place in THINGS),
        *(Planted("mark gone", name, place, THING_M) for name, place in GONE),
        Planted("mark moved", MOVED[0][0], moved, THING_M),
        *(Planted("anchorage", "", middle, ANCHORAGE_M) for middle, _ in ANCHORAGES),
    )


def score(proposals: Sequence[Lesson], frame: LocalFrame) -> tuple[float, float, list[str]]:
    """Return (precision, recall, what was wrong): each planted thing is found once at the most.

    A way that vessels use is no change of the water and was not planted: it is neither right nor wrong here.
    """
    proposals = [one for one in proposals if one.kind != "way"]
    left = list(proposals)
    wrong: list[str] = []
    n_found = 0
    for one in planted():
        near = [
            (float(geodesic(*frame.to_geographic(*one.place), p.lat_deg, p.lon_deg)[0]), k)
            for k, p in enumerate(left)
            if p.kind == one.kind and (not one.name or p.name == one.name)
        ]
        off, k = min(near, default=(float("inf"), -1))
        if off <= one.within_m:
            n_found += 1
            left.pop(k)
        else:
            wrong.append(f"not found: {one.kind} {one.name} {one.place}")
    wrong += [
        f"not there: {p.kind} {p.name or ''} {tuple(round(v) for v in frame.to_plane(p.lat_deg, p.lon_deg))}: {p.say}"
        for p in left
    ]
    return (n_found / len(proposals) if proposals else 1.0), n_found / len(planted()), wrong


def summaries(name: str, folder: Path, chart: Chart) -> Iterator[RunSummary]:
    """Yield the summaries of a fleet's nights; nights that are in the folder already are not played again."""
    fleet = FLEETS[name]
    for number in range(N_NIGHTS):
        aboard = fleet[number % len(fleet)]
        path = folder / f"{name.split('.')[1]}-{number:02d}-{aboard.name}.mcap"
        if not path.exists():
            draft = path.with_suffix(".part")
            draft.unlink(missing_ok=True)
            record(ScenePlayer(night(number, aboard, seed=SEEDS[name])), chart, draft)
            draft.rename(path)
        outcome = reduce_one(ReduceJob(boat=aboard.name), str(path))
        if outcome.summary is None:
            raise RuntimeError(outcome.problem)
        yield outcome.summary


def growth(name: str, folder: Path) -> list[tuple[int, float, float, list[str]]]:
    """Return (nights, precision, recall, what was wrong) after each number of nights."""
    chart = Chart.open([demo_folder() / "waters.gpkg"])
    frame = open_demo().frame
    done: list[RunSummary] = []
    out = []
    for one in summaries(name, folder, chart):
        done.append(one)
        if len(done) in AFTER:
            found = teach({s.run.number: s.run for s in done}, done).proposals
            out.append((len(done), *score(found, frame)))
    return out


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield precision and recall, after each number of nights."""
    for name in names:
        with tempfile.TemporaryDirectory() as folder:
            for nights, precision, recall, _ in growth(name, Path(folder)):
                yield Result(f"{name}.precision.{nights}", precision, "of what is proposed")
                yield Result(f"{name}.recall.{nights}", recall, "of what was planted")
