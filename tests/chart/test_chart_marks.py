"""Marks and bridges: one for each physical thing."""

from __future__ import annotations

from typing import Any

import pytest
import shapely
from made_charts import ORIGIN, at, box, lonlat, make_index

from moonless.chart.library import Chart
from moonless.chart.local import LocalChart
from moonless.chart.types import Mark

Row = tuple[str, Any, dict[str, Any]]


def _local(*rows: Row) -> LocalChart:
    cover: Row = ("M_COVR", box(-2000, -2000, 2000, 2000), {"CATCOV": 1})
    return Chart([make_index("A", 10_000, [cover, *rows])]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 3000.0)


def _one(*rows: Row) -> Mark:
    (mark,) = _local(*rows).marks
    return mark


def test_a_beacon_its_light_and_its_daymark_are_one(waters: Chart) -> None:
    marks = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0).marks
    found = {(m.object, round(m.east_m), round(m.north_m)) for m in marks}
    assert found == {
        ("BCNLAT", 500, 0),
        ("BOYSPP", -500, 0),
        ("PILPNT", 500, 300),
        ("UWTROC", -2000, 0),  # the rock that never uncovers is none
        ("LNDARE", -1500, 1500),
    }
    beacon = next(m for m in marks if m.object == "BCNLAT")
    assert beacon.lit and not beacon.floating and beacon.name == "Channel Beacon 1"
    assert beacon.height_m == 5.0
    assert [f.object for f in beacon.lights] == ["LIGHTS"]
    assert [f.object for f in beacon.equipment] == ["DAYMAR"]
    assert beacon.radar_conspicuous is None and not beacon.has_racon


def test_the_charts_own_relation_holds_over_distance() -> None:
    mark = _one(
        ("BCNSPP", at(0, 0), {"LNAM": "A" * 16, "LNAM_REFS": ["B" * 16]}),
        ("LIGHTS", at(8, 0), {"LNAM": "B" * 16, "LITCHR": 1}),
    )
    assert mark.object == "BCNSPP" and mark.lit
    assert (mark.east_m, mark.north_m) == pytest.approx((0, 0), abs=0.01)


def test_without_a_relation_a_few_metres_are_two_things() -> None:
    assert len(_local(("BCNSPP", at(0, 0), {}), ("LIGHTS", at(8, 0), {"LITCHR": 1})).marks) == 2


def test_a_racon_and_a_reflector() -> None:
    mark = _one(("BOYSAW", at(0, 0), {"CONRAD": 3}), ("RTPBCN", at(0, 0), {}))
    assert mark.has_racon and mark.has_reflector and mark.radar_conspicuous
    assert mark.floating
    assert _one(("BOYSAW", at(0, 0), {}), ("RADRFL", at(0, 0), {})).has_reflector
    assert _one(("BCNSPP", at(0, 0), {"CONRAD": 2})).radar_conspicuous is False


def test_a_light_put_out_does_not_light() -> None:
    # STATUS 11: extinguished (S-57 appendix A, chapter 2, STATUS).
    mark = _one(("BCNLAT", at(0, 0), {}), ("LIGHTS", at(0, 0), {"LITCHR": 2, "STATUS": [1, 11]}))
    assert not mark.lit and len(mark.lights) == 1


@pytest.mark.parametrize(
    ("cls", "given", "light", "height"),
    [
        ("BCNLAT", {"HEIGHT": 6.0, "VERLEN": 9.0}, None, 6.0),
        ("BCNLAT", {"VERLEN": 9.0}, None, None),  # from the bottom: says nothing of the top
        ("LNDMRK", {"VERLEN": 9.0, "ELEVAT": 12.0}, None, 21.0),
        ("BOYLAT", {"VERLEN": 3.0}, None, 3.0),
        ("BCNLAT", {}, 4.6, 4.6),  # at least the focal plane
        ("BCNLAT", {"HEIGHT": 6.0}, 4.6, 6.0),
        ("PILPNT", {}, None, None),
    ],
)
def test_heights(cls: str, given: dict[str, Any], light: float | None, height: float | None) -> None:
    rows: list[Row] = [(cls, at(0, 0), given)]
    if light is not None:
        rows.append(("LIGHTS", at(0, 0), {"HEIGHT": light, "LITCHR": 1}))
    assert _one(*rows).height_m == height


