"""The kept index: built once, whole or not at all, never trusted when damaged."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import shapely

from moonless.chart import index as index_module
from moonless.chart.index import build, load, open_index, save, source_hash
from moonless.chart.source import read_source


def test_what_is_kept_is_what_was_read(waters_file: Path, tmp_path: Path) -> None:
    fresh = build(read_source(waters_file))
    save(fresh, tmp_path / "kept.npz")
    kept = load(tmp_path / "kept.npz", waters_file)
    assert kept is not None
    assert len(kept) == len(fresh) > 20
    assert kept.cell.scale == 12000 and kept.cell.issued == "2030-01-05"
    assert shapely.equals_exact(kept.cell.coverage_lonlat, fresh.cell.coverage_lonlat, 0.0)
    rows = np.arange(len(fresh))
    assert [kept.row(int(i)) for i in rows] == [fresh.row(int(i)) for i in rows]
    spatial = np.flatnonzero(~np.isnan(fresh.bounds[:, 0]))
    assert shapely.equals_exact(kept.shapes(spatial), fresh.shapes(spatial), 0.0).all()
    assert (kept.classes[kept.class_of] == fresh.classes[fresh.class_of]).all()


def test_the_second_opening_does_not_read_the_source(
    waters_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[tuple[str, float]] = []
    open_index(waters_file, tmp_path, lambda name, done: told.append((name, done)))
    assert told[-1] == ("cays", 1.0) and len(told) > 3
    monkeypatch.setattr(index_module, "read_source", None)
    assert len(open_index(waters_file, tmp_path)) > 20
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize("damage", ["cut", "flipped", "empty", "words"])
def test_a_damaged_index_is_rebuilt(waters_file: Path, tmp_path: Path, damage: str) -> None:
    whole = open_index(waters_file, tmp_path)
    (kept,) = tmp_path.glob("*.npz")
    data = bytearray(kept.read_bytes())
    if damage == "cut":
        data = data[: len(data) // 2]
    elif damage == "flipped":
        for position in range(len(data) // 3, 2 * len(data) // 3):
            data[position] ^= 0x55
    elif damage == "empty":
        data = bytearray()
    else:
        data = bytearray(b"not an index")
    kept.write_bytes(data)
    assert load(kept, waters_file) is None
    assert len(open_index(waters_file, tmp_path)) == len(whole)
    assert load(kept, waters_file) is not None


def test_a_changed_chart_does_not_meet_its_old_index(waters_file: Path, tmp_path: Path) -> None:
    copy = tmp_path / "cays.gpkg"
    shutil.copy(waters_file, copy)
    before = source_hash(copy)
    assert before == source_hash(waters_file)
    with copy.open("ab") as stream:
        stream.write(b"\0")
    assert source_hash(copy) != before


def test_an_update_beside_a_cell_counts(tmp_path: Path) -> None:
    cell = tmp_path / "CELL.000"
    cell.write_bytes(b"base")
    before = source_hash(cell)
    (tmp_path / "CELL.001").write_bytes(b"update")
    assert source_hash(cell) != before


def test_a_new_format_does_not_meet_an_old_index(waters_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = source_hash(waters_file)
    monkeypatch.setattr(index_module, "FORMAT", index_module.FORMAT + 1)
    assert source_hash(waters_file) != before


def test_a_cache_that_cannot_be_written_costs_only_time(waters_file: Path, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way of a folder")
    opened = open_index(waters_file, blocked / "cache")
    assert len(opened) > 20
    assert any("cannot be kept" in text for text in opened.warnings)
