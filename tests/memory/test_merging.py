"""Summaries may come in any order, from anybody, and twice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow
import pyarrow.parquet
import pytest
from bench.many_runs.made_summaries import Water, mark, night, run, sighting
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.errors import SourceError
from moonless.memory.columns import read_parquet, summary_of, to_parquet
from moonless.memory.store import Store
from moonless.memory.summary import Cells, RunSummary, by_number, merged
from moonless.memory.teaching.teach import teach

NIGHTS = [night(k, boat=boat) for k in range(6) for boat in ("one", "two")]
# The same run reduced twice, by different versions of the program.
AGAIN = [replace(NIGHTS[0], run=replace(NIGHTS[0].run, turns=31)), replace(NIGHTS[1], sightings=())]
POOL = [*NIGHTS, *AGAIN]
SETS = st.lists(st.sampled_from(POOL), max_size=8).map(by_number)


@given(SETS, SETS, SETS)
def test_merging_is_commutative_associative_and_idempotent(
    a: dict[str, RunSummary], b: dict[str, RunSummary], c: dict[str, RunSummary]
) -> None:
    assert merged(a, b) == merged(b, a)
    assert merged(merged(a, b), c) == merged(a, merged(b, c))
    assert merged(a, a) == a and merged(merged(a, b), b) == merged(a, b)
    assert set(merged(a, b)) == set(a) | set(b)


@settings(max_examples=20)
@given(st.permutations(NIGHTS))
def test_lessons_do_not_ask_who_came_first(order: list[RunSummary]) -> None:
    runs = {one.run.number: one.run for one in order}
    assert teach(runs, order) == teach(dict(sorted(runs.items())), NIGHTS)


def test_a_file_gives_back_what_was_put_in() -> None:
    odd = RunSummary(
        run("x", wind_speed=None, wind_from_deg=None, heading_bias_deg=None),
        (sighting(1.0, 2.0, length_m=31.5, is_vessel=True),),
        (replace(mark("Ö", 0.0, 0.0), name=None, offset_m=None),),
        Cells.none(),
    )
    back = [summary_of(row) for row in read_parquet(to_parquet([NIGHTS[0], odd]), "here")]
    assert back == [NIGHTS[0], odd]


def test_stores_put_together_hold_each_run_once(tmp_path: Path) -> None:
    mine, club = Store(str(tmp_path / "mine")), Store(str(tmp_path / "club"))
    for one in NIGHTS[:7]:
        mine.put(one)
    club.put_together(NIGHTS[4:])
    assert mine.take_in(club) == 5 and mine.take_in(club) == 0
    assert sorted(s.run.number for s in mine.summaries()) == sorted(s.run.number for s in NIGHTS)
    runs = mine.runs()
    assert teach(runs, mine.summaries()) == teach({s.run.number: s.run for s in NIGHTS}, NIGHTS)


def test_a_store_may_lie_anywhere_fsspec_reaches() -> None:
    store = Store("memory://learned")
    assert store.files() == [] and store.runs() == {}
    store.put(NIGHTS[0])
    assert list(store.summaries()) == [NIGHTS[0]]


def test_what_is_no_summary_is_refused_in_one_line(tmp_path: Path) -> None:
    store = Store(str(tmp_path))
    store.put(NIGHTS[0])
    whole = (tmp_path / store.files()[0]).read_bytes()
    (tmp_path / "cut.parquet").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(SourceError, match=r"cut\.parquet: is not a whole summary"):
        store.runs()
    (tmp_path / "cut.parquet").unlink()
    pyarrow.parquet.write_table(pyarrow.table({"number": ["x"]}), tmp_path / "another.parquet")
    with pytest.raises(SourceError, match="is not a summary of runs"):
        store.runs()


def test_another_version_is_refused_and_not_guessed_at(monkeypatch: pytest.MonkeyPatch) -> None:
    from moonless.memory import columns

    monkeypatch.setattr(columns, "VERSION", 99)
    newer = to_parquet([NIGHTS[0]])
    monkeypatch.undo()
    with pytest.raises(SourceError, match="version 99, this program reads"):
        list(read_parquet(newer, "here"))


def test_a_summary_is_small() -> None:
    # What a fleet can afford: a year of a hundred runs in the room of one photograph.
    assert len(to_parquet([night(1, Water())])) < 40_000


def test_counts_do_not_depend_on_how_runs_are_grouped() -> None:
    from moonless.memory.teaching.tally import COLUMNS, Tally

    one, parts = Tally(), Tally()
    for k, summary in enumerate(NIGHTS):
        one.add(summary, 1000 + k)
    for k, summary in reversed(list(enumerate(NIGHTS))):
        parts.add(summary, 1000 + k)
        parts.column("looked_runs")  # settles what waits
    assert np.array_equal(one.key, parts.key) or one.column("looked_runs").any()
    for name in COLUMNS:
        assert np.array_equal(one.column(name), parts.column(name)), name
