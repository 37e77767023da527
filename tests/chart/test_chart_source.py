"""Sources read whole, or refused in one plain line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyogrio.raw
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from made_charts import at, box, write_chart

from moonless.chart.index import source_hash
from moonless.chart.library import Chart
from moonless.chart.s57.iso8211 import EDGE, records_of
from moonless.chart.s57.source import UNKNOWN_SCALE, SourceFeatures, _read_shapes, read_source
from moonless.errors import ChartError


def _record(number: int, octets: int, leader: str = " D") -> bytes:
    """Return an ISO 8211 record of two fields as S-57 has them: its number, and an edge's name with octets after it."""
    fields = [number.to_bytes(2, "little") + b"\x1e"]
    fields.append(bytes([EDGE]) + number.to_bytes(4, "little") + b"\x1d" * octets + b"\x1e")
    entries, place = b"", 0
    for tag, one in zip((b"0001", b"VRID"), fields, strict=True):
        entries += tag + b"%04d%05d" % (len(one), place)
        place += len(one)
    base = 24 + len(entries) + 1
    head = f"{base + place:05d}{leader:2}".encode().ljust(12) + b"%05d" % base + b"   4504"
    return head + entries + b"\x1e" + b"".join(fields)


def _records(lengths: list[int]) -> bytes:
    return b"".join(_record(i, length, "3L" if i == 0 else " D") for i, length in enumerate(lengths))


@given(st.lists(st.integers(0, 200), min_size=1, max_size=8))
def test_whole_records_are_counted(lengths: list[int]) -> None:
    assert records_of(_records(lengths), Path("a.000")) == {EDGE: len(lengths) - 1} or len(lengths) == 1


@given(st.lists(st.integers(0, 200), min_size=1, max_size=8), st.data())
def test_any_cut_inside_a_record_is_seen(lengths: list[int], data: st.DataObject) -> None:
    whole = _records(lengths)
    ends = {len(_records(lengths[:i])) for i in range(1, len(lengths) + 1)}
    cut = data.draw(st.integers(1, len(whole) - 1).filter(lambda n: n not in ends))
    with pytest.raises(ChartError, match=r"^a\.000: "):
        records_of(whole[:cut], Path("a.000"))


@given(st.integers(0, 23))
def test_octets_lost_inside_a_field_are_seen(at: int) -> None:
    # The record's length is put right, as of one who wrote the file anew: its directory still says where fields end.
    whole = _record(1, 30)
    short = whole[: len(whole) - 25 + at] + whole[len(whole) - 24 + at :]
    short = b"%05d" % len(short) + short[5:]
    with pytest.raises(ChartError, match="fields are not where it says"):
        records_of(_record(0, 3, "3L") + short, Path("a.000"))


def test_a_record_that_comes_twice_is_seen_in_a_base_file_and_is_right_in_an_update() -> None:
    twice = _record(0, 3, "3L") + _record(1, 3) + _record(1, 3)
    with pytest.raises(ChartError, match="comes twice"):
        records_of(twice, Path("a.000"))
    assert records_of(twice, Path("a.001"), is_update=True) == {EDGE: 2}


@pytest.mark.parametrize("data", [b"", b"GIF89a" * 10, b"00010 D" + b" " * 40])
def test_what_is_no_cell_is_refused(data: bytes) -> None:
    with pytest.raises(ChartError, match=r"^a\.000: .*(empty|not an S-57|damaged)"):
        records_of(data, Path("a.000"))


def test_a_geopackage_is_read_whole(waters_file: Path) -> None:
    source = read_source(waters_file)
    assert (source.scale, source.edition, source.update, source.issued) == (12000, 2, 1, "2030-01-05")
    assert source.counts["LIGHTS"] == 1
    assert source.counts["DEPARE"] == 3
    assert source.warnings == []
    colours = [row["COLOUR"] for name, row in zip(source.objects, source.rows, strict=True) if name == "BOYSPP"]
    assert colours == [[6]]


def test_soundings_are_split_with_their_depths(waters_file: Path) -> None:
    source = read_source(waters_file)
    rows = [
        (row["DEPTH"], shape)
        for name, row, shape in zip(source.objects, source.rows, source.shapes, strict=True)
        if name == "SOUNDG"
    ]
    assert [depth for depth, _ in rows] == [6.2, 4.1]
    assert all(shape.geom_type == "Point" and not shape.has_z for _, shape in rows)
    names = [i for name, i in zip(source.objects, source.identifiers, strict=True) if name == "SOUNDG"]
    assert len(set(names)) == 2


