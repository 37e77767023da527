"""Times that come in are held against their neighbours and against receipt: one wrong word moves nothing."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from watch_made_run import PERIOD_S, T0, MadeRun, seconds_of

from moonless.boat.file import default_boat
from moonless.constants import TAU
from moonless.units import NS_PER_S
from moonless.watch.instruments.timebase import AGREE_RECORDS, TimeBase
from moonless.watch.pipeline.chain import Chain
from moonless.watch.pipeline.replay import Replay, play
from moonless.watch.types import Turn
from moonless.wire.cat240 import encode_video


def _tagged(data: bytes, seconds: int) -> bytes:
    tag = f"c:{seconds}"
    value = 0
    for letter in tag:
        value ^= ord(letter)
    return f"\\{tag}*{value:02X}\\".encode() + data


class _Tagged(MadeRun):
    """Headings that carry a tag from ten seconds on; ``ahead_s``: what it says, seconds after the truth."""

    def __init__(self, ahead_s: Any) -> None:
        super().__init__(turn_rate=0.05)
        self.ahead_s = ahead_s

    def events(self, seconds: float) -> Any:
        for now, kind, data in super().events(seconds):
            at_s = (now - T0) / NS_PER_S
            ahead = self.ahead_s(at_s) if data[3:6] == b"HDT" else None
            yield now, kind, data if ahead is None else _tagged(data, round(now / 1e9 + ahead))


def _headings_off_deg(turns: list[Turn], run: MadeRun) -> list[float]:
    """How far each told heading is from the one the run was made with."""
    out = []
    for turn in turns:
        told = turn.reading.own.heading_deg
        assert told is not None, turn.reading.faults
        true = math.degrees(run.heading_rad + run.turn_rate * seconds_of(turn))
        out.append(abs(math.remainder(told - true, 360.0)))
    return out


@pytest.mark.parametrize(
    "ahead_s",
    [
        lambda t: 3600.0 if 10.0 <= t < 10.1 else None,  # one sentence, an hour ahead
        lambda t: -3600.0 if 10.0 <= t < 10.1 else None,
        lambda t: 99_999_999_999 - T0 / 1e9 if 10.0 <= t < 10.1 else None,  # past 64 bits of nanoseconds
        lambda t: 7.0 if t >= 10.0 else None,  # a multiplexer whose clock is fast
        lambda t: -86_400.0 * 9000 if t >= 10.0 else None,  # one whose clock was never set
    ],
)
def test_a_heading_with_a_wrong_tag_is_one_of_now(ahead_s: Any) -> None:
    run = _Tagged(ahead_s)
    turns = run.play(22.0)
    assert len(turns) >= 7
    # A turn of 2.9 degrees a second: a heading a second late would be 2.9 off.
    assert max(_headings_off_deg(turns[1:], run)) < 1.0


def test_tags_that_go_on_being_wrong_are_told() -> None:
    turns = _Tagged(lambda t: 7.0).play(22.0)
    # The one echo of this made radar, in noise and in a turn, is little proof that it hears: another test's matter.
    told = {(f.what, f.state) for t in turns for f in t.reading.faults if f.what != "radar"}
    assert told == {("clock", "disagrees")}


def test_one_date_that_is_wrong_is_not_followed_and_three_are() -> None:
    def clock(wrong: tuple[int, ...]) -> list[str]:
        times = TimeBase()
        return [
            times.said(T0 + i * NS_PER_S, T0 + i * NS_PER_S + (3600 * NS_PER_S if i in wrong else 0)) for i in range(12)
        ]

    assert set(clock((5,))) == set(clock((5, 6))) == {"same", "odd"}
    assert clock((5, 6)).count("odd") == 2
    assert clock(tuple(range(5, 12)))[7] == "jumped"


def test_records_with_a_wrong_time_of_day_are_placed_by_the_others() -> None:
    times = TimeBase()
    rng = np.random.default_rng(3)
    for i in range(400):
        now = T0 + i * 10_000_000
        wrong = i > 20 and rng.random() < 0.2
        said = now - 40_000_000 + (int(rng.uniform(-40_000, 40_000)) * NS_PER_S if wrong else 0)
        news, (placed,) = times.radar(now, [said])
        assert news == "same" and abs(placed - now) < 100_000_000
    assert times.odd_records > 40


def test_a_radar_clock_that_is_set_is_followed_when_enough_agree() -> None:
    times = TimeBase()
    times.radar(T0, [T0] * 20)
    far = 7200 * NS_PER_S
    news = [times.radar(T0 + i, [T0 + i - far])[0] for i in range(AGREE_RECORDS)]
    assert news == ["same"] * (AGREE_RECORDS - 1) + ["jumped"]
    assert times.radar(T0, [T0 - far])[1] == [T0]


@pytest.mark.parametrize("by_s", [3.0, 20.0])
def test_video_held_back_all_at_once_is_late_and_no_clock(by_s: float) -> None:
    times = TimeBase()
    times.radar(T0, [T0] * 20)
    back = round(by_s * NS_PER_S)
    news = [times.radar(T0 + i, [T0 + i - back])[0] for i in range(2 * AGREE_RECORDS)]
    assert set(news[AGREE_RECORDS:]) == {"late"}
    assert times.radar(T0, [T0 - back])[1] == [T0 - back]


def test_damaged_times_of_day_in_a_file_do_not_end_the_run(tmp_path: Path) -> None:
    """A 40 s run in which one spoke in fifty has another time of day: each turn is read all the same."""
    run, rng = MadeRun(), np.random.default_rng(9)
    video, lines = bytearray(), bytearray()
    n_damaged = 0
    for k, (now, kind, data) in enumerate(run.events(40.0)):
        if kind != "radar":
            lines += data
            continue
        if k % 50 == 7:
            n_damaged += 1
            data = encode_video(
                rng.integers(20, 60, 96).astype(np.uint8), azimuth_start_rad=(k * TAU / 180) % TAU,
                azimuth_end_rad=((k + 1) * TAU / 180) % TAU, cell_m=20.0, start_cell=1, sequence=k,
                time_ns=now + int(rng.uniform(-40_000, 40_000)) * NS_PER_S,
            )  # fmt: skip
        video += data
    (tmp_path / "radar.cat240").write_bytes(video)
    (tmp_path / "nmea.txt").write_bytes(lines)
    replay = Replay(radar=(tmp_path / "radar.cat240",), nmea=(tmp_path / "nmea.txt",))
    turns = [turn for turn, _ in play(Chain(default_boat()), replay)]
    scans = [turn for turn in turns if turn.scan is not None]
    assert len(scans) >= 0.9 * 40.0 / PERIOD_S
    assert not [f for t in turns for f in t.reading.faults if f.what in ("clock", "radar")]
    assert any(f"{n_damaged} records whose time of day cannot be" in note for note in replay.notes)


def test_a_pause_in_a_radar_file_is_a_pause(tmp_path: Path) -> None:
    video, lines = bytearray(), bytearray()
    for now, kind, data in MadeRun().events(40.0):
        at_s = (now - T0) / NS_PER_S
        if kind != "radar":
            lines += data
        elif not 10.0 <= at_s < 25.0:
            video += data
    (tmp_path / "radar.cat240").write_bytes(video)
    (tmp_path / "nmea.txt").write_bytes(lines)
    replay = Replay(radar=(tmp_path / "radar.cat240",), nmea=(tmp_path / "nmea.txt",))
    turns = [turn for turn, _ in play(Chain(default_boat()), replay)]
    silent = [seconds_of(t) for t in turns if any((f.what, f.state) == ("radar", "silent") for f in t.reading.faults)]
    assert silent and min(silent) > 10.0 and max(silent) < 28.0
    assert not [note for note in replay.notes if "cannot be" in note]
    assert seconds_of([t for t in turns if t.scan is not None][-1]) > 37.0
