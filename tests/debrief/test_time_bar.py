"""What stands on a recording's time bar, held against a crossing made on paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_debrief import BOAT, T0, crossing

from moonless.errors import WireError
from moonless.helm.process.events import Event, TimeBarNow
from moonless.helm.process.time_bar import marks_of, tell_bar
from moonless.units import NS_PER_S
from moonless.watch.pipeline.replay import Replay
from moonless.wire.nmea_write import write_hdt
from moonless.wire.recording import RecordingReader, RecordingWriter


def recorded(path: Path, *, with_calls: bool = True) -> Path:
    writer = RecordingWriter(path)
    for k, one in enumerate(crossing(150.0)):
        calls = [{"key": "v5", "kind": "vessel", "urgency": 3, "say": "Vessel ahead.", "echo": 5}] if k == 20 else []
        calls += [{"key": "m", "kind": "mark", "urgency": 1, "say": "Mark abeam.", "echo": None}] if k == 9 else []
        writer.nmea(write_hdt(0.0).encode() + b"\r\n", one.time_ns)
        writer.reading({**one.line, "calls": calls if with_calls else []}, one.time_ns)
    writer.close()
    return path


def test_calls_and_closest_approaches_stand_at_their_times(tmp_path: Path) -> None:
    marks = marks_of(recorded(tmp_path / "run.mcap"), BOAT)
    call, closest = marks
    assert (call.kind, call.urgency, call.say) == ("call", 3, "Vessel ahead.")
    assert call.time_ns == T0 + 50 * NS_PER_S, "what is said in passing is no place to go to"
    # She passes ahead at half time, 150 s from the beginning; plain geometry puts the closest near it.
    assert closest.kind == "closest" and closest.urgency == 4 and "m" in closest.say
    assert abs(closest.time_ns - (T0 + 150 * NS_PER_S)) < 30 * NS_PER_S


def test_the_bar_is_there_before_its_marks_are(tmp_path: Path) -> None:
    import threading

    got: list[Event] = []
    whole = threading.Event()

    def take(event: Event) -> None:
        got.append(event)
        if isinstance(event, TimeBarNow) and event.marks is not None:
            whole.set()

    tell_bar(recorded(tmp_path / "run.mcap"), BOAT, take)
    assert whole.wait(120.0)
    first, last = got
    assert isinstance(first, TimeBarNow) and isinstance(last, TimeBarNow)
    assert (first.first_ns, first.last_ns, first.marks) == (T0, T0 + 300 * NS_PER_S, None)
    assert last.marks is not None and len(last.marks) == 2


def test_a_recording_without_readings_has_a_bar_without_marks(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    writer = RecordingWriter(path)
    writer.nmea(write_hdt(0.0).encode() + b"\r\n", T0)
    writer.close()
    assert marks_of(path, BOAT) == () and RecordingReader(path).span() == (T0, T0)
    (tmp_path / "none.mcap").write_bytes(b"nothing")
    with pytest.raises(WireError):
        tell_bar(tmp_path / "none.mcap", BOAT, lambda event: None)


def test_a_replay_begun_in_the_middle_leaves_out_what_came_before(tmp_path: Path) -> None:
    path = recorded(tmp_path / "run.mcap")
    whole = list(Replay(recording=path).feeds())
    part = list(Replay(recording=path, from_ns=T0 + 100 * NS_PER_S).feeds())
    assert [fed.time_ns for fed in part] == [f.time_ns for f in whole if f.time_ns >= T0 + 100 * NS_PER_S]
    assert 0 < len(part) < len(whole)
