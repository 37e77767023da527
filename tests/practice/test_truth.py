"""The truths that answers are marked by, each worked out here by another road than the program's."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.practice.keys import AreaKey, FiguresKey, PlaceKey, WordKey
from moonless.practice.ladder import LADDER, make
from moonless.practice.stage import StagedMover, at_least, polar
from moonless.practice.steps import hidden as hidden_step
from moonless.practice.steps import lying as lying_step
from moonless.practice.steps import motion as motion_step
from moonless.practice.steps.lights import VESSELS, look, meeting_under_rules
from moonless.practice.steps.speed import SpeedKey, fastest
from moonless.practice.types import Exercise, ExerciseAnswer
from moonless.practice.waters import PracticeWaters, open_waters
from moonless.reading.collision.safe_speed import stopping_line_m
from moonless.scene.file import demo_folder

SEEDS = range(200, 204)


def made(step: str, waters: PracticeWaters, boat: Boat, seeds: range = SEEDS) -> list[Exercise]:
    return [make(step, seed, waters, boat) for seed in seeds]


@pytest.mark.slow
def test_range_and_bearing_are_the_geodesics(waters: PracticeWaters, boat: Boat) -> None:
    """By geographiclib over the ellipsoid, from the places' own latitude and longitude."""
    for one in made("rings", waters, boat):
        assert one.pictures is not None
        last, place = one.pictures.last, one.notes[0].places[0]
        here, there = (waters.chart.frame.to_geographic(*p) for p in ((last.east_m, last.north_m), place))
        line = Geodesic.WGS84.Inverse(*here, *there)
        if isinstance(one.key, FiguresKey):
            range_nm, bearing = (f.truth for f in one.figures)
            assert range_nm * 1852.0 == pytest.approx(line["s12"], rel=1e-4)
            true = bearing if "true" in one.figures[1].name else bearing + math.degrees(last.heading_rad)
            assert abs((true - line["azi1"] + 180.0) % 360.0 - 180.0) < 0.1
        else:
            assert isinstance(one.key, PlaceKey) and one.key.places == (place,)


def steps_on_land(waters: PracticeWaters, here: tuple[float, float], there: tuple[float, float]) -> int:
    """Count places on land along a line, every five metres."""
    n = int(math.dist(here, there) / 5.0)
    along = np.linspace(0.0, 1.0, n)
    return int(
        shapely.contains_xy(
            waters.world.land, here[0] + along * (there[0] - here[0]), here[1] + along * (there[1] - here[1])
        ).sum()
    )


@pytest.mark.slow
def test_what_land_hides_lies_behind_land(waters: PracticeWaters, boat: Boat) -> None:
    forms = set()
    for one in made("hidden", waters, boat, range(200, 208)):
        assert one.pictures is not None
        here = (one.pictures.last.east_m, one.pictures.last.north_m)
        forms.add(type(one.key))
        if isinstance(one.key, WordKey):
            place = one.asked[0].places[0]
            assert (steps_on_land(waters, here, place) > 0) == (one.key.truth == hidden_step.HIDDEN)
        elif isinstance(one.key, PlaceKey):
            (start, end), first = one.asked[0].places, one.key.places[0]
            share = math.dist(start, first) / math.dist(start, end)
            for k in np.linspace(0.0, 1.0, 60):
                place = (start[0] + k * (end[0] - start[0]), start[1] + k * (end[1] - start[1]))
                if abs(k - share) * math.dist(start, end) > 60.0:
                    assert (steps_on_land(waters, here, place) > 0) == (k < share)
        elif isinstance(one.key, AreaKey):
            inside = one.key.right.place
            assert inside is not None and steps_on_land(waters, here, inside) > 0
    assert len(forms) == 3