def test_multi_parts_of_one_become_single(tmp_path: Path) -> None:
    layers = {
        "M_COVR": [(shapely.MultiPolygon([box(-100, -100, 100, 100)]), {"CATCOV": 1})],
        "PILPNT": [(shapely.MultiPoint([at(0, 0)]), {})],
    }
    source = read_source(write_chart(tmp_path / "multi.gpkg", layers))
    assert {shape.geom_type for shape in source.shapes} == {"Polygon", "Point"}


def test_a_source_without_scale_is_warned_of(tmp_path: Path) -> None:
    path = write_chart(tmp_path / "bare.gpkg", {"M_COVR": [(box(-100, -100, 100, 100), {"CATCOV": 1})]})
    source = read_source(path)
    assert source.scale == UNKNOWN_SCALE
    assert any("does not state its scale" in text for text in source.warnings)


def test_the_scale_may_stand_in_m_cscl(tmp_path: Path) -> None:
    layers = {
        "M_COVR": [(box(-100, -100, 100, 100), {"CATCOV": 1})],
        "M_CSCL": [(box(-100, -100, 100, 100), {"CSCALE": 25000})],
    }
    assert read_source(write_chart(tmp_path / "cscl.gpkg", layers)).scale == 25000


def test_other_plane_coordinates_are_brought_to_wgs84(tmp_path: Path) -> None:
    path = tmp_path / "mercator.gpkg"
    # One degree of longitude on the equator is a * pi / 180 metres in EPSG:3857.
    metres = 6_378_137.0 * np.pi / 180.0
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb(np.array([shapely.box(0, 0, metres, metres)], dtype=object)),
        field_data=[np.array([1.0])],
        fields=np.array(["CATCOV"], dtype=object),
        layer="M_COVR",
        driver="GPKG",
        geometry_type="Polygon",
        crs="EPSG:3857",
    )
    west, south, east, _ = read_source(path).coverage().bounds
    assert (west, south) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert east == pytest.approx(1.0, abs=1e-9)


def test_degrees_of_another_datum_are_brought_to_wgs84(tmp_path: Path) -> None:
    # EPSG transformation 1133, ED50 to WGS 84 (1), three shifts of -87, -98, -121 m (from memory of the EPSG register):
    # by hand over geocentric coordinates from the International 1924 ellipsoid (a 6 378 388 m, 1/f 297) the corner
    # 58 N 7 E comes to 57.999434 N 6.998534 E, 63 m south and 86 m west.
    path = tmp_path / "ed50.gpkg"
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb(np.array([shapely.box(7.0, 58.0, 7.1, 58.1)], dtype=object)),
        field_data=[np.array([1.0])],
        fields=np.array(["CATCOV"], dtype=object),
        layer="M_COVR",
        driver="GPKG",
        geometry_type="Polygon",
        crs="EPSG:4230",
    )
    west, south, _, _ = read_source(path).coverage().bounds
    # Published shifts differ by area by some tens of metres.
    assert west == pytest.approx(6.998534, abs=0.0005)
    assert south == pytest.approx(57.999434, abs=0.0003)


@pytest.mark.parametrize(
    ("head", "phrase"),
    [
        # S-57 edition 3.1, appendix A: HORDAT 3 is European 1950; DUNITS 3 is fathoms and feet.
        ({"DSPM_HDAT": 3}, r"not on WGS 84 \(DSPM_HDAT=3"),
        ({"DSPM_DUNI": 3}, "depths in a unit other than metres"),
        ({"DSPM_HUNI": 2}, "heights in a unit other than metres"),
    ],
)
def test_other_measures_are_refused(tmp_path: Path, head: dict[str, int], phrase: str) -> None:
    layers = {"DSID": [(None, {"DSPM_CSCL": 12000, **head})], "M_COVR": [(box(-9, -9, 9, 9), {"CATCOV": 1})]}
    with pytest.raises(ChartError, match=phrase):
        read_source(write_chart(tmp_path / "other.gpkg", layers))


@pytest.mark.parametrize(("code", "datum"), [(12, "MLLW"), (23, "LAT"), (24, ""), (None, "")])
def test_what_depths_stand_below(tmp_path: Path, code: int | None, datum: str) -> None:
    # S-57 edition 3.1, appendix A, VERDAT: 12 mean lower low water, 23 lowest astronomical tide, 24 a local datum.
    head = {"DSPM_CSCL": 12000} if code is None else {"DSPM_CSCL": 12000, "DSPM_SDAT": code}
    layers = {"DSID": [(None, head)], "M_COVR": [(box(-9, -9, 9, 9), {"CATCOV": 1})]}
    path = write_chart(tmp_path / "datum.gpkg", layers)
    for _ in range(2):  # made, and kept
        assert Chart.open([path], cache_dir=tmp_path / "c").cells[0].sounding_datum == datum


