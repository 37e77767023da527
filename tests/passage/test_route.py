"""Routes in and out of GPX."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely

from moonless.errors import InputError, SourceError
from moonless.frames import LocalFrame
from moonless.passage.way.route import LONGEST_LEG_M, MOST_LEGS, Route, Waypoint, read_gpx, thinned, to_gpx

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


@pytest.mark.parametrize("n", [1_000, 10_000])
def test_a_recorded_track_is_thinned_and_none_of_it_lies_off(n: int) -> None:
    """Every point left out, asked one by one with shapely, lies within three metres of the track that is kept."""
    turn = np.linspace(0.0, 6.0 * math.pi, n)
    frame = LocalFrame(10.0, -140.0)
    shake = np.random.default_rng(3).normal(0.0, 0.3, n)
    wide = 0.12 * n * (turn + 1.0)
    east, north = wide * np.cos(turn), wide * np.sin(turn) + shake
    lat, lon = frame.to_geographic(east, north)
    route = Route(
        "t", tuple(Waypoint(f"P{k}", float(a), float(b)) for k, (a, b) in enumerate(zip(lat, lon, strict=True)))
    )
    kept, words = thinned(route)
    assert kept.waypoints[0] == route.waypoints[0] and kept.waypoints[-1] == route.waypoints[-1]
    assert len(kept.waypoints) < n / 4 and words.startswith(f"{n} points were thinned to {len(kept.waypoints)}")
    line = shapely.LineString(
        np.column_stack(frame.to_plane(*np.array([(w.lat_deg, w.lon_deg) for w in kept.waypoints]).T))
    )
    off = shapely.distance(line, shapely.points(np.column_stack([east, north])))
    # The two lay the earth flat about places some kilometres apart.
    assert float(off.max()) < 3.1


def test_a_route_somebody_drew_is_not_thinned() -> None:
    points = tuple(Waypoint(f"P{k}", 10.0 + 0.001 * k, -140.0) for k in range(50))
    assert thinned(Route("r", points)) == (Route("r", points), "")


def test_more_legs_than_can_be_planned_are_refused_with_their_number() -> None:
    points = tuple(Waypoint(f"P{k}", 10.0 + 0.001 * (k % 2), -140.0 + 0.0001 * k) for k in range(10_000))
    with pytest.raises(InputError, match=rf"has 9999 legs; {MOST_LEGS} are the most"):
        thinned(Route("r", points))


@pytest.mark.parametrize("wrong", [70.9, -7.09, 109.1])
def test_a_wrong_sign_or_figure_ends_in_a_plain_line(wrong: float) -> None:
    with pytest.raises(InputError, match=r"leg 2 of route 'r', B \(42.3400, -70.9000\) to C .* is a sign or a figure"):
        Route("r", (Waypoint("A", 42.33, -70.9), Waypoint("B", 42.34, -70.9), Waypoint("C", 42.35, wrong)))
    assert LONGEST_LEG_M == 150 * 1852


def test_a_track_that_stands_still_now_and_then_is_a_route(tmp_path: Path) -> None:
    path = tmp_path / "t.gpx"
    points = "".join(f'<trkpt lat="{lat}" lon="2"/>' for lat in (1.0, 1.0, 1.0, 1.01, 1.01))
    path.write_text(f'<gpx version="1.1" creator="t"><trk><trkseg>{points}</trkseg></trk></gpx>')
    assert [w.lat_deg for w in read_gpx(path).waypoints] == [1.0, 1.01]