@pytest.mark.slow
def test_closest_approach_by_stepping_time(waters: PracticeWaters, boat: Boat) -> None:
    """Every second for half an hour, both holding on; the least distance is the answer's."""
    chance = np.random.default_rng(4)
    for _ in range(200):
        own = StagedMover("own", "launch", 0.0, 0.0, float(chance.uniform(0, 6.28)), float(chance.uniform(1, 6)))
        east, north = (float(v) for v in chance.uniform(-2500, 2500, 2))
        ship = StagedMover("s", "launch", east, north, float(chance.uniform(0, 6.28)), float(chance.uniform(1, 8)))
        closest_m, in_s, crosses_m = motion_step.meeting(own, ship)
        times = np.arange(0.0, 1800.0, 1.0)
        away = np.array([math.dist(own.at(t), ship.at(t)) for t in times])
        if 0.0 < in_s < 1700.0:
            assert away.min() == pytest.approx(closest_m, abs=10.0)
        if math.isfinite(crosses_m):
            # Where she crosses the line of our heading: the sign of her bearing off the bow changes.
            off_bow = [
                (polar(own.at(t), ship.at(t))[1] - own.course_rad + math.pi) % (2 * math.pi) - math.pi for t in times
            ]
            ahead = [math.cos(a) * d for a, d in zip(off_bow, away, strict=True)]
            aside = [math.sin(a) * d for a, d in zip(off_bow, away, strict=True)]
            change = next((k for k in range(1, len(times)) if aside[k - 1] * aside[k] < 0.0), None)
            if change is not None:
                assert ahead[change] == pytest.approx(crosses_m, abs=20.0)


@pytest.mark.slow
def test_what_stands_still_lies_in_one_place_of_the_chart(waters: PracticeWaters, boat: Boat) -> None:
    """The echo itself, look by look, put over the ground: only the one that is right stays where it was."""
    for one in made("which_way", waters, boat, range(200, 210)):
        if not isinstance(one.key, PlaceKey):
            continue
        assert one.pictures is not None
        first, grid = one.pictures.looks[0], one.pictures.grid
        for note in one.asked:
            place = note.places[0]
            away, bearing = polar((first.east_m, first.north_m), place)
            row = round((bearing - first.heading_rad) % (2 * math.pi) / (2 * math.pi) * grid.n_spoke)
            cell = round((away - grid.first_cell_m) / grid.cell_m)
            rows = np.arange(row - 4, row + 5) % grid.n_spoke
            was_there = int(one.pictures.counts[0][rows, max(cell - 3, 0) : cell + 4].max()) > 55
            if place == one.key.places[0]:
                assert was_there
        return
    raise AssertionError("no such question among these seeds")


def test_at_least_so_many_looks_is_the_binomial() -> None:
    from scipy import stats

    assert at_least([0.3] * 10, 5) == pytest.approx(stats.binom.sf(4, 10, 0.3))
    assert at_least([1.0, 0.0, 0.5], 2) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("name", "bearing", "from_bow", "gives_way"),
    [
        # Rule 15: she on our starboard side, her port side and red light to us: we keep out of the way.
        ("a power-driven vessel under 50 m", 300.0, 45.0, True),
        # Rule 15, 17: on our port side, her green to us: she keeps out of the way.
        ("a power-driven vessel under 50 m", 60.0, -45.0, False),
        # Rule 14: head-on, both.
        ("a power-driven vessel under 50 m", 0.0, 0.0, None),
        # Rule 13: coming up with her from astern.
        ("a power-driven vessel under 50 m", 180.0, 5.0, True),
        # Rule 18(a): not under command, restricted, fishing, sailing: whichever side.
        ("a vessel not under command", 60.0, -45.0, True),
        ("a vessel restricted in her ability to manoeuvre", 60.0, -45.0, True),
        ("a vessel trawling", 60.0, -45.0, True),
        ("a sailing vessel", 60.0, -45.0, True),
    ],
)
def test_who_keeps_clear_by_the_rules(name: str, bearing: float, from_bow: float, gives_way: bool | None) -> None:
    """COLREGs Rules 13 to 18, in words, from memory."""
    met = meeting_under_rules(VESSELS[name], bearing, from_bow)
    assert met is not None and met.gives_way is gives_way


@pytest.mark.slow
def test_the_word_for_her_course_goes_with_the_side_that_is_seen(waters: PracticeWaters, boat: Boat) -> None:
    asked = 0
    for one in made("lights", waters, boat, range(200, 260)):
        if not one.asks.startswith("Which way") or not isinstance(one.key, WordKey):
            continue
        asked += 1
        colours = {spot.colour for spot in one.lights if spot.up < 0.35}
        # Rule 21(b), (c): green to starboard, red to port, white astern.
        wanted = {"to your right": "green", "to your left": "red", "away from you": "white"}.get(str(one.key.truth))
        assert (wanted in colours) if wanted else {"red", "green"} <= colours, one.key.truth
    assert asked > 8


