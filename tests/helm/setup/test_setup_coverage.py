"""Which water the chosen charts cover, and what is said of it."""

from __future__ import annotations

import json
from typing import Any

import shapely

from moonless.helm.setup import coverage
from moonless.units import NS_PER_S

NOW_NS = 1_930_000_000 * NS_PER_S  # 2031-02-27


def cell(name: str, scale: int, issued: str, box: tuple[float, float, float, float]) -> Any:
    return {
        "name": name, "scale": scale, "edition": 3, "update": 2, "issued": issued, "not_for_navigation": True,
        "coverage": json.loads(shapely.to_geojson(shapely.box(*box))),
    }  # fmt: skip


LARGE = cell("MADE5", 12_000, "2031-01-10", (-128.05, -38.05, -127.95, -37.95))
SMALL = cell("MADE3", 90_000, "2019-05-01", (-129.0, -39.0, -127.96, -37.0))


def test_age_overlap_and_navigation_are_said() -> None:
    told = coverage.coverage_body(coverage.Covered((LARGE, SMALL), ()), None, NOW_NS)
    lines = " ".join(told["lines"])
    assert "One cell is more than a year old; MADE3 11 years" in lines
    assert "Not for navigation" in lines
    assert "MADE5 (1:12 000) lies over MADE3 (1:90 000): the larger scale is used" in lines
    assert [c["is_old"] for c in told["cells"]] == [False, True]
    assert told["cells"][0]["age_days"] == 48  # 10 January to 27 February


def test_where_the_charts_end_near_the_boat_is_said() -> None:
    found = coverage.Covered((LARGE,), ())
    inside = coverage.coverage_body(found, (-38.0, -128.0), NOW_NS)["lines"][-1]
    # The cell's edge lies 0.05 degrees north: 3 NM.  East it is 0.05 deg * cos 38 = 2.4 NM: the nearest.
    assert "The charts end 2.4 miles to the" in inside and "every way" in inside
    beside = coverage.coverage_body(found, (-38.0, -127.9), NOW_NS)["lines"][-1]
    assert "No chart covers the boat" in beside and "to the west" in beside and "2.4 miles" in beside
    far = coverage.coverage_body(found, (0.0, 0.0), NOW_NS)["lines"][-1]
    assert "nor anything within 60 miles" in far
    big = coverage.coverage_body(coverage.Covered((SMALL,), ()), (-38.0, -128.5), NOW_NS)["lines"][-1]
    assert big == "The water about the boat is covered for 5 miles every way."
    assert "No position yet" in coverage.coverage_body(found, None, NOW_NS)["lines"][-1]


def test_a_cell_without_a_date_is_called_old() -> None:
    told = coverage.coverage_body(coverage.Covered((cell("M", 1000, "", (0, 0, 1, 1)),), ()), None, NOW_NS)
    assert told["cells"][0]["is_old"] and "no date of issue is given" in " ".join(told["lines"])
