"""The measure by which learning is judged, held against lessons written by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from bench.many_runs.matching import THING_M, match, planted, ways
from bench.many_runs.nights import ANCHORAGES, GONE, THINGS, WAY

from moonless.memory.lattice import key_of
from moonless.memory.teaching.lessons import Lesson, ProposalKind
from moonless.scene.story import open_demo

FRAME = open_demo().frame


def lesson(kind: ProposalKind, east_m: float, north_m: float, **given: object) -> Lesson:
    lat, lon = FRAME.to_geographic(east_m, north_m)
    one = Lesson(kind, lat, lon, "said", "likely", 5.0, 3.0, 0, 1, ("a",), 1, 4, 0.9, 0.6, 0.8)
    return replace(one, **given)  # type: ignore[arg-type]


def all_right() -> list[Lesson]:
    out = []
    for one in planted():
        middle = one.shape.centroid
        radius = {"sigma_m": (one.shape.area / 3.14159) ** 0.5} if one.kind == "anchorage" else {}
        out.append(lesson(one.kind, middle.x, middle.y, name=one.name or None, **radius))  # type: ignore[arg-type]
    return out


def test_what_is_right_is_right_and_the_same_told_twice_is_once_wrong() -> None:
    found = match(all_right(), FRAME)
    assert (found.precision, found.recall, found.wrong) == (1.0, 1.0, ())
    assert max(found.off_m) < 0.5 and min(found.overlap) > 0.97
    twice = match([*all_right(), lesson("thing", *THINGS[0][2])], FRAME)
    assert twice.precision == pytest.approx(12 / 13) and twice.recall == 1.0


@pytest.mark.parametrize(("off_m", "is_found"), [(THING_M - 1.0, True), (THING_M + 1.0, False)])
def test_a_thing_is_found_by_its_place_alone(off_m: float, is_found: bool) -> None:
    east, north = THINGS[3][2]
    assert (match([lesson("thing", east + off_m, north)], FRAME).recall > 0.0) is is_found


def test_one_of_another_kind_or_name_is_not_found() -> None:
    (name, place), (other, _) = GONE
    assert match([lesson("thing", *place)], FRAME).recall == 0.0
    assert match([lesson("mark gone", *place, name=other)], FRAME).precision == 0.0
    assert match([lesson("mark gone", *place, name=name)], FRAME).precision == 1.0


def test_an_anchorage_is_found_by_the_overlap_of_the_areas() -> None:
    (east, north), radius = ANCHORAGES[0]
    # Of two equal circles 0.8 radii apart: the lens is 2 acos(0.4) - 0.4 sqrt(4 - 0.64) = 1.5853 of the radius squared,
    # so 1.5853 / (2 pi - 1.5853) = 0.3375 of what either covers (elementary); half a radius apart 0.5210.
    found = match([lesson("anchorage", east + 0.5 * radius, north, sigma_m=radius)], FRAME)
    assert found.overlap == (pytest.approx(0.521, abs=0.01),)
    assert match([lesson("anchorage", east + 0.8 * radius, north, sigma_m=radius)], FRAME).recall == 0.0
    assert match([lesson("anchorage", east, north, sigma_m=2.0 * radius)], FRAME).recall == 0.0


def test_ways_are_held_against_where_vessels_run() -> None:
    def cells(*places: tuple[float, float]) -> tuple[int, ...]:
        return tuple(int(key_of(*([v] for v in FRAME.to_geographic(*place)))[0]) for place in places)

    on = lesson("way", 0.0, 0.0, cells=cells(WAY[2], WAY[3]))
    right, told = ways([on], FRAME)
    assert right == pytest.approx(1.0, abs=0.05) and 0.0 < told < 0.2
    half, _ = ways([replace(on, cells=(*on.cells, *cells((-3000.0, -3000.0), (-3000.0, -2800.0))))], FRAME)
    assert half == pytest.approx(0.5, abs=0.05)
    assert ways([lesson("thing", 0.0, 0.0)], FRAME) == (None, 0.0)
