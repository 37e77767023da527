"""Exercises from a recording: the ring lies on the echo of what was there, and what the eye saw is the truth."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bench.many_runs.nights import ONE_BOAT, THINGS, night

from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.helm.practice.room import PracticeRoom
from moonless.practice.scoring import mark
from moonless.practice.steps.own_runs import OwnRuns
from moonless.practice.store import read_answers
from moonless.practice.types import CANNOT_TELL, ExerciseAnswer
from moonless.scene.file import demo_folder
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.units import NS_PER_S, iso_utc
from moonless.watch.afterwards.by_eye import CHARTED, NOTHING, UNCHARTED, VESSEL, SeenThen
from moonless.wire.recording import RecordingWriter

CHARTS = (demo_folder() / "waters.gpkg",)
BARGE = next(place for name, _, place in THINGS if name == "laid-up barge")


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Boat]:
    """Ten turns of a made night as a helm keeps them, and three things that were seen at the end of it."""
    path = tmp_path_factory.mktemp("own") / "run.mcap"
    scene = night(4, replace(ONE_BOAT[0], heading_bias_deg=3.0), 10)
    player = ScenePlayer(scene)
    writer = RecordingWriter(path)
    last_ns = 0
    for turn in player.turns():
        for line in turn.nmea:
            writer.nmea(line.sentence.encode("ascii") + b"\r\n", line.time_ns)
        for at_ns, data in turn.radar:
            writer.radar(data, at_ns, is_datagram=True)
            last_ns = at_ns
    lat, lon = (float(v) for v in open_demo().frame.to_geographic(*BARGE))

    def eye(echo: int, what: str, before_s: float, **more: Any) -> None:
        at_ns = last_ns - round(before_s * NS_PER_S)
        line = {"time": iso_utc(at_ns), "echo": echo, "lat": lat, "lon": lon, "sog_kn": 0.0, "is": "uncharted",
                "charted": False, "heading_bias_deg": 3.0, "east_m": 3.0, "north_m": -2.0, "what": what}  # fmt: skip
        writer.eye(line | more, at_ns)

    eye(1, "boat", 2.0)
    eye(1, "pile or stake", 1.0)  # of one echo the last word counts
    eye(2, "something of my own words", 1.0)
    eye(3, "nothing there", 0.5)
    writer.close()
    return path, scene.boat


def test_the_ring_lies_on_the_echo(recorded: tuple[Path, Boat]) -> None:
    """Held against the scene's own truth, where the barge was put, with a heading that is three degrees off."""
    path, boat = recorded
    one, waters = OwnRuns([path], CHARTS, boat).exercise(0)
    assert one.pictures is not None and one.pictures.is_received and len(one.pictures.looks) >= 2
    look, grid, counts = one.pictures.last, one.pictures.grid, one.pictures.counts[-1]
    (ring,) = one.asked[0].places
    truth = waters.chart.frame.to_plane(*open_demo().frame.to_geographic(*BARGE))
    assert math.dist(ring, truth) < 1.0
    east, north = ring[0] - look.east_m, ring[1] - look.north_m
    row = round((math.atan2(east, north) - look.heading_rad) % math.tau / math.tau * grid.n_spoke)
    cell = round((math.hypot(east, north) - grid.first_cell_m) / grid.cell_m)
    # A beam is some three rows wide here; three degrees, had they stayed in, are four rows.
    rows = np.arange(row - 2, row + 3)
    shown = counts[:, cell - 2 : cell + 3].max(axis=1).astype(int)
    there = int(shown[rows % grid.n_spoke].mean())
    beside = [int(shown[(rows + off) % grid.n_spoke].mean()) for off in (-6, 6)]
    assert there > max(beside) + 25, (there, beside)
    assert abs(look.heading_rad - look.shown_heading_rad) < 1e-9
    assert one.pictures.scale_nm * 1852.0 > math.hypot(east, north)


def test_what_the_eye_saw_is_the_truth(recorded: tuple[Path, Boat]) -> None:
    path, boat = recorded
    runs = OwnRuns([path], CHARTS, boat)
    assert len(runs) == 2, "words of one's own cannot be asked"
    one, _ = runs.exercise(0)
    assert one.key.right.word == UNCHARTED and one.step == "not_charted" and "pile or stake" in one.because
    other, _ = runs.exercise(1)
    assert other.key.right.word == NOTHING
    assert (
        mark(one, ExerciseAnswer(word=UNCHARTED)).points == 1.0 and mark(one, ExerciseAnswer(word=VESSEL)).points == 0.0
    )
    # A thing that lies still could be a boat: who leaves it open is half right.
    assert mark(one, CANNOT_TELL).points == pytest.approx(0.5)
    with pytest.raises(InputError, match="there are 2 exercises"):
        runs.exercise(2)


@pytest.mark.parametrize(
    ("what", "charted", "word"),
    [
        ("boat", True, VESSEL), ("buoy or beacon", True, CHARTED), ("buoy or beacon", False, UNCHARTED),
        ("float or pot", True, UNCHARTED), ("rock or wreck", False, UNCHARTED), ("birds or weed", False, NOTHING),
        ("a charted mark", False, CHARTED), ("whatever", True, None),
    ],
)  # fmt: skip
def test_words_of_the_helm_are_words_of_the_day(what: str, charted: bool, word: str | None) -> None:
    assert SeenThen(0, 1, 0.0, 0.0, 0.0, what, charted).word == word


def test_the_room_asks_each_once_and_keeps_the_mark(recorded: tuple[Path, Boat], tmp_path: Path) -> None:
    path, boat = recorded
    record = tmp_path / "practice.json"
    room = PracticeRoom(CHARTS, boat, record, runs=[path])
    assert room.do({"do": "progress"})["own"] == 2
    asked = []
    for _ in range(3):
        body = room.do({"do": "own"})
        asked.append(body["id"])
        assert body["form"] == "word" and body["overlay"] is not None and "because" not in body
        assert len(room.counts(body["id"], 0)) == body["pictures"]["n_spoke"] * body["pictures"]["n_cell"]
        found = room.do({"do": "answer", "id": body["id"], "answer": {"word": UNCHARTED}})
        assert found["points"] in (0.0, 1.0)
    assert asked[0] != asked[1] and asked[2] == asked[0]
    kept = read_answers(record)
    assert [one.step for one in kept] == ["not_charted", "boat_or_beacon", "not_charted"]
    assert all(one.waters.startswith("own run 20") for one in kept)


def test_nothing_to_ask_is_said(tmp_path: Path, boat: Boat) -> None:
    with pytest.raises(InputError, match="no recording was given"):
        OwnRuns([], CHARTS, boat).next(())
    path = tmp_path / "run.mcap"
    writer = RecordingWriter(path)
    writer.eye({"time": iso_utc(0), "echo": 1, "lat": -12.4, "lon": -118.3, "sog_kn": 0.0, "is": "vessel",
                "charted": False, "what": "boat"}, 1)  # fmt: skip
    writer.close()
    with pytest.raises(InputError, match="no radar picture"):
        OwnRuns([path], CHARTS, boat).exercise(0)