@pytest.mark.parametrize(
    ("cls", "given", "shown", "floating"),
    [
        ("MORFAC", {"CATMOR": 7}, True, True),
        ("MORFAC", {"CATMOR": 1}, True, False),
        ("MORFAC", {"CATMOR": 3}, False, False),
        ("WRECKS", {"CATWRK": 2, "WATLEV": 3}, False, False),
        ("WRECKS", {"CATWRK": 5}, True, False),
        ("WRECKS", {"CATWRK": 4}, True, False),
        ("UWTROC", {"WATLEV": 4}, True, False),
        ("UWTROC", {"WATLEV": 2}, True, False),
        ("UWTROC", {"WATLEV": 3}, False, False),
        ("UWTROC", {"WATLEV": 5}, False, False),
        ("OBSTRN", {"WATLEV": 7}, True, True),
        ("OBSTRN", {}, False, False),
        ("FSHFAC", {"CATFIF": 1}, True, False),
        ("MARCUL", {"CATMFA": 2}, True, False),
        ("MARCUL", {"CATMFA": 2, "WATLEV": 3, "VALSOU": 3.6}, False, False),
        ("OFSPLF", {"CATOFP": [3]}, True, False),
        ("LITVES", {}, True, True),
        ("BUISGL", {}, False, False),
        ("BUISGL", {"CONRAD": 1}, True, False),
        ("SLCONS", {"CATSLC": 8, "WATLEV": 2}, True, False),
        ("SOUNDG", {"DEPTH": 2.0}, False, False),
    ],
)
def test_what_is_a_mark(cls: str, given: dict[str, Any], shown: bool, floating: bool) -> None:
    marks = _local((cls, at(0, 0), given)).marks
    assert [m.object for m in marks] == ([cls] if shown else [])
    assert not shown or marks[0].floating == floating


def test_a_small_platform_is_a_mark_and_a_large_one_a_structure() -> None:
    local = _local(("OFSPLF", box(0, 0, 8, 8), {}), ("OFSPLF", box(500, 0, 600, 40), {}))
    assert [round(m.east_m) for m in local.marks] == [4]
    assert len(local.structures) == 1
    assert round(local.structures[0].shape.bounds[0]) == 500


def test_a_light_on_a_bridge_is_no_thing_by_itself() -> None:
    local = _local(("BRIDGE", box(0, 0, 100, 10), {}), ("LIGHTS", at(50, -3), {"LITCHR": 1}))
    assert local.marks == ()
    assert len(local.features("LIGHTS")) == 1


def test_under_water_structures_are_not_structures() -> None:
    line = lonlat(shapely.LineString([(0, 0), (50, 0)]))
    local = _local(("SLCONS", line, {"WATLEV": 3}), ("SLCONS", line, {"WATLEV": 4}), ("PONTON", line, {}))
    assert [f.attributes.get("WATLEV") for f in local.structures] == [4, None]


def test_spans_that_touch_are_one_bridge(waters: Chart) -> None:
    (bridge,) = waters.around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0).bridges
    assert bridge.name == "Long Bridge"
    assert bridge.clearance_m == 4.0 and bridge.clearance_open_m == 30.0 and bridge.opens
    assert len(bridge.spans) == 2
    assert {(s.clearance_m, s.width_m, s.opens) for s in bridge.spans} == {(6.0, None, False), (4.0, 20.0, True)}
    assert shapely.area(bridge.shape) == pytest.approx(1500.0, rel=1e-3)


def test_bridges_apart_are_two_and_unknown_clearance_stays_unknown() -> None:
    bridges = _local(
        ("BRIDGE", box(0, 0, 100, 10), {"CATBRG": [1]}), ("BRIDGE", box(0, 50, 100, 60), {"VERCLR": 0.0})
    ).bridges
    assert len(bridges) == 2
    assert {b.clearance_m for b in bridges} == {None, 0.0}
    assert not any(b.opens for b in bridges)
