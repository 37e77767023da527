"""Summaries to lessons: a function of the set of summaries, whatever order they come in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from moonless.memory.lattice import key_of
from moonless.memory.summary import Run, RunSummary, Sighting
from moonless.memory.teaching import marks, steady, ways
from moonless.memory.teaching.lessons import Clutter, Lesson, Lessons, Unseen
from moonless.memory.teaching.tally import WINDS, Tally
from moonless.memory.teaching.weigh import HALF_LIFE_S, weights

# Never seen into on so many runs that were near, it is not by chance.
UNSEEN_RUNS = 3
CLUTTER_LOOKS = 10


def teach(runs: Mapping[str, Run], summaries: Iterable[RunSummary], half_life_s: float = HALF_LIFE_S) -> Lessons:
    """Return what the runs teach.

    Parameters
    ----------
    runs : every run, by number; who counts, and how much, depends on all of them
    summaries : each run once, in any order; they are taken one by one and let go again
    half_life_s : a run so much older than the newest counts half
    """
    weight, left_out = weights(runs, half_life_s)
    tally, traffic = Tally(), ways.Traffic()
    sightings: list[tuple[str, Sighting]] = []
    words: list[marks.MarkWord] = []
    moved: list[tuple[str, NDArray[np.int64]]] = []
    for one in summaries:
        number = one.run.number
        if number not in weight:
            continue
        tally.add(one, weight[number])
        traffic.add(one.cells, weight[number])
        moved.append((number, one.cells.key[one.cells.moving > 0]))
        sightings += [(number, s) for s in one.sightings]
        words += [marks.MarkWord(m, number, one.run.boat, weight[number], one.run.ends_ns) for m in one.marks]
    told = _told(sightings, weight, runs)
    looked = _Looked(tally)
    things, left = steady.find(told, looked)
    about_marks, things = marks.find(words, things)
    cells = ways.usual_cells(traffic, tally)
    usual = [*steady.anchorages(told, left, looked), *ways.find(cells, moved, tally, runs, weight)]
    proposals = [*things, *about_marks, *usual]
    return Lessons(
        tuple(sorted(proposals, key=_order)),
        cells,
        _unseen(tally),
        _clutter(tally),
        len(weight),
        len({runs[number].boat for number in weight}),
        dict(sorted(left_out.items())),
    )


_KINDS = ("thing", "mark gone", "mark moved", "anchorage", "way")


def _order(proposal: Lesson) -> tuple[object, ...]:
    return (_KINDS.index(proposal.kind), -len(proposal.runs), proposal.lat_deg, proposal.lon_deg)


class _Looked:
    """The runs that looked at a place, by its cell and what lies round it."""

    def __init__(self, tally: Tally) -> None:
        self._tally = tally

    def __call__(self, lat_deg: float, lon_deg: float) -> tuple[int, int]:
        key = key_of([lat_deg], [lon_deg])
        return int(self._tally.at("looked_weight", key)[0]), int(self._tally.at("looked_runs", key)[0])


def _told(
    sightings: list[tuple[str, Sighting]], weight: Mapping[str, int], runs: Mapping[str, Run]
) -> steady.SightingRows:
    ordered = sorted(sightings, key=lambda pair: (pair[0], pair[1].lat_deg, pair[1].lon_deg, pair[1].first_ns))
    numbers = tuple(sorted(weight))
    index = {number: k for k, number in enumerate(numbers)}
    return steady.SightingRows(
        tuple(s for _, s in ordered),
        np.array([index[number] for number, _ in ordered], dtype=np.int64),
        np.array([weight[number] for number, _ in ordered], dtype=np.int64),
        numbers,
        tuple(runs[number].boat for number in numbers),
    )


def _unseen(tally: Tally) -> tuple[Unseen, ...]:
    hidden, looked = tally.column("hidden_runs"), tally.column("looked_runs")
    rows = np.flatnonzero((hidden >= UNSEEN_RUNS) & (looked == 0)).tolist()
    return tuple(Unseen(int(tally.key[k]), int(hidden[k])) for k in rows)


def _clutter(tally: Tally) -> tuple[Clutter, ...]:
    out = []
    for wind in WINDS:
        clutter, looks = tally.column(f"clutter {wind}"), tally.column(f"looks {wind}")
        for k in np.flatnonzero((clutter > 0) & (looks >= CLUTTER_LOOKS)).tolist():
            out.append(Clutter(int(tally.key[k]), wind, int(looks[k]), round(float(clutter[k] / looks[k]), 3)))
    return tuple(out)
