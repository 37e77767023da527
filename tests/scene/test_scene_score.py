"""The scorer of scenes: a perfect reading scores full marks, each kind of fault costs what it should."""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import shapely

from moonless.reading.types import Call, ChartedAs, Echo, Fault, Missing, Own, Reading, Registration, SpeedAdvice
from moonless.scene.file import demo_folder, load_scene
from moonless.scene.player import ScenePlayer, SceneTurn
from moonless.scene.truth import Seen

sys.path.insert(0, str(Path(__file__).parents[2]))

from bench.scenes.figures import CLASSES, calibration_error, macro_f1
from bench.scenes.meetings import Meetings
from bench.scenes.named_figures import figures_of
from bench.scenes.score import REGISTERED_AFTER, Score
from bench.scenes.stage import BuiltIn
from bench.scenes.truth import Laid, Thing, TruthBook

TURNS = 16


@pytest.fixture(scope="module")
def played() -> tuple[ScenePlayer, list[SceneTurn]]:
    player = ScenePlayer(load_scene(demo_folder().parent / "scenes" / "quiet.toml"))
    return player, [player.turn(k) for k in range(TURNS)]


def _echo(number: int, lat: float, lon: float, kind: Any, speed_kn: float, course: float | None, charted: Any) -> Echo:
    return Echo(
        number,
        lat,
        lon,
        100.0,
        0.0,
        0.0,
        course,
        speed_kn,
        None,
        kind,
        1.0,
        0.0,
        charted,
        None,
        None,
        None,
        None,
        "made",
    )


def _perfect(
    player: ScenePlayer, book: TruthBook, turn: SceneTurn, change: Callable[[list[Echo]], list[Echo]]
) -> Reading:
    laid = book.lay(turn.truth, turn.end_ns)
    echoes = []
    for number, thing in enumerate(sorted(laid.things, key=lambda t: t.key)):
        if not thing.detectable:
            continue
        lat, lon = player.scene.frame.to_geographic(thing.east_m, thing.north_m)
        speed = math.hypot(*thing.velocity)
        course = math.degrees(math.atan2(*thing.velocity)) % 360 if speed > 0 else None
        charted = None
        if thing.mark is not None:
            mark = player.ground.marks[thing.mark].charted
            charted = ChartedAs(mark.object, mark.name, mark.cell, mark.feature, 0.0)
        echoes.append(_echo(number, lat, lon, thing.cls, speed / (1852 / 3600), course, charted))
    nothing = Registration(0.0, 0.0, 0.0, 1.0, True)
    own = Own(None, None, None, None, None)
    return Reading(
        turn.end_ns, own, tuple(change(echoes)), (), None, (), None, None, nothing, SpeedAdvice(None, "made")
    )


def _figures(
    played: tuple[ScenePlayer, list[SceneTurn]], change: Callable[[list[Echo]], list[Echo]]
) -> dict[str, float]:
    player, turns = played
    stage = BuiltIn(player)
    score, book = Score(stage), TruthBook(stage)
    for turn in turns:
        score.add(turn, _perfect(player, book, turn, change))
    return figures_of(score)


def test_a_perfect_reading_scores_full_marks(played: Any) -> None:
    figures = _figures(played, lambda echoes: echoes)
    assert figures["held"] == 1.0 and figures["macro_f1"] == 1.0 and figures["right_mark"] == 1.0
    assert figures["false_tracks_per_scan"] == 0.0 and figures["id_switches"] == 0.0
    assert figures["gospa_m"] == pytest.approx(0.0, abs=1e-3)
    assert figures["position_error_m"] == pytest.approx(0.0, abs=1e-3)
    assert figures["calibration_error"] == 0.0


@pytest.mark.parametrize(("bias_deg", "east_m"), [(0.0, 0.0), (2.5, 30.0), (-4.0, -12.0)])
def test_a_heading_and_a_place_told_wrong_are_errors(played: Any, bias_deg: float, east_m: float) -> None:
    # The scene's compass and receiver are right: whatever is told of them is wrong by all of itself.
    player, _ = played
    stage = BuiltIn(player)
    score, book = Score(stage), TruthBook(stage)
    assert player.scene.sensors.heading_bias_rad == 0.0 and player.scene.sensors.position_offset_m == (0.0, 0.0)
    turn = player.turn(REGISTERED_AFTER)
    told = _perfect(player, book, turn, lambda echoes: echoes)
    changed = {
        "registration": Registration(bias_deg, east_m, 0.0, 1.0, True),
        "own": Own(10.0, 20.0, None, None, None),
    }
    score.add(turn, Reading(**{**{n: getattr(told, n) for n in told.__slots__}, **changed}))
    figures = figures_of(score)
    assert figures["heading_bias_error_deg"] == pytest.approx(abs(bias_deg), abs=1e-9)
    assert figures["fix_error_m"] == pytest.approx(abs(east_m), abs=1e-9)


def test_what_is_not_held_is_missed(played: Any) -> None:
    whole = _figures(played, lambda echoes: echoes)
    fewer = _figures(played, lambda echoes: echoes[1:])
    assert fewer["held"] < whole["held"] and fewer["gospa_m"] > 10.0


