"""A scene played: the same bytes, a wire that decodes, a truth that agrees with geometry."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from moonless.errors import InputError
from moonless.frames import wrap_pi
from moonless.scene.file import demo_folder, load_scene
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.scene.turned import spokes_from_turn
from moonless.scene.write import write_run
from moonless.wire.cat240 import Cat240Decoder, Video
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import AisSaid, DepthSaid, PoseSaid

SCENES = demo_folder().parent / "scenes"
TARGET = {"name": "boat", "kind": "motor yacht", "start_m": [300, 0], "heading_deg": 90}


def test_same_scene_same_bytes(make_scene: Any, tmp_path: Path) -> None:
    scene = make_scene(object=[TARGET])
    for name in ("one", "two"):
        write_run(ScenePlayer(scene), tmp_path / name)
    for name in ("radar.cat240", "nmea.nmea", "truth.json"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_another_seed_other_noise(make_scene: Any) -> None:
    one, two = (ScenePlayer(make_scene(scene={"seed": seed})).turn(0).radar for seed in (1, 2))
    assert any(a != b for a, b in zip(one, two, strict=True))


def test_restart_plays_the_same_again(make_scene: Any) -> None:
    player = ScenePlayer(make_scene(object=[TARGET]))
    first = [turn.radar for turn in player.turns()]
    player.restart()
    assert [turn.radar for turn in player.turns()] == first


def test_video_decodes_with_time_angle_and_range(make_scene: Any) -> None:
    player = ScenePlayer(make_scene())
    turn = player.turn(1)
    decoder = Cat240Decoder()
    videos = [v for _, data in turn.radar for v in decoder.feed(data)]
    assert len(videos) == 256 and all(isinstance(v, Video) for v in videos)
    for k, (video, (time_ns, _)) in enumerate(zip(videos, turn.radar, strict=True)):
        assert isinstance(video, Video)
        spoke = video.to_spoke(time_ns)
        assert len(spoke.echo) == 200
        # Time of day, item 140, comes in steps of 1/128 s (EUROCONTROL-SPEC-0149-240 ed. 1.3; step from memory).
        assert abs(spoke.time_ns - time_ns) < 8_000_000
        middle = spoke.azimuth_start_rad + 0.5 * ((spoke.azimuth_end_rad - spoke.azimuth_start_rad) % (2 * math.pi))
        assert abs(wrap_pi(middle - k * 2 * math.pi / 256)) < 2e-4
        assert spoke.first_cell_m + 199 * spoke.cell_m == pytest.approx(
            player.grid.max_range_m - 0.5 * spoke.cell_m, rel=1e-3
        )


def test_an_echo_stands_where_the_boat_is(make_scene: Any) -> None:
    player = ScenePlayer(make_scene(object=[TARGET], weather={"wind_kn": 0.5}))
    turn = player.turn(2)
    decoder = Cat240Decoder()
    cells = np.stack([v.cells for _, data in turn.radar for v in decoder.feed(data) if isinstance(v, Video)])
    cells[:, :20] = 0
    spoke, cell = np.unravel_index(int(np.argmax(cells)), cells.shape)
    seen = turn.truth.objects[0].seen
    assert seen is not None
    east, north, heading = player.antenna_at(2 * player.turn_s + spoke / 256 * player.turn_s)
    bearing = float(heading[0]) + spoke * 2 * math.pi / 256
    reach = player.grid.first_cell_m + cell * player.grid.cell_m
    assert abs(wrap_pi(bearing - math.atan2(300 - float(east[0]), 0 - float(north[0])))) < math.radians(3.0)
    assert reach == pytest.approx(math.hypot(300 - float(east[0]), float(north[0])), abs=40.0)


def test_instruments_say_where_the_boat_is(make_scene: Any) -> None:
    scene = make_scene(sensors={"heading_bias_deg": 3.0, "position_offset_m": [50, 0], "position_noise_m": 0.0})
    player = ScenePlayer(scene)
    decoder, said = NmeaDecoder(), []
    for turn in player.turns():
        for line in turn.nmea:
            said += decoder.feed(line.tagged(), line.time_ns)
    poses = [s.pose for s in said if isinstance(s, PoseSaid)]
    headings = np.array([p.heading_true_rad for p in poses if p.heading_true_rad is not None])
    # 45 degrees true, reported three too many; ten a second for ten seconds.
    assert math.degrees(float(np.mean(headings))) == pytest.approx(48.0, abs=0.15)
    assert 95 <= len(headings) <= 101
    places = [p for p in poses if p.lat_deg is not None]
    first = scene.frame.to_plane(places[0].lat_deg, places[0].lon_deg)
    assert first[0] == pytest.approx(50.0, abs=0.3) and first[1] == pytest.approx(0.0, abs=0.3)
    assert sum(decoder.counts.bad_fields.values()) == 0 and sum(decoder.counts.unused.values()) == 0


def test_no_position_while_the_receiver_is_out(make_scene: Any) -> None:
    player = ScenePlayer(make_scene(sensors={"gnss_out_s": [[2, 6]]}))
    lines = [line for turn in player.turns() for line in turn.nmea]
    start = player.scene.start_ns
    silent = [s for s in lines if 2e9 <= s.time_ns - start < 6e9]
    assert silent and not any(s.sentence.startswith(("$GPRMC", "$GPGGA", "$GPVTG")) for s in silent)
    assert any(s.sentence.startswith("$GPRMC") for s in lines)


def test_ais_and_depth_come_over_the_wire() -> None:
    player = ScenePlayer(open_demo())
    decoder, said = NmeaDecoder(), []
    for number in range(6):
        for line in player.turn(number).nmea:
            said += decoder.feed(line.tagged(), line.time_ns)
    reports = [s.report for s in said if isinstance(s, AisSaid)]
    assert {r.mmsi // 1_000_000 for r in reports} == {799}
    depth = next(s for s in said if isinstance(s, DepthSaid))
    charted = player.ground.depth_at(-2120.0, 1330.0)
    assert charted is not None and depth.below_surface_m == pytest.approx(charted + player.scene.tide_m, abs=0.3)


def test_hidden_means_land_stands_between() -> None:
    player = ScenePlayer(load_scene(SCENES / "hidden-launch.toml"))
    land = player.ground.real.land if player.ground.real is not None else None
    assert land is not None
    found = set()
    for number in (4, 12, 20, 28, 36, 44):
        truth = player.turn(number).truth
        pose = player.pose_at((number + 0.5) * player.turn_s)
        for one in truth.objects:
            if one.seen is None:
                continue
            # Where it was in the middle of the turn, a little before what the truth tells of its end.
            back = 0.5 * player.turn_s
            there = (one.east_m - back * one.velocity_east, one.north_m - back * one.velocity_north)
            line = shapely.LineString([(pose.east_m, pose.north_m), there])
            across = shapely.intersection(land, line).length
            if across > 60.0:
                assert one.seen.hidden, (number, one.name)
                assert one.seen.p_detect < 0.5
            if across == 0.0:
                assert not one.seen.hidden, (number, one.name)
            found.add(one.seen.hidden)
    assert found == {True, False}


def test_changed_marks_are_told(tmp_path: Path) -> None:
    player = ScenePlayer(load_scene(SCENES / "buoy-dragged.toml"))
    by_name = {m.charted.name: m for m in player.ground.marks}
    gone, dragged = by_name["Lampwick Reach 3"], by_name["Lampwick Fairway"]
    assert not gone.is_there
    moved = math.hypot(dragged.east_m - dragged.charted.east_m, dragged.north_m - dragged.charted.north_m)
    assert moved == pytest.approx(80.0, abs=1.0)
    names = {m.name for m in player.world.marks}
    assert "Lampwick Reach 3" not in names and "Lampwick Fairway" in names


def test_unknown_mark_is_refused(make_scene: Any) -> None:
    with pytest.raises(InputError, match="no mark on the chart is called 'Nowhere'"):
        ScenePlayer(make_scene(chart={"paths": ["demo"], "change": [{"name": "Nowhere", "gone": True}]}))


def test_uncharted_waters_are_refused(make_scene: Any) -> None:
    with pytest.raises(InputError, match="do not cover"):
        ScenePlayer(make_scene(scene={"origin": [40.0, -30.0]}, chart={"paths": ["demo"]}))


def test_silent_radar_sends_nothing(make_scene: Any) -> None:
    player = ScenePlayer(make_scene(radar={"silent_s": [[2.5, 7.5]]}))
    sent = [bool(turn.radar) for turn in player.turns()]
    assert sent == [True, False, False, True]


def test_frozen_radar_repeats_itself(make_scene: Any) -> None:
    player = ScenePlayer(make_scene(radar={"frozen_s": [[2.0, 20.0]]}))
    decoder = Cat240Decoder()
    pictures = []
    for turn in player.turns():
        pictures.append(np.stack([v.cells for _, d in turn.radar for v in decoder.feed(d) if isinstance(v, Video)]))
    assert np.array_equal(pictures[1], pictures[2]) and np.array_equal(pictures[2], pictures[3])


def test_truth_file_is_json_with_every_turn(make_scene: Any, tmp_path: Path) -> None:
    player = ScenePlayer(make_scene(object=[TARGET]))
    write_run(player, tmp_path)
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert len(truth["turns"]) == player.n_turns == 4
    assert truth["turns"][0]["objects"][0]["is"] == "uncharted"
    assert "not the record of a real radar" in truth["made"]
    assert not list(tmp_path.glob(".unfinished-*"))


def test_nothing_half_written(make_scene: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    player = ScenePlayer(make_scene())
    monkeypatch.setattr(player, "turns", lambda: (_ for _ in ()).throw(InputError("stopped on the way")))
    with pytest.raises(InputError, match="stopped on the way"):
        write_run(player, tmp_path / "out")
    assert list((tmp_path / "out").iterdir()) == []


def test_turning_spokes_put_the_world_where_it_is() -> None:
    """A still mark must come back at its own place from a boat that turns and runs."""
    n_spoke, n_cell, cell_m = 720, 400, 4.0
    first_m = cell_m
    mark = (500.0, 700.0)
    times = np.arange(n_spoke) / n_spoke * 2.5
    east, north = 13.0 * (times - 1.25) * 0.6, 13.0 * (times - 1.25) * 0.8
    heading = 0.5 + math.radians(12.0) * (times - 1.25)
    drawn = np.zeros((n_spoke, n_cell), np.uint8)
    row = round((math.atan2(mark[0], mark[1]) - 0.5) / (2 * math.pi) * n_spoke) % n_spoke
    drawn[row - 1 : row + 2, round((math.hypot(*mark) - first_m) / cell_m)] = 200
    spokes = spokes_from_turn(drawn, (0.0, 0.0), 0.5, east, north, heading, first_m, cell_m)
    hits = np.argwhere(spokes == 200)
    assert len(hits)
    for i, j in hits:
        bearing = heading[i] + i * 2 * math.pi / n_spoke
        reach = first_m + j * cell_m
        assert east[i] + reach * math.sin(bearing) == pytest.approx(mark[0], abs=16.0)
        assert north[i] + reach * math.cos(bearing) == pytest.approx(mark[1], abs=16.0)
