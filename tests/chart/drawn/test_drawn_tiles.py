"""Tiles, read back by GDAL's own reader: everything where it is, once, and no gap between neighbours."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import pytest
import shapely
from made_charts import ORIGIN, box, make_index
from numpy.typing import NDArray

from moonless.chart.drawn import what
from moonless.chart.drawn.block import Block, middle_line, suited
from moonless.chart.drawn.grid import HALF_M, Tile, pixel_m, scale_at, tiles_over, to_lonlat, zoom_of_scale
from moonless.chart.drawn.maker import TileMaker, chart_key
from moonless.chart.library import Chart

# The square that the waters of `made_charts` fill, in degrees.
BOX = shapely.bounds(box(-3000, -3000, 3000, 3000))


def read(data: bytes, tile: Tile, layer: str, folder: Path) -> tuple[NDArray[np.object_], list[dict[str, Any]]]:
    """Return the shapes (Mercator metres) and attributes of one layer, as GDAL reads them."""
    path = folder / str(tile.z) / str(tile.x) / f"{tile.y}.pbf"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    if not data or layer not in pyogrio.list_layers(path)[:, 0]:
        return np.empty(0, dtype=object), []
    meta, _, wkb, columns = pyogrio.raw.read(path, layer=layer)
    shapes = shapely.from_wkb(wkb)
    rows = [dict(zip(meta["fields"], values, strict=True)) for values in zip(*columns, strict=True)]
    return shapes, rows or [{} for _ in shapes]  # type: ignore[return-value]


def all_tiles(chart: Chart, zoom: int, layer: str, folder: Path) -> list[tuple[Any, dict[str, Any]]]:
    maker, out = TileMaker(chart), []
    for tile in tiles_over(tuple(BOX), zoom):
        shapes, rows = read(maker.make(tile), tile, layer, folder)
        out.extend(zip(shapes, rows, strict=True))
    return out


def lonlat_of(shape: Any) -> tuple[float, float]:
    lon, lat = to_lonlat(np.array([shape.x]), np.array([shape.y]))
    return float(lon[0]), float(lat[0])


def test_scales_and_zooms() -> None:
    # OGC 17-083r4, WebMercatorQuad: scale denominator of level 0, whose tiles are 256 pixels wide; ours are 512.
    assert 2.0 * scale_at(0.0, 0.0) == pytest.approx(559082264.028717, rel=1e-9)
    assert zoom_of_scale(scale_at(11.3, 42.0), 42.0) == pytest.approx(11.3)
    assert Tile(0, 0, 0).box_m() == pytest.approx((-HALF_M, -HALF_M, HALF_M, HALF_M))
    # EPSG:3857's square, as published by EPSG for the area of use's western edge.
    assert pytest.approx(20037508.342789244) == HALF_M
    assert Tile(14, 4959, 6059).parent(10) == Tile(10, 309, 378)
    assert not Tile(3, 8, 0).is_possible and not Tile(3, 0, -1).is_possible


@pytest.mark.parametrize("zoom", [10, 12, 14])
def test_marks_are_where_they_are_and_each_in_one_tile(waters: Chart, tmp_path: Path, zoom: int) -> None:
    found = all_tiles(waters, zoom, "point", tmp_path)
    marks = [(shape, row) for shape, row in found if row["k"] == "mark"]
    (beacon,) = [(s, r) for s, r in marks if r["o"] == "BCNLAT"]
    east, north = ORIGIN.to_plane(*reversed(lonlat_of(beacon[0])))
    # Half a step of the tile: 4096 across, 8192 at the last zoom.
    assert (float(east), float(north)) == pytest.approx((500.0, 0.0), abs=0.6 * pixel_m(zoom) * 512 / 4096 + 0.05)
    assert beacon[1]["n"] == "Channel Beacon 1" and beacon[1]["t"] == "Fl G 4s 5m 4M" and beacon[1]["h"] == "fixed"
    if zoom == what.MAX_ZOOM:
        local = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
        assert sorted(r["f"] for _, r in marks) == sorted(f"{m.cell}/{m.feature}" for m in local.marks)
        assert sorted(r["d"] for _, r in found if r["k"] == "sounding") == [4.1, 6.2]
        spans = {(r["n"], r["c"], r["co"]) for _, r in found if r["k"] == "bridge"}
        assert {(c, co) for _, c, co in spans if c == 4.0} == {(4.0, 30.0)}
        assert {name for name, _, _ in spans} == {"Long Bridge"}


@pytest.mark.parametrize("zoom", [6, 8, 9, 10, 11, 12, 13, 14])
def test_the_sea_floor_has_neither_gap_nor_overlap(waters: Chart, tmp_path: Path, zoom: int) -> None:
    maker = TileMaker(waters)
    for tile in tiles_over(tuple(BOX), zoom):
        shapes, rows = read(maker.make(tile), tile, "area", tmp_path)
        kind = np.array([row["k"] for row in rows])
        floor, cover = shapes[kind != "cover"], shapes[kind == "cover"]
        if not len(cover):
            continue
        # Along an edge, half a step of the tile.
        step = pixel_m(zoom) * 512 / 4096
        about = step * (shapely.length(floor).sum() + 1.0)
        whole = shapely.union_all(cover, grid_size=step / 8)
        joined = shapely.union_all(shapely.make_valid(floor), grid_size=step / 8)
        assert shapely.area(shapely.difference(whole, joined)) <= 0.5 * about
        assert shapely.area(floor).sum() - shapely.area(joined) <= 0.5 * about


def test_contours_and_shore_are_the_areas_edges(waters: Chart, tmp_path: Path) -> None:
    found = all_tiles(waters, 14, "line", tmp_path)
    contours = {(row["a"], row["b"]) for _, row in found if row["k"] == "contour"}
    # 2 to 5 m beside 5 to 10 m; beside what dries; and beside water no one has sounded.
    assert {(2.0, 5.0), (-1.0, 2.0), (-99.0, 2.0), (-99.0, -1.0)} <= contours
    shore = [shape for shape, row in found if row["k"] == "shore"]
    lat = np.radians(ORIGIN.lat_deg)
    # Long Cay is 1000 m square and meets water all round, to the south such as no depth area holds; Mercator
    # stretches by 1 / cos(latitude).
    length = shapely.length(shapely.union_all(shore)) * np.cos(lat)
    assert length == pytest.approx(4000.0, rel=0.01)


def cells(*scales: int) -> Chart:
    """Cells of these scales over each other, each a little smaller than the one before, all water of one depth."""
    indexes = []
    for n, scale in enumerate(scales):
        half = 3000.0 - 600.0 * n
        area = box(-half, -half, half, half)
        rows: Sequence[Any] = [
            ("M_COVR", area, {"CATCOV": 1}),
            ("DEPARE", area, {"DRVAL1": float(n + 1), "DRVAL2": 20.0}),
            ("BOYLAT", shapely.Point(ORIGIN.lon_deg, ORIGIN.lat_deg), {"OBJNAM": "Middle"}),
        ]
        indexes.append(make_index(f"CELL{n}", scale, rows))
    return Chart(indexes)


def test_what_a_better_cell_covers_is_not_drawn_twice(tmp_path: Path) -> None:
    chart = cells(80_000, 20_000)
    found = all_tiles(chart, 12, "area", tmp_path)
    by_depth = {row["d"]: 0.0 for _, row in found if row["k"] == "depth"}
    for shape, row in found:
        if row["k"] == "depth":
            by_depth[row["d"]] += shapely.area(shape)
    stretch = 1.0 / np.cos(np.radians(ORIGIN.lat_deg)) ** 2
    assert by_depth[2.0] == pytest.approx(4800.0**2 * stretch, rel=0.01)
    assert by_depth[1.0] == pytest.approx((6000.0**2 - 4800.0**2) * stretch, rel=0.01)
    marks = [row for _, row in all_tiles(chart, 14, "point", tmp_path) if row["k"] == "mark"]
    assert [row["f"].split("/")[0] for row in marks] == ["CELL1"]


def test_small_scales_are_drawn_from_cells_made_for_them() -> None:
    harbour, coast, sea = (i for i in cells(10_000, 80_000, 700_000).indexes)
    assert suited([harbour, coast, sea], 12, 20.0) == [harbour, coast, sea]
    # Zoom 6 is about 1 : 4 million: the sea's cell first, the coast's before the harbour's.
    assert suited([harbour, coast, sea], 6, 20.0) == [sea, coast, harbour]


def test_where_no_cell_is_there_is_nothing(waters: Chart) -> None:
    maker = TileMaker(waters)
    assert maker.make(Tile(12, 5, 5)) == b""
    assert maker.make(Tile(12, -1, 5)) == maker.make(Tile(3, 0, 0)) == maker.make(Tile(15, 5, 5)) == b""
    assert Block(waters.indexes, Tile(10, 5, 5)).is_empty


def test_the_key_names_bytes_and_not_names(waters: Chart, tmp_path: Path) -> None:
    assert chart_key(waters) == chart_key(waters)
    assert chart_key(waters) != chart_key(cells(80_000))


def test_the_middle_of_a_strip() -> None:
    line = middle_line(shapely.box(0, 0, 100, 6))
    assert shapely.equals(line, shapely.LineString([(0, 3), (100, 3)]))
    bent = shapely.Polygon([(0, 0), (100, 0), (100, 100), (94, 100), (94, 6), (0, 6)])
    assert shapely.get_dimensions(middle_line(bent)) == 1