def test_a_stray_counts_once_a_scan(played: Any) -> None:
    # Open water, far from all that is there.
    lat, lon = played[0].scene.frame.to_geographic(-1900.0, -1100.0)
    stray = _echo(999, lat, lon, "vessel", 5.0, 90.0, None)
    figures = _figures(played, lambda echoes: [*echoes, stray])
    assert figures["false_tracks_per_scan"] == 1.0 and figures["held"] == 1.0 and figures["macro_f1"] < 1.0
    called_clutter = _echo(999, lat, lon, "clutter", 0.0, None, None)
    assert _figures(played, lambda echoes: [*echoes, called_clutter])["false_tracks_per_scan"] == 0.0


def test_a_doubled_vessel_is_a_false_one(played: Any) -> None:
    def double(echoes: list[Echo]) -> list[Echo]:
        vessel = next((e for e in echoes if e.kind == "vessel"), None)
        if vessel is None:
            return echoes
        lat, lon = vessel.lat + 15.0 / 111_000.0, vessel.lon
        return [*echoes, _echo(998, lat, lon, "vessel", vessel.sog_kn, vessel.cog_deg, None)]

    figures = _figures(played, double)
    assert figures["false_vessels_per_turn"] == 1.0 and figures["doubled_per_turn"] == 1.0
    assert figures["held"] == 1.0 and figures["macro_f1"] < 1.0


def test_a_memory_of_what_is_gone_is_wrong(played: Any) -> None:
    lat, lon = played[0].scene.frame.to_geographic(-1900.0, -1100.0)
    memory = replace(_echo(997, lat, lon, "vessel", 5.0, 90.0, None), coasting=True)
    figures = _figures(played, lambda echoes: [*echoes, memory])
    assert figures["false_vessels_per_turn"] == 1.0 and figures["remembered_vessels_per_turn"] == 1.0


def test_a_remembered_echo_holds_but_is_not_fresh(played: Any) -> None:
    figures = _figures(played, lambda echoes: [replace(e, coasting=True) for e in echoes])
    assert figures["held"] == 1.0 and figures["held_fresh"] == 0.0


def test_withdrawn_turns_cost(played: Any) -> None:
    player, turns = played
    stage = BuiltIn(player)
    score, book = Score(stage), TruthBook(stage)
    for turn in turns:
        reading = _perfect(player, book, turn, lambda echoes: echoes)
        if turn.number % 2:
            reading = replace(reading, echoes=(), faults=(Fault("radar", "damaged", turn.start_ns),))
        score.add(turn, reading)
    figures = figures_of(score)
    assert figures["held"] == pytest.approx(0.5, abs=0.1) and figures["withdrawn_turns"] == TURNS // 2


@pytest.mark.parametrize("place", ["a vessel's", "beside it", "open water", "the shore"])
def test_the_truth_never_asks_what_was_said(played: Any, place: str) -> None:
    player, turns = played
    truths = set()
    for kind in CLASSES:
        for coasting in (False, True):
            stage = BuiltIn(player)
            score, book = Score(stage), TruthBook(stage)
            for turn in turns[:10]:
                laid = book.lay(turn.truth, turn.end_ns)
                vessel = next(t for t in laid.things if t.cls == "vessel" and t.mark is None)
                shore = shapely.get_coordinates(player.ground.real.land)[0]
                at = {
                    "a vessel's": (vessel.east_m, vessel.north_m),
                    "beside it": (vessel.east_m + 20.0, vessel.north_m),
                    "open water": (-1900.0, -1100.0),
                    "the shore": tuple(shore),
                }[place]
                lat, lon = stage.frame.to_geographic(*at)
                told = replace(_echo(1, lat, lon, kind, 3.0, 90.0, None), coasting=coasting)
                lat, lon = stage.frame.to_geographic(vessel.east_m, vessel.north_m)
                also = () if place == "a vessel's" else (_echo(2, lat, lon, "vessel", 3.0, 90.0, None),)
                score.add(turn, replace(_perfect(player, TruthBook(stage), turn, lambda e: []), echoes=(*also, told)))
            of_truth: Counter[str] = Counter()
            for (truth, _), n in score.kinds.confusion.items():
                of_truth[truth] += n
            truths.add(frozenset(of_truth.items()))
    assert len(truths) == 1, truths


def test_a_wrong_mark_is_not_the_right_one(played: Any) -> None:
    def wrong(echoes: list[Echo]) -> list[Echo]:
        other = ChartedAs("BCNLAT", "Elsewhere", "waters", "0-0-0", 0.0)
        return [e if e.charted_as is None else _echo(e.id, e.lat, e.lon, e.kind, 0.0, None, other) for e in echoes]

    assert _figures(played, wrong)["right_mark"] == 0.0


