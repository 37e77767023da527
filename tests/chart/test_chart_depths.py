"""Depths and survey quality: unknown is told apart from deep."""

from __future__ import annotations

import math
from typing import Any

import pytest
import shapely
from made_charts import ORIGIN, at, box, make_index

from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Strip
from moonless.chart.library import Chart
from moonless.chart.local import LocalChart


@pytest.fixture(scope="module")
def local(waters: Chart) -> LocalChart:
    return waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)


def _along(local: LocalChart, *points: tuple[float, float], track_m: float = 5.0) -> StripDangers:
    strip = Strip(shapely.LineString(points), track_m, track_m, track_m, track_m)
    return StripDangers(ChartDangers(local), strip)


def test_the_shallowest_on_the_track_counts(local: LocalChart) -> None:
    assert _along(local, (-200, 1050), (200, 1050)).least_depth_m() == 2.0
    assert _along(local, (-1100, -1000), (-800, -1000)).least_depth_m() == 4.1  # a sounding
    assert _along(local, (-1100, -1010), (-800, -1010)).least_depth_m() == 5.0
    assert _along(local, (-2000, -15), (-2000, 15)).least_depth_m() == 0.0  # a rock that covers
    assert _along(local, (-2000, 90), (-2000, 110)).least_depth_m() == 5.0  # of this one no depth is known
    assert _along(local, (2200, 0), (2400, 0)).least_depth_m() is None


def _refusals(local: LocalChart, *points: tuple[float, float]) -> list[tuple[str, float | None]]:
    found = _along(local, *points).refusals(Needs(0.5, 0.2, 3.0, 3.0))
    return [(d.kind, d.depth_m) for d in found]


def test_unknown_is_told_apart_from_deep(local: LocalChart) -> None:
    assert _refusals(local, (-200, 1050), (200, 1050)) == []
    assert _refusals(local, (-2000, 90), (-2000, 110)) == [("rock", None)]
    assert _refusals(local, (2200, 0), (2400, 0)) == [("unsurveyed", None)]
    assert _refusals(local, (1200, 0), (1400, 0)) == [("land", None)]
    assert [kind for kind, _ in _refusals(local, (-3100, 1000), (-2900, 1000))] == ["chart ends"]


def test_what_no_area_tells_of_is_unsurveyed() -> None:
    # South of the land nothing is drawn at all, though the cell covers it.
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1}),
        ("DEPARE", box(-1000, 0, 0, 1000), {"DRVAL1": 9.0}),
        ("DEPARE", box(0, 0, 1000, 1000), {"DRVAL2": 9.0}),  # no DRVAL1
    ]
    local = Chart([make_index("A", 10_000, rows)]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1500.0)
    assert _refusals(local, (-500, 500), (-100, 500)) == []
    assert _refusals(local, (100, 500), (500, 500)) == [("unsurveyed", None)]
    assert _refusals(local, (-500, -500), (-100, -500)) == [("unsurveyed", None)]


# Zones of confidence: IHO S-57 edition 3.1, appendix A, chapter 2, CATZOC: A2 +-20 m, C +-500 m at 95 %.  The factor
# 2.45 between that and one axis' standard deviation is in the same table ("95% CI (2.45 sigma)"; quoted from memory)
# and is sqrt(-2 ln 0.05).
def test_zone_figures(local: LocalChart) -> None:
    west = local.quality_at(-1000.0, 0.0)
    assert (west.catzoc, west.cell, west.scale) == ("A2", "cays", 12000)
    assert west.position_sigma_m == pytest.approx(20.0 / 2.45, rel=1e-3)
    east = local.quality_at(500.0, 1000.0)
    assert east.catzoc == "C"
    assert east.position_sigma_m == pytest.approx(500.0 / 2.45, rel=1e-3)
    # 0.3 mm at 1:12 000: common practice, no source.
    assert east.plotting_sigma_m == pytest.approx(3.6)


def _quality(scale: int, zone: dict[str, Any] | None, depth: float = 10.0) -> tuple[str, float]:
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1}),
        ("DEPARE", box(-1000, -1000, 1000, 1000), {"DRVAL1": depth}),
    ]
    if zone is not None:
        rows.append(("M_QUAL", box(-1000, -1000, 1000, 1000), zone))
    local = Chart([make_index("A", scale, rows)]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1500.0)
    quality = local.quality_at(0.0, 0.0)
    return quality.catzoc, quality.position_sigma_m


def test_the_best_zone_grows_with_depth_and_is_limited_by_scale() -> None:
    factor = math.sqrt(-2.0 * math.log(0.05))
    assert _quality(1000, {"CATZOC": 1}, 100.0) == ("A1", pytest.approx((5.0 + 5.0) / factor))
    assert _quality(80_000, {"CATZOC": 1}) == ("A1", pytest.approx(24.0))
    assert _quality(1000, {"CATZOC": 3}) == ("B", pytest.approx(50.0 / factor))
    zone, sigma = _quality(1000, {"CATZOC": 5})
    assert zone == "D" and sigma > 500.0 / factor


def test_the_age_of_survey_and_cell_is_told() -> None:
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1}),
        ("M_QUAL", box(-1000, -1000, 0, 1000), {"CATZOC": 3, "SUREND": "20180808"}),
        ("M_QUAL", box(0, -1000, 1000, 1000), {"CATZOC": 4, "SUREND": "1937"}),
    ]
    local = Chart([make_index("A", 10_000, rows, "2030-01-05")]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1500.0)
    assert local.quality_at(-500.0, 0.0).surveyed == "2018-08-08"
    assert local.quality_at(500.0, 0.0).surveyed == "1937"
    # 2030-01-05T00:00:00Z is 1 893 801 600 s; half a day later.
    assert local.cells[0].age_days((1_893_801_600 + 43_200) * 1_000_000_000) == pytest.approx(0.5)


def test_a_cell_without_a_date_has_no_age() -> None:
    rows: list[tuple[str, Any, dict[str, Any]]] = [("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1})]
    assert Chart([make_index("A", 10_000, rows)]).cells[0].age_days(0) is None


def test_where_nothing_is_said_the_zone_is_unassessed() -> None:
    assert _quality(10_000, None)[0] == "U"
    assert _quality(10_000, {})[0] == "U"
    zone, sigma = _quality(10_000, {"CATZOC": 6, "POSACC": 20.0})
    assert zone == "U" and sigma == pytest.approx(20.0 / 2.45, rel=1e-3)


@pytest.mark.parametrize(
    ("cls", "given", "depth"),
    [
        ("WRECKS", {"VALSOU": 7.5, "WATLEV": 3}, 7.5),
        ("WRECKS", {"CATWRK": 5}, 0.0),
        ("OBSTRN", {"VALSOU": -1.2, "WATLEV": 4}, -1.2),
        ("UWTROC", {"WATLEV": 5}, 0.0),
        ("OBSTRN", {"WATLEV": 3}, None),
    ],
)
def test_dangers(cls: str, given: dict[str, Any], depth: float | None) -> None:
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", box(-1000, -1000, 1000, 1000), {"CATCOV": 1}),
        ("DEPARE", box(-1000, -1000, 1000, 1000), {"DRVAL1": 20.0}),
        (cls, at(0, 0), given),
    ]
    local = Chart([make_index("A", 10_000, rows)]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 1500.0)
    (told,) = _along(local, (-50, 0), (50, 0)).dangers(Needs(9.0, 1.0, 3.0, 3.0))
    assert told.depth_m == depth and told.weight == "stops"
    assert _along(local, (-50, 0), (50, 0)).least_depth_m() == (20.0 if depth is None else depth)
