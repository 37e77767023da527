"""What the chart has ahead, and the sounder against it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
import shapely
from reading_fakes import FRAME, FakeChart, make_boat

from moonless.chart.types import Feature
from moonless.reading.collision.charted_dangers import DangerKeys, ahead, check_sounder, lay_out_dangers
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.threats import threats_of
from moonless.reading.own import OwnPlane
from moonless.units import NS_PER_S

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)


def _feature(obj: str, shape: Any, **attributes: Any) -> Feature:
    return Feature(obj, "TEST", obj, shape, attributes, 10_000)


def test_dangers_ahead_by_draught_tide_and_margin() -> None:
    chart = FakeChart(
        depths=(
            _feature("DEPARE", shapely.box(-500, -500, 500, 300), DRVAL1=5.0),
            _feature("DEPARE", shapely.box(-500, 300, 500, 600), DRVAL1=1.0),
            _feature("UWTROC", shapely.Point(3.0, 200.0)),
            _feature("LNDARE", shapely.box(-500, 600, 500, 900)),
        )
    )
    dangers = lay_out_dangers(chart)
    boat = make_boat()
    found = {d.danger.kind: d for d in ahead(dangers, boat, OWN, 0.0, 1000.0, 10.0, 0.0)}
    # 0.9 m draught, 0.5 m margin and 0.3 m squat at 5 m/s: one metre is too little without tide, enough with 0.8 m.
    assert found["shoal"].distance_m == pytest.approx(300.0, abs=1.0)
    assert found["rock"].distance_m == pytest.approx(200.0, abs=1.0) and found["rock"].danger.depth_m is None
    assert found["land"].distance_m == pytest.approx(600.0, abs=1.0)
    with_tide = {d.danger.kind for d in ahead(dangers, boat, OWN, 0.0, 1000.0, 10.0, 0.8)}
    assert "shoal" not in with_tide and "rock" in with_tide
    assert ahead(dangers, boat, OWN, math.pi / 2, 400.0, 10.0, 0.0) == ()


def test_each_danger_has_an_identity_of_its_own() -> None:
    """Two rocks are two matters however near, two banks where they lie apart; one bank stays one along the way."""
    keys = DangerKeys()
    rocks = (_feature("UWTROC", shapely.Point(0.0, 200.0)), _feature("UWTROC", shapely.Point(0.0, 240.0)))
    rocks = (rocks[0], replace(rocks[1], feature="second"))
    # One depth area, as a river's banks often are: shoal from 300 to 500 m ahead, deep, and shoal again from 900 m on.
    bank = shapely.union_all([shapely.box(-500, 300, 500, 500), shapely.box(-500, 900, 500, 1500)])
    dangers = lay_out_dangers(FakeChart(depths=(*rocks, _feature("DEPARE", bank, DRVAL1=0.5))))

    def told(north_m: float, course_rad: float = 0.0) -> dict[str, str]:
        own = replace(OWN, north_m=north_m)
        found = ahead(dangers, make_boat(), own, course_rad, 350.0, 10.0, 0.0)
        return {one.danger.kind: one.key for one in keys.name(own, round(north_m / 5.0) * NS_PER_S, found)}

    first = told(0.0)
    assert set(first) == {"rock", "shoal"} and told(50.0) == first
    assert told(50.0, math.radians(8.0))["shoal"] == first["shoal"]
    assert told(205.0)["rock"] != first["rock"]  # past the first of them
    assert told(290.0)["shoal"] == first["shoal"]  # on it: 10 m before its edge
    assert told(600.0)["shoal"] != first["shoal"]
    # After a minute without it, what is met there is another matter than the one that was kept.
    assert DangerKeys().name(OWN, 0, ahead(dangers, make_boat(), OWN, 0.0, 350.0, 10.0, 0.0))[0].key == first["rock"]


def test_a_structure_beside_the_way_is_not_shouted() -> None:
    # 3 m beam, 5 m/s
    def urgency(*structures: Feature) -> int:
        dangers = lay_out_dangers(FakeChart(depths=structures))
        found = ahead(dangers, make_boat(), OWN, 0.0, 600.0, 9.5, 0.0, 2.0)
        turn = HeldAgainst(0, OWN, (), make_boat(), "unsure", dangers, 0.0, 2.0, None)
        return max((t.urgency for t in threats_of(turn, {}, frozenset(), found)), default=0)

    beside = _feature("SLCONS", shapely.box(6.0, 80.0, 9.0, 90.0))
    ahead_of_her = _feature("SLCONS", shapely.box(-2.0, 100.0, 3.0, 110.0))
    assert urgency(beside) == 0
    assert urgency(ahead_of_her) == 4
    # The one in the way is told although one beside it is nearer.
    assert urgency(beside, ahead_of_her) == 4 and urgency(ahead_of_her, beside) == 4


def test_the_chart_ends_is_a_danger() -> None:
    found = ahead(lay_out_dangers(FakeChart()), make_boat(), OWN, 0.0, 30_000.0, 10.0, None)
    assert [d.danger.kind for d in found] == ["chart ends"]


def test_covered_water_without_a_depth_is_unsurveyed_not_deep() -> None:
    dangers = lay_out_dangers(FakeChart(bare=(shapely.box(-500.0, 400.0, 500.0, 900.0),)))
    found = {d.danger.kind: d for d in ahead(dangers, make_boat(), OWN, 0.0, 1000.0, 10.0, 0.0)}
    assert set(found) == {"unsurveyed"}
    assert found["unsurveyed"].distance_m == pytest.approx(400.0, abs=2.0)
    assert ahead(dangers, make_boat(), OWN, math.pi, 1000.0, 10.0, 0.0) == ()


def test_sounder_against_chart() -> None:
    dangers = lay_out_dangers(FakeChart(depths=(_feature("DEPARE", shapely.box(-500, -500, 500, 500), DRVAL1=5.0),)))
    assert check_sounder(dangers, OWN, 6.0, 0.5, 5.0).agrees  # type: ignore[union-attr]
    assert not check_sounder(dangers, OWN, 2.0, 0.5, 5.0).agrees  # type: ignore[union-attr]
    assert check_sounder(dangers, OWN, None, 0.5, 5.0) is None
    assert check_sounder(dangers, OWN, 6.0, None, 5.0) is None


def test_beside_water_whose_depth_nobody_knows_the_sounder_is_held_against_nothing() -> None:
    # Within the ten metres about her lies water without a charted depth: what is least there is not known.
    areas = (
        _feature("DEPARE", shapely.box(-500, -500, 5, 500), DRVAL1=5.0),
        _feature("DEPARE", shapely.box(5, -500, 500, 500)),
    )
    assert check_sounder(lay_out_dangers(FakeChart(depths=areas)), OWN, 2.0, 0.5, 1.0) is None
    assert check_sounder(lay_out_dangers(FakeChart(depths=areas[:1])), OWN, 2.0, 0.5, 1.0) is not None
