"""Cells of several scales: each piece of the earth from one cell, the best; gaps stay gaps."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from made_charts import ORIGIN, at, box, make_index

from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Strip
from moonless.chart.index import CellIndex
from moonless.chart.library import Chart
from moonless.errors import NoCoverage

REACH_M = 4000.0

# The world of the property tests is drawn in steps of 9e-6 degree (about a metre), so that edges are straight in the
# plane where cells are cut and areas can be compared to the last bits.
STEP_DEG = 9e-6


def _degrees(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(shape, lambda xy: np.array([-40.0, 20.0]) + STEP_DEG * xy)


edges = st.integers(-6, 6).map(lambda n: 500.0 * n)
Rectangle = tuple[float, float, float, float]


@st.composite
def rectangles(draw: st.DrawFn) -> Rectangle:
    west, east = sorted((draw(edges), draw(edges)))
    south, north = sorted((draw(edges), draw(edges)))
    return west, south, east + 500.0, north + 500.0


# Posts on a lattice that never falls on a cell's edge, and one pipe across it all.
POSTS = [(x, y) for x in np.arange(-3130.0, 3500.0, 470.0) for y in np.arange(-3130.0, 3500.0, 470.0)]
PIPE = shapely.LineString([(-3700.0, -3310.0), (3700.0, 3490.0)])


def _cell(name: str, scale: int, rectangle: Rectangle) -> CellIndex:
    """Return a cell that shows of the world what its rectangle holds."""
    area = shapely.box(*rectangle)
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", _degrees(area), {"CATCOV": 1}),
        ("DEPARE", _degrees(area), {"DRVAL1": 1.0, "DRVAL2": 2.0}),
    ]
    for x, y in POSTS:
        if area.intersects(shapely.Point(x, y)):
            rows.append(("PILPNT", _degrees(shapely.Point(x, y)), {"OBJNAM": f"{x:.0f},{y:.0f}"}))
    inside = shapely.intersection(PIPE, area)
    if shapely.length(inside) > 0.0:
        rows.append(("PIPSOL", _degrees(inside), {}))
    return make_index(name, scale, rows)


cells = st.lists(st.tuples(st.sampled_from([10_000, 25_000, 80_000]), rectangles()), min_size=1, max_size=4)


@settings(deadline=None, max_examples=60)
@given(cells)
def test_nothing_is_shown_twice_and_nothing_is_lost(drawn: list[tuple[int, Rectangle]]) -> None:
    chart = Chart([_cell(f"C{i}", scale, rectangle) for i, (scale, rectangle) in enumerate(drawn)])
    local = chart.around(ORIGIN.lat_deg, ORIGIN.lon_deg, REACH_M)
    areas = [(scale, shapely.box(*rectangle)) for scale, rectangle in drawn]
    covered = shapely.union_all([area for _, area in areas])

    # Posts: each exactly once, from the best scale that holds it.
    shown = [(f.attributes["OBJNAM"], f.scale) for f in local.features("PILPNT")]
    wanted = [
        (f"{x:.0f},{y:.0f}", min(scale for scale, area in areas if area.intersects(shapely.Point(x, y))))
        for x, y in POSTS
        if covered.intersects(shapely.Point(x, y))
    ]
    assert sorted(shown) == sorted(wanted)

    # Areas: no overlap and no hole, to a hundredth of a step along the seams.
    slack = 0.01 * sum(area.length for _, area in areas)
    depths = local.lonlat[local.table.objects == "DEPARE"]
    assert shapely.area(depths).sum() / STEP_DEG**2 == pytest.approx(covered.area, abs=slack)
    whole = shapely.union_all(depths, grid_size=1e-8)
    assert shapely.area(whole) / STEP_DEG**2 == pytest.approx(covered.area, abs=slack)
    assert shapely.area(local.coverage_lonlat) / STEP_DEG**2 == pytest.approx(covered.area, abs=slack)

    # Lines: as long as the line is inside what is covered.
    pipes = shapely.length(local.lonlat[local.table.objects == "PIPSOL"]).sum() / STEP_DEG
    assert pipes == pytest.approx(shapely.intersection(PIPE, covered).length, abs=0.2)

    # In the plane nothing that is asked trips over the seams.
    across = shapely.LineString([(-500.0, -470.0), (500.0, 490.0)])
    held = StripDangers(ChartDangers(local), Strip(across, 1.0, 1.0, 1.0, 1.0))
    refused = {danger.kind for danger in held.refusals(Needs(0.3, 0.1, 1.0, 1.0))}
    fraction = local.covered_fraction(across)
    if fraction > 1e-3:
        assert held.least_depth_m() == 1.0
    assert refused == (set() if fraction > 1.0 - 1e-6 else {"chart ends"})


@settings(deadline=None, max_examples=30)
@given(cells, st.permutations(range(4)))
def test_the_order_of_opening_does_not_matter(drawn: list[tuple[int, Rectangle]], order: list[int]) -> None:
    indexes = [_cell(f"C{i}", scale, rectangle) for i, (scale, rectangle) in enumerate(drawn)]
    shuffled = [indexes[i] for i in order if i < len(indexes)]
    one = Chart(indexes).around(ORIGIN.lat_deg, ORIGIN.lon_deg, REACH_M)
    other = Chart(shuffled).around(ORIGIN.lat_deg, ORIGIN.lon_deg, REACH_M)
    assert [(f.cell, f.feature) for f in one.table.features] == [(f.cell, f.feature) for f in other.table.features]


def test_of_two_cells_of_one_scale_the_newer_is_believed() -> None:
    rows = [("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1}), ("PILPNT", at(0, 0), {})]
    chart = Chart([make_index("A", 10_000, rows, "2020-01-01"), make_index("B", 10_000, rows, "2030-01-01")])
    local = chart.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 2000.0)
    assert [f.cell for f in local.features("PILPNT")] == ["B"]
    assert [c.name for c in local.cells] == ["B"]


def test_a_gap_is_not_covered_though_the_cell_lies_about_it() -> None:
    # CATCOV 2 is a hole in the coverage: whatever is drawn there says nothing.
    hole = box(-200, -200, 200, 200)
    rows = [
        ("M_COVR", shapely.difference(box(-1000, -1000, 1000, 1000), hole), {"CATCOV": 1}),
        ("M_COVR", hole, {"CATCOV": 2}),
        ("DEPARE", box(-1000, -1000, 1000, 1000), {"DRVAL1": 20.0}),
    ]
    local = Chart([make_index("A", 10_000, rows)]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 2000.0)
    inside = shapely.box(-100, -100, 100, 100)
    assert local.covered_fraction(inside) == 0.0
    with pytest.raises(NoCoverage):
        local.quality_at(0.0, 0.0)
    half = shapely.LineString([(-200.0, 0.0), (600.0, 0.0)])
    assert local.covered_fraction(half) == pytest.approx(0.5, abs=1e-6)
    held = StripDangers(ChartDangers(local), Strip(half, 1.0, 1.0, 1.0, 1.0))
    assert [danger.kind for danger in held.refusals(Needs(0.3, 0.1, 1.0, 1.0))] == ["chart ends"]
    assert held.least_depth_m() == 20.0


def test_a_mark_drawn_on_both_sides_of_a_seam_is_one() -> None:
    better = [
        ("M_COVR", box(-1000, -1000, 0, 1000), {"CATCOV": 1}),
        ("BCNLAT", at(-10, 0), {"OBJNAM": "7"}),
        ("PILPNT", at(-5, 500), {}),
    ]
    lesser = [
        ("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1}),
        ("BCNLAT", at(30, 0), {"OBJNAM": "7"}),
        ("BCNLAT", at(35, 10), {"OBJNAM": "8"}),
        ("PILPNT", at(8, 500), {}),
        ("PILPNT", at(200, 500), {}),
    ]
    chart = Chart([make_index("B", 10_000, better), make_index("L", 50_000, lesser)])
    local = chart.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 2000.0)
    assert sorted((m.object, m.name, m.cell) for m in local.marks if m.name) == [
        ("BCNLAT", "7", "B"),
        ("BCNLAT", "8", "L"),
    ]
    assert sorted(round(m.east_m) for m in local.marks if m.object == "PILPNT") == [-5, 200]
