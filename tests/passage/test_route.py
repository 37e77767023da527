"""Routes in and out of GPX."""

from __future__ import annotations

from pathlib import Path

import pytest

from moonless.errors import InputError, SourceError
from moonless.passage.way.route import Route, Waypoint, read_gpx, to_gpx

ROUTE = Route("Home & dry", (Waypoint("A", 10.0, -140.0), Waypoint("B", 10.02, -140.01), Waypoint("C", 10.03, -139.99)))


def test_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "r.gpx"
    path.write_text(to_gpx(ROUTE, [0, 10**9, 2 * 10**9]))
    assert read_gpx(path).waypoints == ROUTE.waypoints
    assert read_gpx(path).name == "Home & dry"


def test_namespace_and_version() -> None:
    # GPX 1.1 schema (topografix.com/GPX/1/1): root gpx with version and creator, rte of rtept with lat and lon.
    text = to_gpx(ROUTE)
    assert 'xmlns="http://www.topografix.com/GPX/1/1"' in text and 'version="1.1"' in text


def test_track_serves_where_there_is_no_route(tmp_path: Path) -> None:
    path = tmp_path / "t.gpx"
    path.write_text(
        '<gpx version="1.1" creator="t"><trk><name>T</name><trkseg><trkpt lat="1" lon="2"/><trkpt lat="1.1" lon="2"/>'
        "</trkseg></trk></gpx>"
    )
    assert [w.name for w in read_gpx(path).waypoints] == ["WP1", "WP2"]


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("<gpx", "is not GPX"),
        ("<kml/>", "root is 'kml'"),
        ("<gpx/>", "neither a route nor a track"),
        ('<gpx><rte><rtept lat="95" lon="0"/></rte></gpx>', "not a place on earth"),
        ('<gpx><rte><rtept lat="x" lon="0"/></rte></gpx>', "point 1 has no position"),
        ('<gpx><rte><rtept lat="1" lon="0"/></rte></gpx>', "two are the least"),
        ('<gpx><rte><rtept lat="1" lon="0"/><rtept lat="1" lon="0"/></rte></gpx>', "has no length"),
        ('<!DOCTYPE x [<!ENTITY a "b">]><gpx/>', "document type"),
    ],
)
def test_files_that_cannot_be_used(tmp_path: Path, text: str, phrase: str) -> None:
    path = tmp_path / "bad.gpx"
    path.write_text(text)
    with pytest.raises((InputError, SourceError), match=phrase):
        read_gpx(path)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        read_gpx(tmp_path / "none.gpx")


def test_back_again() -> None:
    assert ROUTE.reversed().length_m == pytest.approx(ROUTE.length_m)
    assert ROUTE.reversed().waypoints[0].name == "C"


POINTS = '<rte><rtept lat="1" lon="2"/><rtept lat="1.1" lon="2"/></rte></gpx>'


@pytest.mark.parametrize("encoding", ["klingon-8", "utf-7", "shift_jis", "idna", "hex"])
def test_an_encoding_that_cannot_be_used_is_one_line(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "r.gpx"
    path.write_bytes(f'<?xml version="1.0" encoding="{encoding}"?><gpx>{POINTS}'.encode())
    with pytest.raises(SourceError, match="is not GPX"):
        read_gpx(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_document_type_is_refused_in_every_encoding(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "r.gpx"
    bomb = '<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><gpx><name>&b;</name>'
    path.write_bytes((f'<?xml version="1.0" encoding="{encoding}"?>' + bomb + POINTS).encode(encoding))
    with pytest.raises(SourceError, match="carries a document type"):
        read_gpx(path)


def test_utf_16_is_read(tmp_path: Path) -> None:
    # XML 1.0, 2.2: all processors must accept UTF-8 and UTF-16.
    path = tmp_path / "r.gpx"
    path.write_bytes(('<?xml version="1.0" encoding="utf-16"?><gpx>' + POINTS).encode("utf-16"))
    assert len(read_gpx(path).waypoints) == 2
