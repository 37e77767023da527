"""Tiles of the real cells: no gap between neighbours, every mark once, and small enough to send."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
import shapely
from test_drawn_tiles import read

from moonless.chart.drawn import what
from moonless.chart.drawn.grid import pixel_m, tiles_over
from moonless.chart.drawn.maker import TileMaker
from moonless.chart.library import Chart

pytestmark = pytest.mark.data


@pytest.mark.parametrize("zoom", [8, 10, 12])
@pytest.mark.parametrize("cell", ["US5MA11M", "US4MD81M"])
def test_neighbours_keep_their_edge(real_chart: Chart, tmp_path: Path, cell: str, zoom: int) -> None:
    maker = TileMaker(real_chart)
    (bounds,) = [c.coverage_lonlat.bounds for c in real_chart.cells if c.name == cell]
    tiles = tiles_over(bounds, zoom)
    seen = 0
    # A few of many: those that hold most are in the middle.
    for tile in tiles[len(tiles) // 2 : len(tiles) // 2 + 3]:
        data = maker.make(tile)
        # A slow link takes some hundred kilobytes a second.
        assert len(gzip.compress(data)) < 150_000
        shapes, rows = read(data, tile, "area", tmp_path)
        kind = np.array([row["k"] for row in rows])
        step = pixel_m(zoom) * 512 / 4096
        cover = shapely.union_all(shapes[kind == "cover"], grid_size=step / 8)
        floor = shapely.make_valid(shapes[kind != "cover"])
        joined = shapely.union_all(floor, grid_size=step / 8)
        seen += shapely.area(cover) > 0.0
        # Half a step along the edges.
        gap = shapely.area(shapely.difference(cover, joined))
        assert gap <= 0.5 * step * shapely.length(floor).sum()
        assert shapely.area(floor).sum() - shapely.area(joined) <= 0.5 * step * shapely.length(floor).sum()
    assert seen > 0


def test_every_mark_of_the_harbour_is_in_a_tile(real_chart: Chart, tmp_path: Path) -> None:
    maker = TileMaker(real_chart)
    (bounds,) = [c.coverage_lonlat.bounds for c in real_chart.cells if c.name == "US5MA11M"]
    found: list[str] = []
    for tile in tiles_over(bounds, what.MAX_ZOOM):
        _, rows = read(maker.make(tile), tile, "point", tmp_path)
        found += [row["f"] for row in rows if row["k"] == "mark" and row["f"].startswith("US5MA11M/")]
    south, west = bounds[1], bounds[0]
    local = real_chart.around((south + bounds[3]) / 2, (west + bounds[2]) / 2, 12_000.0)
    expected = {f"{mark.cell}/{mark.feature}" for mark in local.marks if mark.cell == "US5MA11M"}
    assert len(found) == len(set(found)), "a mark stands in two tiles"
    assert set(found) == expected
