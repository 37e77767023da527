"""Planted waters: what stands there is found, what does not is not, and age and doubles count as they should."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from bench.many_runs.made_summaries import DAY_NS, FRAME, Water, cells, mark, night, run, sighting

from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.frames import geodesic
from moonless.memory.accept import accept
from moonless.memory.lattice import key_of
from moonless.memory.summary import Cells, RunSummary
from moonless.memory.teaching.lessons import Lesson, Lessons
from moonless.memory.teaching.teach import teach
from moonless.memory.teaching.weigh import ONE, share_low, weights


def lessons_of(summaries: list[RunSummary], **given: float) -> Lessons:
    return teach({one.run.number: one.run for one in summaries}, summaries, **given)


def off_m(one: Lesson, east_m: float, north_m: float) -> float:
    return float(geodesic(one.lat_deg, one.lon_deg, *FRAME.to_geographic(east_m, north_m))[0])


def test_things_and_an_anchorage_are_parted() -> None:
    found = lessons_of([night(k, seed=3) for k in range(20)]).proposals
    things = [p for p in found if p.kind == "thing"]
    assert len(things) == 2
    for place in ((0.0, 0.0), (400.0, 300.0)):
        one = min(things, key=lambda p: off_m(p, *place))
        # Twenty places each 5 m off: their mean is 1.1 m off, one sigma on each axis.
        assert off_m(one, *place) < 5.0
        assert one.present > 0.7 and one.looked == 20
    (anchorage,) = [p for p in found if p.kind == "anchorage"]
    assert off_m(anchorage, -900.0, 200.0) < 50.0


def test_one_spot_told_now_and_then_is_no_anchorage() -> None:
    """Told on a third of thirty nights, always within some metres: too seldom for a thing, and no water to lie in."""
    water, empty = Water(things=((0.0, 0.0),), anchorage=None, p_told=1.0), Water(things=(), anchorage=None)
    assert lessons_of([night(k, empty if k % 3 else water) for k in range(30)]).proposals == ()


def test_two_sightings_are_no_thing_and_three_of_many_looks_are_none_either() -> None:
    water = Water(things=((0.0, 0.0),), anchorage=None, p_told=1.0)
    empty = Water(things=(), anchorage=None)
    assert lessons_of([night(k, water) for k in range(2)]).proposals == ()
    assert len(lessons_of([night(k, water) for k in range(3)]).proposals) == 1
    assert lessons_of([*(night(k, water) for k in range(3)), *(night(k, empty) for k in range(3, 40))]).proposals == ()


def test_what_was_taken_away_fades() -> None:
    water, empty = Water(anchorage=None, p_told=1.0), Water(things=(), anchorage=None)
    gone = [night(k, water if k < 10 else empty) for k in range(20)]
    month_s = 30 * 86_400.0
    still_there = lessons_of(gone).proposals
    back_ns = 200 * DAY_NS
    later = [
        replace(s, run=replace(s.run, begins_ns=s.run.begins_ns - back_ns, ends_ns=s.run.ends_ns - back_ns))
        if k < 10
        else s
        for k, s in enumerate(gone)
    ]
    assert len(still_there) == 2 and lessons_of(later, half_life_s=month_s).proposals == ()


def test_weights_halve_with_age_and_a_night_counts_once() -> None:
    year = 365.0
    runs = {
        "new": run("new", 2 * year),
        "old": run("old", year),
        "cut": run("cut", 2 * year, turns=10),  # the same boat over the same time: a piece cut out of it
        "other": run("other", 2 * year, boat="two"),
        "ancient": run("ancient", -10 * year),
    }
    weight, left_out = weights(runs)
    assert weight == {"new": ONE, "old": ONE // 2, "other": ONE}
    assert "same time of the same boat" in left_out["cut"] and "too old" in left_out["ancient"]


def test_a_share_is_told_with_what_it_is_not_under() -> None:
    # Beta(1 + 3, 1 + 0): its distribution is x^4, whose tenth part lies at 0.1^(1/4) (elementary).
    mean, low = share_low(3 * ONE, 3 * ONE)
    assert mean == pytest.approx(4 / 5) and low == pytest.approx(0.1**0.25, abs=1e-9)


def _with_marks(k: int, *marks: object, things: tuple[tuple[float, float], ...] = ()) -> RunSummary:
    one = night(k, Water(things=things, anchorage=None, p_told=1.0))
    return replace(one, marks=tuple(marks))  # type: ignore[arg-type]


def test_a_mark_that_is_gone_is_told_and_one_missed_once_is_not() -> None:
    gone = mark("South", 0.0, 900.0, told=0, missed=15, looks=20, p_if_there=0.8, offset_m=None)
    there = mark("South", 0.0, 900.0)
    (one,) = lessons_of([_with_marks(k, gone) for k in range(4)]).proposals
    assert (one.kind, one.name, len(one.runs)) == ("mark gone", "South", 4)
    assert lessons_of([_with_marks(0, gone), *(_with_marks(k, there) for k in range(1, 6))]).proposals == ()


def test_a_moved_mark_is_one_thing_and_not_two() -> None:
    gone = mark("South", 0.0, 900.0, told=0, missed=15, looks=20, p_if_there=0.8, offset_m=None)
    (one,) = lessons_of([_with_marks(k, gone, things=((120.0, 860.0),)) for k in range(5)]).proposals
    assert one.kind == "mark moved" and off_m(one, 120.0, 860.0) < 10.0
    dragged = mark("South", 90.0, 830.0, offset_m=114.0)
    (one,) = lessons_of([_with_marks(k, dragged) for k in range(5)]).proposals
    assert one.kind == "mark moved" and off_m(one, 90.0, 830.0) < 5.0
    # Told as the mark on five runs, as something uncharted on five others.
    nights = [
        _with_marks(k, *([dragged] if k < 5 else []), things=((92.0, 828.0),) if k >= 5 else ()) for k in range(10)
    ]
    (one,) = lessons_of(nights).proposals
    assert (one.kind, len(one.runs)) == ("mark moved", 10)


def test_ways_unseen_water_and_clutter_come_from_the_cells() -> None:
    busy = [
        replace(night(k, Water((), None)), cells=cells(500.0, moving=2, vessels=2, east=200, north=0)) for k in range(4)
    ]
    found = lessons_of(busy)
    assert found.ways and all(w.course_deg == pytest.approx(90.0) and w.vessels == 8 for w in found.ways)
    both = [replace(s, cells=cells(500.0, moving=2, vessels=2)) for s in busy]
    assert {w.course_deg for w in lessons_of(both).ways} == {None}
    assert not found.unseen and not found.clutter
    hidden = [replace(s, cells=replace(s.cells, looked=s.cells.looked * 0, hidden=s.cells.looked)) for s in busy]
    assert len(lessons_of(hidden).unseen) == len(busy[0].cells.key)
    seen_once = [replace(hidden[0], cells=busy[0].cells), *hidden[1:]]
    assert lessons_of(seen_once).unseen == ()
    rough = [replace(s, cells=replace(s.cells, clutter=s.cells.looked)) for s in busy]
    assert {(c.wind, c.share) for c in lessons_of(rough).clutter} == {("to force 3", 0.5)}


def _ran(k: int, places: list[tuple[float, float]]) -> RunSummary:
    """A run on which all was looked at and one vessel went over some places, metres about the middle."""
    one = night(k, Water((), None))
    moving = np.zeros(len(one.cells.key), dtype=np.int32)
    lat, lon = FRAME.to_geographic(np.array([e for e, _ in places]), np.array([n for _, n in places]))
    moving[np.isin(one.cells.key, key_of(lat, lon))] = 1
    return replace(one, cells=replace(one.cells, moving=moving, vessels=moving))


def test_a_way_is_where_more_run_than_elsewhere() -> None:
    """Four kilometres of a lane, of which each night shows 400 m, now in one cell and now in the next: a way.  As many
    going anywhere: none, however many there were."""
    rng = np.random.default_rng(4)

    def along(k: int) -> RunSummary:
        start, side = rng.uniform(-1900.0, 1500.0), rng.uniform(-90.0, 90.0)
        return _ran(k, [(start + 50.0 * i, side) for i in range(9)])

    def anywhere(k: int) -> RunSummary:
        start, to = rng.uniform(-1500.0, 1500.0, 2), rng.uniform(0.0, 2.0 * np.pi)
        return _ran(k, [(start[0] + 50.0 * i * np.sin(to), start[1] + 50.0 * i * np.cos(to)) for i in range(9)])

    lane = [p for p in lessons_of([along(k) for k in range(40)]).proposals if p.kind == "way"]
    assert lane and all(abs(FRAME.to_plane(p.lat_deg, p.lon_deg)[1]) < 120.0 for p in lane)
    assert sum(len(p.cells) for p in lane) >= 15, "most of four kilometres, in cells of 111 m"
    for n in (40, 400):
        assert not [p for p in lessons_of([anywhere(k) for k in range(n)]).proposals if p.kind == "way"]
    # Few but steady: on every fourth run somebody is met there, and nothing is known of anywhere else.
    narrow = [replace(one, cells=_only_used(one)) for one in (along(k) for k in range(40))]
    assert [p for p in lessons_of(narrow).proposals if p.kind == "way"]


def _only_used(one: RunSummary) -> Cells:
    used = one.cells.moving > 0
    parts = {f.name: getattr(one.cells, f.name)[used] for f in fields(one.cells)}
    return Cells(**parts)


def test_several_boats_are_told_and_their_errors_do_not_make_two_things_of_one() -> None:
    rng = np.random.default_rng(8)
    # What is left in each boat's places after registration.
    offsets = {"a": (8.0, 0.0), "b": (-8.0, 2.0), "c": (1.0, -9.0), "d": (-1.0, 7.0)}
    nights = []
    for k in range(16):
        boat = "abcd"[k % 4]
        east, north = np.array(offsets[boat]) + rng.normal(0.0, 4.0, 2)
        told = sighting(float(east), float(north), sigma_m=9.0)
        nights.append(RunSummary(run(f"{k:03d}", float(k), boat), (told,), (), cells()))
    (one,) = lessons_of(nights).proposals
    assert one.boats == 4 and off_m(one, 0.0, 0.0) < 4.0


def test_many_sightings_of_one_place_say_what_they_said_when_each_was_a_beginning(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Many nights over two things and an anchorage: begun from the best placed, or from each, it is the same."""
    from moonless.memory.teaching import steady

    nights = [night(k) for k in range(240)]
    runs = {one.run.number: one.run for one in nights}
    few = teach(runs, nights, half_life_s=1e12)
    monkeypatch.setattr(steady, "BEGUN_FROM", 10**9)
    each = teach(runs, nights, half_life_s=1e12)
    assert [one.kind for one in few.proposals] == [one.kind for one in each.proposals]
    for one, other in zip(few.proposals, each.proposals, strict=True):
        away_m = geodesic(one.lat_deg, one.lon_deg, other.lat_deg, other.lon_deg)[0]
        assert away_m < 3.0 and abs(len(one.runs) - len(other.runs)) <= 0.02 * len(other.runs)


