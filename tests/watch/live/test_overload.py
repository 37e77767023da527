"""A computer that cannot keep up: told, withdrawn, the newest first.  On the story's own clock, so on any machine."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Any

import pytest
from bench.faults.arrivals import NMEA, RADAR, SECOND_NMEA, Arrival, flood
from bench.faults.play import Cost, Played, play
from watch_made_run import MadeRun

from moonless.boat.file import default_boat
from moonless.units import NS_PER_S
from moonless.watch.live import recorder as recording
from moonless.watch.live.inbox import MOST_INSTRUMENT_BYTES, MOST_RADAR_S, Inbox, Item
from moonless.watch.live.recorder import Recorder
from moonless.wire.recording import RecordingReader, RecordingWriter

SECONDS = 30.0


def _arrivals(seconds: float = SECONDS) -> list[Arrival]:
    return [Arrival(t, RADAR if kind == "radar" else NMEA, data) for t, kind, data in MadeRun().events(seconds)]


def _played(cost: Cost, arrivals: Any = None) -> Played:
    return play(default_boat(), None, arrivals or _arrivals(), SECONDS, cost=cost)


def _oldest_s(played: Played) -> float:
    return max(told.at_s - told.of_s for told in played.told if told.reading.speed.advised_kn or told.reading.seeing)


def _states(played: Played) -> set[str]:
    return {f"{fault.what} {fault.state}" for told in played.told for fault in told.reading.faults}


def test_a_quick_computer_is_never_called_late() -> None:
    played = _played(Cost(scan_s=0.3))
    assert "radar late" not in _states(played) and _oldest_s(played) < 0.5


@pytest.mark.parametrize("scan_s", [2.2, 4.0, 9.0])
def test_a_scan_that_takes_too_long_is_told_and_not_shown_as_now(scan_s: float) -> None:
    played = _played(Cost(scan_s=scan_s))
    assert "radar late" in _states(played)
    assert not [told for told in played.told if told.reading.seeing and told.at_s - told.of_s > 2.0]


def test_a_flood_on_one_link_leaves_the_others_alone() -> None:
    """Nearly twice the bytes a second that the computer can read; the radar and the other link are on time."""
    cost = Cost(scan_s=0.2, radar_byte_s=1.6e-7, nmea_byte_s=1.2e-6)
    played = _played(cost, list(flood(5.0, 25.0, 50_000, SECOND_NMEA)(_arrivals())))
    assert played.bytes_dropped > 1_000_000
    assert any("more comes than can be worked on" in text for _, text in played.lines)
    assert any("worked on again" in text for _, text in played.lines)
    assert _states(played) <= {"ais silent"}
    assert _oldest_s(played) < 2.0
    assert sum(bool(told.reading.seeing) for told in played.told) >= 9  # a turn each 2.5 s


def test_of_a_radar_that_waits_the_newest_is_kept() -> None:
    inbox = Inbox()
    for k in range(100):
        inbox.put(Item(b"r%d" % k, k * NS_PER_S // 10, True, 0))
    items, _ = inbox.take(0.0)
    assert items[-1].data == b"r99"
    assert items[-1].received_ns - items[0].received_ns <= MOST_RADAR_S * NS_PER_S
    assert inbox.take_left_out() == {0: sum(len(b"r%d" % k) for k in range(100 - len(items)))}


def test_a_flood_is_held_to_its_room_and_a_file_is_not() -> None:
    inbox = Inbox(frozenset({2}))
    for k in range(1000):
        inbox.put(Item(bytes(1000), k, False, 1))
        inbox.put(Item(bytes(1000), k, False, 2))
    items, _ = inbox.take(0.0)
    assert sum(len(i.data) for i in items if i.link == 1) <= MOST_INSTRUMENT_BYTES
    assert sum(len(i.data) for i in items if i.link == 2) == 1_000_000
    assert [i.received_ns for i in items] == sorted(i.received_ns for i in items)


def _line(k: int) -> Any:
    return lambda writer: writer.nmea(b"$GPZDA,%d\r\n" % k, k, link=1)


def test_a_card_that_stalls_does_not_hold_up_who_records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    may_go = threading.Event()
    flush = RecordingWriter.flush_if_due

    def stall(self: RecordingWriter, now_ns: int) -> None:
        may_go.wait()
        flush(self, now_ns)

    monkeypatch.setattr(RecordingWriter, "flush_if_due", stall)
    recorder = Recorder(tmp_path / "run.mcap", {}, lambda *_: None, lambda: 0)
    for k in range(100):
        recorder.add(20, _line(k))  # returns at once though nothing can be written
    assert not may_go.is_set()
    may_go.set()
    recorder.close()
    assert [r.received_ns for r in RecordingReader(tmp_path / "run.mcap")] == list(range(100))


def test_a_recording_goes_on_when_the_disk_has_room_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "RETRY_S", 0.05)
    is_full, said = True, []
    writes = RecordingWriter._add

    def add(self: Any, *args: Any) -> None:
        if is_full:
            raise OSError(28, "No space left on device")
        writes(self, *args)

    monkeypatch.setattr(RecordingWriter, "_add", add)
    recorder = Recorder(tmp_path / "run.mcap", {}, lambda link, state, line: said.append((state, line)), lambda: 0)
    recorder.add(20, _line(1))
    while not any(state == "lost" for state, _ in said):
        time.sleep(0.01)
    is_full = False
    while not any(state == "open" for state, _ in said):
        time.sleep(0.01)
    recorder.add(20, _line(2))
    recorder.close()
    assert [r.received_ns for r in RecordingReader(tmp_path / "run-2.mcap")] == [2]
    assert said[0] == ("lost", f"{tmp_path / 'run.mcap'}: recording has stopped: No space left on device")