def test_the_lights_of_table_vessels_are_the_rules() -> None:
    """From memory: Rule 26(b) green over white; 27(a) red over red; 27(b) red, white, red; 29 white over red."""
    from moonless.rules.required import required

    def seen(name: str, bearing: float) -> tuple[tuple[str, ...], ...]:
        return look(required(VESSELS[name])[0].lights, bearing)

    assert ("green", "white") in seen("a vessel trawling", 45.0)
    assert ("red", "red") in seen("a vessel not under command", 45.0)
    assert ("red", "white", "red") in seen("a vessel restricted in her ability to manoeuvre", 45.0)
    assert ("white", "red") in seen("a pilot vessel", 45.0)
    assert ("red",) in seen("a sailing vessel", 300.0) and ("green",) not in seen("a sailing vessel", 300.0)


def test_the_greatest_speed_stops_in_the_distance_and_one_faster_does_not(boat: Boat) -> None:
    for within_m in (150.0, 300.0, 600.0):
        speed = fastest(boat, within_m)
        assert stopping_line_m(speed, boat) <= within_m < stopping_line_m(speed + 0.3, boat)
    key = SpeedKey(12.0)
    assert key.worth(ExerciseAnswer(figures=(12.0,))) == 1.0 and key.worth(ExerciseAnswer(figures=(10.0,))) == 1.0
    assert key.worth(ExerciseAnswer(figures=(18.0,))) == 0.0 and 0.0 < key.worth(ExerciseAnswer(figures=(5.0,))) < 0.6


@pytest.mark.slow
def test_a_picture_that_stands_still_does_and_no_other(waters: PracticeWaters, boat: Boat) -> None:
    words = set()
    for one in made("lying", waters, boat, range(200, 214)):
        assert one.pictures is not None
        is_still = all(np.array_equal(one.pictures.counts[0], look) for look in one.pictures.counts[1:])
        truth = one.key.truth if isinstance(one.key, WordKey) else lying_step.HEADING
        words.add(truth)
        assert is_still == (truth == lying_step.FROZEN)
        off_deg = math.degrees(one.pictures.last.shown_heading_rad - one.pictures.last.heading_rad)
        assert (abs(off_deg) > 4.0) == (truth == lying_step.HEADING)
        if abs(off_deg) > 4.0:
            # Told beside what the sensor says, the true heading would give its error away.
            assert f"{round(math.degrees(one.pictures.last.heading_rad)) % 360:03d}" not in " ".join(one.told)
        if isinstance(one.key, FiguresKey):
            assert one.figures[0].truth == pytest.approx(off_deg)
    assert len(words) >= 5


@pytest.mark.slow
def test_what_is_missing_is_not_in_the_picture_and_the_others_are(waters: PracticeWaters, boat: Boat) -> None:
    for one in made("missing", waters, boat):
        assert one.pictures is not None and isinstance(one.key, PlaceKey)
        last, grid = one.pictures.last, one.pictures.grid
        for place in one.key.places:
            away, bearing = polar((last.east_m, last.north_m), place)
            row = round((bearing - last.heading_rad) % (2 * math.pi) / (2 * math.pi) * grid.n_spoke)
            cell = round((away - grid.first_cell_m) / grid.cell_m)
            rows = np.arange(row - 1, row + 2) % grid.n_spoke
            # No stronger than the sea and the noise to both sides of it at the same range, on the whole.
            beside = np.concatenate([np.arange(row + 20, row + 60), np.arange(row - 60, row - 20)]) % grid.n_spoke
            here = np.median([int(c[rows, cell].max()) for c in one.pictures.counts])
            around = np.median([np.quantile(c[beside, cell], 0.97) for c in one.pictures.counts])
            assert here < max(around, 50.0) + 15.0


def test_a_step_that_is_none_and_waters_without_depth_are_refused(waters: PracticeWaters, boat: Boat) -> None:
    with pytest.raises(InputError, match="no step 'sailing'; the steps are rings"):
        make("sailing", 0, waters, boat)
    with pytest.raises(InputError, match="m deep or more"):
        open_waters([demo_folder() / "waters.gpkg"], 500.0)


def test_the_ladder_says_where_each_step_stands() -> None:
    assert len(LADDER) == 15
    for step in LADDER:
        assert ("STCW A-II/1" in step.beside or "Model Course 1.07" in step.beside) and step.by_day.endswith(".")