def under_way(k: int, places: list[tuple[float, float]], looks: int = 6) -> RunSummary:
    """A night in which one vessel was under way at each of some places in two of the looks."""
    base = night(k, Water(things=(), anchorage=None))
    used = key_of(*FRAME.to_geographic(*np.array(places).T))
    moving = np.where(np.isin(base.cells.key, used), 2, 0).astype(np.int32)
    return replace(base, cells=replace(base.cells, moving=moving, vessels=(moving > 0).astype(np.int32)))


def test_cells_that_vessels_use_make_one_way_traceable_to_its_runs_and_a_lone_cell_makes_none() -> None:
    # Every cell of a line that bends, and one cell far off.
    line = [(100.0 * k, 40.0 * k) for k in range(-8, 9)]
    summaries = [under_way(k, line if k < 6 else [(-1500.0, 1500.0)]) for k in range(10)]
    (way,) = [p for p in lessons_of(summaries).proposals if p.kind == "way"]
    assert way.runs == tuple(s.run.number for s in summaries[:6]) and way.looked == 10
    assert set(way.cells) == set(key_of(*FRAME.to_geographic(*np.array(line).T)).tolist())
    # Six runs of ten, a third of the looks: in each cell a fifth of a vessel at a time.
    assert way.at_once == pytest.approx(0.2 * len(way.cells), rel=0.01)


