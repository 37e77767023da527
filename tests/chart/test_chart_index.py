"""The kept index: built once, whole or not at all, never trusted when damaged."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import shapely

from moonless.chart import index as index_module
from moonless.chart.index import CellIndex, build, load_body, load_head, open_index, save, source_hash
from moonless.chart.s57.source import read_source
from moonless.errors import ChartError


def test_what_is_kept_is_what_was_read(waters_file: Path, tmp_path: Path) -> None:
    head, body = build(read_source(waters_file))
    save(head, body, tmp_path / "kept.npz")
    kept_head, kept_body = load_head(tmp_path / "kept.npz", waters_file), load_body(tmp_path / "kept.npz")
    assert kept_head is not None and kept_body is not None
    assert kept_head.cell.scale == 12000 and kept_head.cell.issued == "2030-01-05"
    assert kept_head.counts == head.counts and kept_head.warnings == head.warnings
    assert shapely.equals_exact(kept_head.cell.coverage_lonlat, head.cell.coverage_lonlat, 0.0)
    fresh, kept = CellIndex(head, body), CellIndex(kept_head, kept_body)
    assert len(kept) == len(fresh) > 20
    rows = np.arange(len(fresh))
    assert [kept.row(int(i)) for i in rows] == [fresh.row(int(i)) for i in rows]
    spatial = np.flatnonzero(~np.isnan(body.bounds[:, 0]))
    assert shapely.equals_exact(kept.shapes(spatial), fresh.shapes(spatial), 0.0).all()
    assert (kept.objects(rows) == fresh.objects(rows)).all()


def test_the_second_opening_does_not_read_the_source(
    waters_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[tuple[str, float]] = []
    open_index(waters_file, tmp_path, lambda name, done: told.append((name, done)))
    assert told[-1] == ("cays", 1.0) and len(told) > 3
    monkeypatch.setattr(index_module, "read_apart", None)
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
    assert load_body(kept) is None
    # Noticed when opened, or when first asked; either way whole again.
    assert len(open_index(waters_file, tmp_path)) == len(whole)
    assert load_body(kept) is not None


def test_opening_reads_no_features_and_asking_does(
    waters_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_index(waters_file, tmp_path)
    monkeypatch.setattr(index_module, "load_body", lambda kept: pytest.fail("features were read"))
    index = open_index(waters_file, tmp_path)
    assert index.cell.name == "cays" and index.counts["LIGHTS"] == 1
    with pytest.raises(pytest.fail.Exception):
        len(index)


def test_a_damaged_index_whose_source_has_gone_is_an_error(waters_file: Path, tmp_path: Path) -> None:
    copy = tmp_path / "cays.gpkg"
    shutil.copy(waters_file, copy)
    open_index(copy, tmp_path)
    (kept,) = tmp_path.glob("*.npz")
    index = open_index(copy, tmp_path)
    kept.write_bytes(b"")
    copy.unlink()
    with pytest.raises(ChartError, match=r"cays\.gpkg"):
        len(index)


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
