"""Local knowledge: kept whole, dated, tolerant of being absent, never overwritten unread."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
import shapely
from made_charts import at, write_chart

from moonless.chart.local_knowledge import file
from moonless.chart.local_knowledge import knowledge as knowledge_module
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError, MoonlessError, SourceError

# 2030-01-01T00:00:00Z, and half a second over a whole millisecond's worth of nanoseconds.
NIGHT_NS = 1_893_456_000_000_000_000
LATER_NS = NIGHT_NS + 86_400_500_123_456


def test_nothing_is_known_where_there_is_no_file(tmp_path: Path) -> None:
    known = Knowledge.open(tmp_path / "none.gpkg")
    assert known.things == () and known.keep_outs == () and known.notes == ()
    assert known.things_around(20.0, -40.0, 1e6) == ()
    assert not (tmp_path / "none.gpkg").exists()


def test_what_is_added_is_there_when_opened_again(tmp_path: Path) -> None:
    path = tmp_path / "deeper" / "known.gpkg"
    known = Knowledge.open(path)
    thing = known.add(20.001, -40.0, "float with a rag", seen_ns=LATER_NS, kind="float", confidence=0.7, note="red")
    area = known.add_keep_out(shapely.box(-40.1, 20.0, -40.0, 20.1), "oyster ground", since_ns=NIGHT_NS)
    note = known.add_note(20.0, -40.0, "set across the channel on the ebb", written_ns=NIGHT_NS)
    again = Knowledge.open(path)
    assert again.things == (thing,) and again.notes == (note,)
    assert again.keep_outs[0].number == area.number
    assert shapely.equals(again.keep_outs[0].outline_lonlat, area.outline_lonlat)
    assert len({thing.number, area.number, note.number}) == 3
    assert thing.first_seen_ns // 1_000_000 == LATER_NS // 1_000_000
    assert again.things[0].confidence == 0.7
    assert list(path.parent.iterdir()) == [path]


def test_unknown_confidence_stays_unknown(tmp_path: Path) -> None:
    known = Knowledge.open(tmp_path / "k.gpkg")
    known.add(20.0, -40.0, "post", seen_ns=NIGHT_NS)
    assert Knowledge.open(tmp_path / "k.gpkg").things[0].confidence is None


def test_seen_again_and_updated(tmp_path: Path) -> None:
    known = Knowledge.open(tmp_path / "k.gpkg")
    number = known.add(20.0, -40.0, "post", seen_ns=NIGHT_NS, confidence=0.5).number
    known.seen_again(number, seen_ns=LATER_NS, lat_deg=20.0001, confidence=0.8)
    known.seen_again(number, seen_ns=NIGHT_NS - 1_000_000)
    known.update(number, words="broken post", kind="pile")
    (thing,) = Knowledge.open(tmp_path / "k.gpkg").things
    assert (thing.words, thing.kind, thing.times_seen, thing.confidence) == ("broken post", "pile", 3, 0.8)
    assert (thing.lat_deg, thing.lon_deg) == (20.0001, -40.0)
    assert thing.first_seen_ns == NIGHT_NS - 1_000_000
    assert thing.last_seen_ns == LATER_NS // 1_000_000 * 1_000_000


def test_numbers_are_never_given_twice(tmp_path: Path) -> None:
    path = tmp_path / "k.gpkg"
    first = Knowledge.open(path).add(20.0, -40.0, "post", seen_ns=NIGHT_NS).number
    known = Knowledge.open(path)
    known.remove(first)
    assert Knowledge.open(path).things == ()
    assert Knowledge.open(path).add(20.0, -40.0, "other post", seen_ns=NIGHT_NS).number > first


def test_around_is_by_distance_nearest_first(tmp_path: Path) -> None:
    known = Knowledge.open(tmp_path / "k.gpkg")
    # A minute of latitude at 20 degrees is about 1845 m.
    known.add(20.0 + 2 / 60, -40.0, "two minutes off", seen_ns=NIGHT_NS)
    known.add(20.0 + 1 / 60, -40.0, "one minute off", seen_ns=NIGHT_NS)
    known.add(21.0, -40.0, "far", seen_ns=NIGHT_NS)
    assert [t.words for t in known.things_around(20.0, -40.0, 4000.0)] == ["one minute off", "two minutes off"]
    assert [t.words for t in known.things_around(20.0, -40.0, 1900.0)] == ["one minute off"]
    known.add_keep_out(shapely.box(-40.01, 20.01, -39.99, 20.02), "ground", since_ns=NIGHT_NS)
    assert known.keep_outs_around(20.0, -40.0, 1000.0) == ()
    assert len(known.keep_outs_around(20.0, -40.0, 1200.0)) == 1
    assert len(known.keep_outs_around(20.015, -40.0, 1.0)) == 1


def test_usual_water_is_kept_and_brought_up_to_date_and_an_older_file_has_none(tmp_path: Path) -> None:
    path = tmp_path / "k.gpkg"
    known = Knowledge.open(path)
    known.add(20.0, -40.0, "post", seen_ns=NIGHT_NS)
    box = shapely.box(-40.01, 20.01, -39.99, 20.02)
    water = known.put_usual(box, "anchorage", "boats anchor here", per_km2=40.0, seen_ns=NIGHT_NS, note="told")
    known.put_usual(box, "way", "vessels run here", per_km2=3.0, seen_ns=NIGHT_NS)
    known.put_usual(box, "anchorage", "boats anchor here", per_km2=30.0, seen_ns=LATER_NS, number=water.number)
    again = Knowledge.open(path)
    assert [(u.number, u.kind, u.per_km2) for u in again.usual] == [(2, "anchorage", 30.0), (3, "way", 3.0)]
    assert shapely.equals(again.usual[0].outline_lonlat, box)
    assert again.usual_around(20.0, -40.0, 1000.0) == () and len(again.usual_around(20.0, -40.0, 1200.0)) == 2
    again.remove(2)
    assert [u.kind for u in Knowledge.open(path).usual] == ["way"]
    with pytest.raises(InputError, match="must be an area"):
        again.put_usual(shapely.Point(-40.0, 20.0), "way", "x", per_km2=1.0, seen_ns=NIGHT_NS)
    with pytest.raises(InputError, match="no number of boats"):
        again.put_usual(box, "way", "x", per_km2=float("nan"), seen_ns=NIGHT_NS)
    with pytest.raises(InputError, match="no usual water numbered 1"):
        again.put_usual(box, "way", "x", per_km2=1.0, seen_ns=NIGHT_NS, number=1)
    # A file from before it was kept has no such layer.
    with sqlite3.connect(path) as file:
        file.execute("DROP TABLE usual")
        file.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = 'usual'")
        file.execute("DELETE FROM gpkg_contents WHERE table_name = 'usual'")
    assert Knowledge.open(path).usual == () and len(Knowledge.open(path).things) == 1


def test_what_cannot_be_used_is_refused(tmp_path: Path) -> None:
    known = Knowledge.open(tmp_path / "k.gpkg")
    with pytest.raises(InputError, match="not a place on earth"):
        known.add(95.0, 0.0, "post", seen_ns=NIGHT_NS)
    with pytest.raises(InputError, match="nothing was said"):
        known.add(20.0, 0.0, "  ", seen_ns=NIGHT_NS)
    with pytest.raises(InputError, match=r"confidence 1\.5 must lie"):
        known.add(20.0, 0.0, "post", seen_ns=NIGHT_NS, confidence=1.5)
    with pytest.raises(InputError, match="one polygon"):
        known.add_keep_out(shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)]), "knot", since_ns=NIGHT_NS)
    with pytest.raises(InputError, match="nothing numbered 7"):
        known.remove(7)
    with pytest.raises(InputError, match="no thing numbered 7"):
        known.update(7, words="x")
    assert not (tmp_path / "k.gpkg").exists()


@pytest.mark.parametrize("kind", ["words", "other"])
def test_a_file_that_is_not_ours_is_refused_and_left_alone(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "k.gpkg"
    if kind == "words":
        path.write_text("these are words")
    else:
        write_chart(path, {"PILPNT": [(at(0, 0), {})]})
    before = path.read_bytes()
    with pytest.raises(SourceError, match=r"k\.gpkg"):
        Knowledge.open(path)
    assert path.read_bytes() == before


def test_a_failed_write_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "k.gpkg"
    known = Knowledge.open(path)
    known.add(20.0, -40.0, "post", seen_ns=NIGHT_NS)
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise SourceError("the disk is full")

    monkeypatch.setattr(knowledge_module, "write_contents", full)
    for change in (
        lambda: known.add(20.0, -40.0, "other", seen_ns=NIGHT_NS),
        lambda: known.update(1, words="changed"),
        lambda: known.remove(1),
    ):
        with pytest.raises(MoonlessError, match="full"):
            change()
    assert [t.words for t in known.things] == ["post"]
    assert path.read_bytes() == before


def test_a_file_whose_notes_have_no_word_of_where_they_are_from_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "known.gpkg"
    with monkeypatch.context() as before:
        # As such files were written: the layer's columns without the last.
        before.setitem(file._COLUMNS, "notes", file._COLUMNS["notes"][:-1])
        Knowledge(path).add_note(20.0, -40.0, "set across the channel", written_ns=NIGHT_NS, note="lost")
    (note,) = Knowledge.open(path).notes
    assert (note.words, note.note) == ("set across the channel", "")
    kept = Knowledge.open(path).add_note(20.0, -41.0, "gone", written_ns=NIGHT_NS, note="learned from runs")
    assert Knowledge.open(path).notes == (note, kept)
