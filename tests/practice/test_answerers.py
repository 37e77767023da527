"""What a perfect, a blind, a cautious and a careful answerer earn on real exercises."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.practice.keys import FiguresKey, PlaceKey, WordKey
from moonless.practice.ladder import LADDER, make
from moonless.practice.scoring import mark
from moonless.practice.types import CANNOT_TELL, Exercise, ExerciseAnswer, Figure
from moonless.practice.waters import PracticeWaters

SEEDS = (101, 102)


@pytest.fixture(scope="module")
def exercises(waters: PracticeWaters, boat: Boat) -> dict[str, list[Exercise]]:
    return {step.key: [make(step.key, seed, waters, boat) for seed in SEEDS] for step in LADDER}


@pytest.mark.slow
def test_who_knows_earns_everything(exercises: dict[str, list[Exercise]]) -> None:
    for made in exercises.values():
        for one in made:
            found = mark(one, one.key.right)
            assert found.points == pytest.approx(1.0), one.asks
            assert found.against == pytest.approx(0.0)


@pytest.mark.slow
def test_who_does_not_look_earns_what_luck_gives(exercises: dict[str, list[Exercise]]) -> None:
    chance = np.random.default_rng(7)
    for step, made in exercises.items():
        for one in made:
            points = [mark(one, one.key.blind(chance)).points for _ in range(60)]
            if isinstance(one.key, WordKey):
                # One word of several, by counting.
                expected = 0.0 if one.key.truth is None else 1.0 / len(one.key.words)
                assert abs(np.mean(points) - expected) < 4.0 * np.sqrt(0.25 / 60), step
            elif isinstance(one.key, PlaceKey):
                assert np.mean(points) < 0.15, step
            assert np.mean(points) < 0.75, step


@pytest.mark.slow
def test_who_never_commits_earns_what_could_not_be_known(exercises: dict[str, list[Exercise]]) -> None:
    for made in exercises.values():
        for one in made:
            found = mark(one, CANNOT_TELL)
            if one.key.right.is_withheld:
                assert found.points == 1.0
            else:
                assert found.points == pytest.approx(1.0 - one.knowable)
                assert found.against == pytest.approx(one.knowable)


@pytest.mark.slow
def test_an_exercise_is_the_same_each_time(
    waters: PracticeWaters, boat: Boat, exercises: dict[str, list[Exercise]]
) -> None:
    for step in ("not_charted", "lying"):
        again = make(step, SEEDS[0], waters, boat)
        first = exercises[step][0]
        assert again.asks == first.asks and again.key.right == first.key.right
        assert again.pictures is not None and first.pictures is not None
        assert np.array_equal(again.pictures.counts, first.pictures.counts)


def an_exercise(key: object, knowable: float) -> Exercise:
    return Exercise("rings", 0, "?", (), key, knowable, "")


def test_leaving_it_open_is_worth_what_could_not_be_known() -> None:
    key = WordKey(("a", "b", "c", "d"), "a")
    seldom, plain = an_exercise(key, 0.1), an_exercise(key, 1.0)
    assert mark(seldom, CANNOT_TELL).points == pytest.approx(0.9)
    assert mark(plain, CANNOT_TELL).points == 0.0
    # A claim that is wrong is wrong however little could be known.
    assert mark(seldom, ExerciseAnswer(word="b")).against == 1.0
    # A right guess of four counts three quarters.
    assert mark(plain, ExerciseAnswer(word="a")).for_ == pytest.approx(0.75)


def test_of_three_ways_the_careful_one_earns_most() -> None:
    """Of things that show by chance: say it where it shows, leave it open where not, against never and always saying.

    The expectations by hand, for a thing shown with probability p and a blind touch worth nothing: careful
    p + (1 - p)^2, cautious 1 - p, blind 0; the careful is never beaten.
    """
    chance = np.random.default_rng(3)
    key = PlaceKey(((100.0, 0.0),), 30.0, 60.0, (0.0, 0.0), 3_000.0)
    for p in (0.1, 0.5, 0.9):
        one = an_exercise(key, p)
        shown = chance.uniform(size=4_000) < p
        careful = np.mean([mark(one, key.right if s else CANNOT_TELL).points for s in shown])
        assert careful == pytest.approx(p + (1.0 - p) ** 2, abs=0.03)
        assert careful >= mark(one, CANNOT_TELL).points - 0.03
        blind = np.mean([mark(one, key.blind(chance)).points for _ in range(2_000)])
        assert blind < 0.01


def test_figures_by_their_tolerance_and_round_the_compass() -> None:
    bearing = Figure("bearing", "deg", 358.0, 4.0, 12.0, 0.0, 360.0)
    key = FiguresKey((bearing,))
    assert key.worth(ExerciseAnswer(figures=(1.0,))) == 1.0  # three degrees off, across north
    assert key.worth(ExerciseAnswer(figures=(6.0,))) == pytest.approx(0.5)
    assert key.worth(ExerciseAnswer(figures=(178.0,))) == 0.0


@pytest.mark.parametrize(
    ("key", "answer"),
    [
        (WordKey(("a", "b"), "a"), ExerciseAnswer(word="z")),
        (WordKey(("a", "b"), "a"), ExerciseAnswer(figures=(1.0,))),
        (PlaceKey(((0.0, 0.0),), 1.0, 2.0, (0.0, 0.0), 9.0), ExerciseAnswer(word="a")),
        (FiguresKey((Figure("x", "kn", 1.0, 1.0, 2.0, 0.0, 9.0),)), ExerciseAnswer(figures=(1.0, 2.0))),
        (FiguresKey((Figure("x", "kn", 1.0, 1.0, 2.0, 0.0, 9.0),)), ExerciseAnswer(figures=(float("nan"),))),
    ],
)
def test_an_answer_of_another_form_is_refused(key: object, answer: ExerciseAnswer) -> None:
    with pytest.raises(InputError):
        mark(an_exercise(key, 1.0), answer)


@pytest.mark.slow
def test_pictures_show_a_thing_as_often_as_the_model_says(waters: PracticeWaters, boat: Boat) -> None:
    """The chance by which answers are forgiven, against the pictures themselves: painted at the usual gain or not."""
    from moonless.practice.raw import NEUTRAL, painted
    from moonless.practice.stage import Stage, StagedMover, off
    from moonless.radar.types import Weather

    place = waters.place(np.random.default_rng(2), (1_200.0, 4_000.0))
    assert place is not None
    own = StagedMover("own", "launch", *place)
    seen = []
    for range_m in (1_100.0, 1_500.0, 1_900.0, 2_300.0):
        thing = StagedMover("k", "kayak", *off(place, 0.7, range_m))
        stage = Stage(
            waters, boat.radar, own, 1.5, Weather(0.05, 0.0, 1.0), (thing,), times_s=tuple(np.arange(-190.0, 1.0, 10.0))
        )
        chance = float(stage.chances()[-1, 0])
        pictures = stage.pictures(np.random.default_rng(int(range_m)))
        grid = pictures.grid
        row, cell = round(0.7 / (2.0 * np.pi) * grid.n_spoke), round((range_m - grid.first_cell_m) / grid.cell_m)
        shows = [painted(look, grid, NEUTRAL)[row - 3 : row + 4, cell - 3 : cell + 4].any() for look in pictures.counts]
        seen.append((chance, float(np.mean(shows))))
    # Twenty turns each: three standard deviations are 0.34 at the worst, and a screen's threshold is not the model's.
    assert all(abs(model - drawn) < 0.4 for model, drawn in seen), seen
    assert seen[0][0] > seen[-1][0] and seen[0][1] > seen[-1][1]


def test_the_truth_is_nowhere_in_what_is_asked(waters: PracticeWaters, boat: Boat) -> None:
    from moonless.helm.practice.body import exercise_body

    one = make("lights", 5, waters, boat)
    body = exercise_body(one, waters)
    assert not {"because", "right", "notes", "knowable", "key"} & set(body)
    assert {f.name for f in dataclasses.fields(one)} >= {"because", "key", "knowable", "notes"}