def test_a_mark_told_missing_that_is_there_is_wrong(played: Any) -> None:
    player, turns = played
    stage = BuiltIn(player)
    score, book = Score(stage), TruthBook(stage)
    mark = player.ground.marks[0].charted
    lat, lon = player.scene.frame.to_geographic(mark.east_m, mark.north_m)
    for turn in turns:
        reading = _perfect(player, book, turn, lambda echoes: echoes)
        told = Missing(mark.object, mark.name, lat, lon, 0.99, 20)
        score.add(turn, Reading(**{**{n: getattr(reading, n) for n in reading.__slots__}, "missing": (told,)}))
    assert figures_of(score)["missing_wrong"] == 1.0 and figures_of(score)["missing_right"] == 0.0


def test_macro_f1_by_hand() -> None:
    # vessel: 8 right of 10, 2 called clutter; clutter: 10 of 10.  F1 = 16/18 and 20/22.
    confusion = Counter({("vessel", "vessel"): 8, ("vessel", "clutter"): 2, ("clutter", "clutter"): 10})
    assert macro_f1(confusion) == pytest.approx((16 / 18 + 20 / 22) / 2)


def test_rare_kinds_weigh_by_their_count_where_asked() -> None:
    # Ten vessels right, two strays told as vessels: F1 20/22 and 0.
    confusion = Counter({("vessel", "vessel"): 10, ("clutter", "vessel"): 2})
    assert macro_f1(confusion) == pytest.approx(0.5 * 20 / 22)
    assert macro_f1(confusion, full=10) == pytest.approx((20 / 22 + 0.2 * 0.0) / 1.2)
    assert macro_f1(confusion, least=10) == pytest.approx(20 / 22)


def test_calibration_error_by_hand() -> None:
    pairs = [(0.95, True)] * 8 + [(0.95, False)] * 2 + [(0.55, True)] * 5 + [(0.55, False)] * 5
    # Bins: |0.95 - 0.8| and |0.55 - 0.5|, half the pairs each.
    assert calibration_error(pairs) == pytest.approx(0.5 * 0.15 + 0.5 * 0.05)


# Minutes of a straight meeting: own boat still at the origin, a boat from the north at 4 m/s, 2 000 m off at first.
def _meeting_turn(k: int) -> tuple[Laid, dict[int, Thing]]:
    north = 2_000.0 - 4.0 * 10.0 * k
    seen = Seen(north, 0.0, 1.0, 20.0, False, None)
    boat = Thing("boat", "vessel", 100.0, north, (0.0, -4.0), 8.0, seen, k >= 5)
    return Laid([boat], [], (0.0, 0.0), (0.0, 0.0)), {0: boat}


def test_waits_misses_and_calls_of_nothing_by_hand() -> None:
    meetings = Meetings()
    for k in range(45):
        laid, whose = _meeting_turn(k)
        boat = replace(_echo(7, 0.0, 0.0, "vessel", 8.0, 180.0, None), cpa_m=100.0 + (30.0 if k < 26 else 10.0))
        stray = _echo(8, 0.0, 0.0, "vessel", 8.0, 180.0, None)
        calls = [Call("echo 7", "vessel", 2, "a boat", 7)] if k >= 40 else []
        calls += [Call("echo 8", "vessel", 2, "nobody", 8)] if k in (20, 21) else []
        calls += [Call("echo 8", "vessel", 1, "nobody either", 8)] if k == 3 else []  # in passing
        nothing = Registration(0.0, 0.0, 0.0, 1.0, True)
        own = Own(None, None, None, None, None)
        advice = SpeedAdvice(None, "made")
        reading = replace(
            Reading(k * 10 * 10**9, own, (boat, stray), (), None, (), None, None, nothing, advice), calls=tuple(calls)
        )
        meetings.closest(boat, whose[0], laid)
        meetings.calls(reading, laid, whose)
    figures = meetings.figures(1_800.0)
    # Passes at 100 m; nearer than 180 s from 720 m off, which is turn 33; seen from turn 5; called in turn 40.
    assert figures["meetings_called"] == 1.0
    assert figures["call_after_s"] == pytest.approx(10.0 * (40 - 33))
    assert figures["call_after_detectable_s"] == pytest.approx(10.0 * (40 - 5))
    assert figures["false_calls_per_hour"] == 2.0  # one in half an hour
    # Turns 0 to 26 lie beyond half a mile (926 m), the last of them told ten metres out.
    assert figures["cpa_error_middle_m"] == pytest.approx(math.sqrt((26 * 900.0 + 100.0) / 27))
    assert figures["cpa_error_near_m"] == pytest.approx(10.0)
    assert figures["cpa_error_m"] == pytest.approx(math.sqrt((26 * 900.0 + 19 * 100.0) / 45))
    assert "cpa_error_far_m" not in figures


def test_a_meeting_never_called_is_told() -> None:
    meetings = Meetings()
    own, advice = Own(None, None, None, None, None), SpeedAdvice(None, "made")
    for k in range(45):
        laid, whose = _meeting_turn(k)
        reading = Reading(k * 10 * 10**9, own, (), (), None, (), None, None, Registration(0, 0, 0, 1, True), advice)
        meetings.calls(reading, laid, whose)
    figures = meetings.figures(1_800.0)
    assert figures == {"meetings_called": 0.0, "false_calls_per_hour": 0.0}