def test_refusals_name_the_file(tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(ChartError, match=r"empty: holds no chart cell"):
        Chart.open([empty], cache_dir=tmp_path / "c")
    with pytest.raises(ChartError, match=r"nowhere: there is no such file or folder"):
        Chart.open([tmp_path / "nowhere"], cache_dir=tmp_path / "c")
    with pytest.raises(ChartError, match="no chart was given"):
        Chart.open([], cache_dir=tmp_path / "c")
    text = tmp_path / "words.gpkg"
    text.write_text("these are words")
    with pytest.raises(ChartError, match=r"words\.gpkg: is no chart") as caught:
        Chart.open([text], cache_dir=tmp_path / "c")
    assert "\n" not in str(caught.value)
    roads = write_chart(tmp_path / "roads.gpkg", {"roads": [(at(0, 0), {})]})
    with pytest.raises(ChartError, match=r"roads\.gpkg: no layer is named as an S-57 object class"):
        Chart.open([roads], cache_dir=tmp_path / "c")
    bare = write_chart(tmp_path / "uncovered.gpkg", {"PILPNT": [(at(0, 0), {})]})
    with pytest.raises(ChartError, match=r"uncovered\.gpkg: has no M_COVR"):
        Chart.open([bare], cache_dir=tmp_path / "c")
    update = tmp_path / "CELL.001"
    update.write_bytes(b"")
    with pytest.raises(ChartError, match=r"CELL\.001: is an update"):
        Chart.open([update], cache_dir=tmp_path / "c")


def test_a_folder_that_is_itself_a_source(tmp_path: Path) -> None:
    folder = tmp_path / "shapes"
    folder.mkdir()
    for name, shape in (("M_COVR", box(-100, -100, 100, 100)), ("BCNSPP", at(10, 20))):
        pyogrio.raw.write(
            folder / f"{name}.shp",
            geometry=shapely.to_wkb(np.array([shape], dtype=object)),
            field_data=[np.array([1.0]), np.array(["3,1"], dtype=object)],
            fields=np.array(["CATCOV", "COLOUR"], dtype=object),
            driver="ESRI Shapefile",
            geometry_type=shape.geom_type,
            crs="EPSG:4326",
        )
    chart = Chart.open([folder], cache_dir=tmp_path / "c")
    (beacon,) = chart.around(20.0, -40.0, 500.0).features("BCNSPP")
    assert chart.cells[0].name == "shapes"
    assert beacon.attributes["COLOUR"] == [3, 1]
    before = source_hash(folder)
    (folder / "note.txt").write_text("changed")
    assert source_hash(folder) != before


def test_one_bad_source_among_good_ones_is_a_warning(waters_file: Path, tmp_path: Path) -> None:
    bad = tmp_path / "BAD.000"
    bad.write_bytes(b"00100")
    chart = Chart.open([bad, waters_file], cache_dir=tmp_path / "c")
    assert [cell.name for cell in chart.cells] == ["cays"]
    assert len(chart.warnings) == 1
    assert "BAD.000" in chart.warnings[0]


def _open_ring() -> bytes:
    # Well-known binary, from memory: a polygon's ring is its count of points, then x and y of each.
    square = shapely.to_wkb(shapely.box(0.0, 0.0, 1.0, 1.0))
    return square[:-16] + shapely.to_wkb(shapely.Point(0.2, 0.1))[-16:]


def test_a_ring_that_does_not_close_costs_neither_itself_nor_the_others() -> None:
    source = SourceFeatures("made", Path("made.000"))
    sound = shapely.box(5.0, 5.0, 6.0, 6.0)
    shapes = _read_shapes(source, "DEPARE", np.array([shapely.to_wkb(sound), _open_ring(), None], dtype=object))
    assert shapely.equals(shapes[0], sound) and shapes[2] is None
    assert 0.8 < shapely.area(shapes[1]) < 1.2 and source.warnings == [
        "made.000: DEPARE: 1 of 3 shapes are damaged; closed as they stand"
    ]


def test_bytes_that_are_no_shape_are_lost_and_told() -> None:
    source = SourceFeatures("made", Path("made.000"))
    shapes = _read_shapes(source, "LNDARE", np.array([shapely.to_wkb(shapely.Point(1, 2)), b"\x01\xff"], dtype=object))
    assert shapes[1] is None and shapely.get_x(shapes[0]) == 1.0
    assert source.warnings == ["made.000: LNDARE: 1 of 2 shapes are damaged; closed as they stand, 1 of them are lost"]