def test_what_is_accepted_of_usual_water_is_its_density_and_accepting_again_makes_no_second(tmp_path: Path) -> None:
    line = [(100.0 * k, 40.0 * k) for k in range(-8, 9)]
    nights = [night(k, Water(things=())) for k in range(10)]
    summaries = [replace(s, cells=under_way(k, line).cells) for k, s in enumerate(nights)]
    lessons = lessons_of(summaries)
    usual = [p for p in lessons.proposals if p.kind in ("anchorage", "way")]
    assert [p.kind for p in usual] == ["anchorage", "way"]
    known = Knowledge(tmp_path / "known.gpkg")
    runs = {one.run.number: one.run for one in summaries}
    assert accept(known, usual, runs) == (2, 0)
    assert accept(known, usual, runs) == (0, 2)
    anchorage, way = Knowledge.open(tmp_path / "known.gpkg").usual
    told = sum(len(s.sightings) for s in summaries)
    # So many boats lay there a night, in the circle that is told.
    assert anchorage.per_km2 == pytest.approx(told / 10 / (np.pi * (usual[0].sigma_m / 1000.0) ** 2), rel=0.01)
    # A third of a vessel in every cell of 111 m square.
    assert way.per_km2 == pytest.approx(1.0 / 3.0 / 0.1112**2, rel=0.01)
    assert "anchor" in anchorage.words and summaries[0].run.source in way.note
    lat, lon = FRAME.to_geographic(-900.0, 200.0)
    assert shapely.contains_xy(anchorage.outline_lonlat, lon, lat)
