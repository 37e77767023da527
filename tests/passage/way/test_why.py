"""What is said of a way beside where it goes: lengths along shapes whose sides are round figures."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest
import shapely

from moonless.chart.types import Feature
from moonless.passage.way.why import moves, sides


def _grid(*features: Feature) -> Any:
    def of(*names: str) -> list[Feature]:
        return [f for f in features if f.object in names]

    return SimpleNamespace(dangers=SimpleNamespace(local=SimpleNamespace(features=of)))


def _box(object_: str, length_m: float, name: str | None = "Lane", **attributes: Any) -> Feature:
    shape = shapely.box(0.0, -100.0, length_m, 100.0)
    given = {**({} if name is None else {"OBJNAM": name}), **attributes}
    return Feature(object_, "T", "1", shape, given, 10_000)


EAST = [(-500.0, 0.0), (1000.0, 0.0), (5000.0, 0.0)]


@pytest.mark.parametrize("object_", ["FAIRWY", "DRGARE", "RECTRC", "DWRTCL"])
def test_a_channel_is_kept_to_starboard_in(object_: str) -> None:
    # 1852 m of it are a mile; two hundred metres are a corner crossed.
    assert list(sides(_grid(_box(object_, 1852.0)), EAST)) == [
        "1.0 NM of it lie in a marked channel: keep to its starboard side (Rule 9)"
    ]
    both = _grid(_box(object_, 926.0), _box(object_, 926.0))
    assert next(iter(sides(both, EAST))).startswith("1.0 NM")
    assert list(sides(_grid(_box(object_, 195.0)), EAST)) == [] != list(sides(_grid(_box(object_, 205.0)), EAST))
    assert list(sides(_grid(_box("DEPARE", 1852.0)), EAST)) == []


@pytest.mark.parametrize("object_", ["TSSLPT", "TWRTPT", "DWRTPT"])
@pytest.mark.parametrize(
    ("orient", "traffic", "is_told"),
    # Run at 090: against what goes by more than a right angle otherwise, but for what goes both ways.
    [(270.0, None, True), (179.0, None, False), (181.0, None, True), (359.0, None, True), (1.0, None, False),
     (90.0, None, False), (270.0, 4, False), (270.0, 3, True), (None, None, False), (None, 3, False)],
)  # fmt: skip
def test_a_lane_run_against_its_direction(
    object_: str, orient: float | None, traffic: int | None, is_told: bool
) -> None:
    attributes = {k: v for k, v in (("ORIENT", orient), ("TRAFIC", traffic)) if v is not None}
    told = list(sides(_grid(_box(object_, 926.0, **attributes)), EAST))
    want = [] if orient is None else [f"0.5 NM of it go against the direction of Lane, {orient:03.0f}° (Rule 10)"]
    assert told == (want if is_told else [])
    # Only the legs that run against it count, and only past a corner.
    there_and_back = [(-500.0, 0.0), (926.0, 0.0), (-500.0, 0.0)]
    back = list(sides(_grid(_box(object_, 926.0, **attributes)), there_and_back))
    if orient == 270.0 and traffic is None:
        assert back == want
        assert list(sides(_grid(_box(object_, 195.0, **attributes)), EAST)) == []


@pytest.mark.parametrize("course", [0.0, 2.0, 4.0])
def test_an_end_that_was_moved_is_said(course: float) -> None:
    def off(metres: float) -> tuple[float, float]:
        return 100.0 + metres * math.sin(course), 200.0 + metres * math.cos(course)

    ends = [(100.0, 200.0), (100.0, 200.0)]
    assert list(moves(ends, [off(0.9), off(0.0)])) == []
    assert list(moves(ends, [off(29.0), off(0.0)])) == ["the start was moved 29 m to water deep enough on the chart"]
    assert list(moves(ends, [off(0.0), off(5.0), off(31.0)])) == [
        "the end was moved 31 m to water deep enough on the chart; what lies between is not planned"
    ]
