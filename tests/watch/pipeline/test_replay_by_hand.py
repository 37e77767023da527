"""When what was recorded came in: lines and blocks placed in time, each worked by hand from the rules of `replay`."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from moonless.errors import InputError, WireError
from moonless.watch.pipeline import replay as replaying
from moonless.watch.pipeline.replay import Fed, Replay, _own_times, _spread, play

S = 1_000_000_000
MS = 1_000_000


@pytest.mark.parametrize(
    ("times", "spread"),
    [
        # Between two timed lines evenly; a gap of more than a second is no reason to place them in it.
        ([0, None, None, None, 400 * MS], [0, 100 * MS, 200 * MS, 300 * MS, 400 * MS]),
        ([0, None, 10 * S], [0, S // 2, 10 * S]),
        ([0, None, None, None, S], [0, S // 4, S // 2, 3 * S // 4, S]),
        # Before the first and after the last a burst, 10 ms a line.
        ([None, None, 5 * S, None, None], [5 * S - 20 * MS, 5 * S - 10 * MS, 5 * S, 5 * S + 10 * MS, 5 * S + 20 * MS]),
        # A clock that was put back: what lies between stands at the one before it.
        ([9 * S, None, 5 * S, None, 6 * S], [9 * S, 9 * S, 5 * S, 5 * S + S // 2, 6 * S]),
        ([3 * S], [3 * S]),
        ([1 * S, 2 * S], [1 * S, 2 * S]),
    ],
)
def test_lines_without_a_time_lie_between_those_that_have_one(times: list[int | None], spread: list[int]) -> None:
    assert _spread(times) == spread


def _nmea(body: str) -> bytes:
    total = 0
    for octet in body.encode():
        total ^= octet
    return f"${body}*{total:02X}".encode()


def _ns(*at: int) -> int:
    return round(datetime(*at, tzinfo=UTC).timestamp()) * S  # type: ignore[misc,arg-type]


def test_the_first_date_in_a_file_holds_for_the_times_of_day_before_it() -> None:
    """GGA says no date (IEC 61162-1): of the lines before the first RMC that date's midnight is near."""
    gga = "GPGGA,{},1000.00,N,14000.00,W,1,08,1.0,2.0,M,0.0,M,,"
    lines = [
        _nmea(gga.format("235958.00")),
        _nmea("HEHDT,12.0,T"),
        _nmea("GPRMC,000001.00,A,1000.00,N,14000.00,W,5.0,90.0,250331,,,A"),
        _nmea(gga.format("000002.00")),
    ]
    other_day = _ns(2020, 1, 1)
    assert _own_times(lines, other_day) == [
        (_ns(2031, 3, 24, 23, 59, 58), False), (None, False), (_ns(2031, 3, 25, 0, 0, 1), True),
        (_ns(2031, 3, 25, 0, 0, 2), False),
    ]  # fmt: skip
    # Nobody says the day: it is the file's.
    assert _own_times([lines[0]], _ns(2031, 6, 7, 12)) == [(_ns(2031, 6, 7, 23, 59, 58), False)]


def _log(path: Path, lines: list[bytes], when: int = _ns(2031, 3, 25)) -> Path:
    path.write_bytes(b"\r\n".join(lines) + b"\r\n")
    os.utime(path, ns=(when, when))
    return path


RMC = "GPRMC,{},A,1000.00,N,14000.00,W,5.0,90.0,250331,,,A"


def test_two_logs_are_merged_in_time_and_each_says_how_far_it_is(tmp_path: Path) -> None:
    one = _log(tmp_path / "a.nmea", [_nmea(RMC.format(f"10000{k}.00")) for k in (0, 2, 4)])
    two = _log(tmp_path / "b.nmea", [_nmea(RMC.format(f"10000{k}.00")) for k in (1, 3)])
    fed = list(Replay(nmea=(one, two)).feeds())
    assert [f.time_ns for f in fed] == [_ns(2031, 3, 25, 10, 0, k) for k in range(5)]
    assert [f.done for f in fed] == pytest.approx([1 / 3, 1 / 2, 2 / 3, 1.0, 1.0])
    assert {f.link for f in fed} == {str(one), str(two)} and all(f.kind == "nmea" and not f.is_datagram for f in fed)
    assert all(f.data.endswith(b"\r\n") and f.data.count(b"\n") == 1 for f in fed)
    later = Replay(nmea=(one, two), from_ns=_ns(2031, 3, 25, 10, 0, 2))
    assert [f.time_ns for f in later.feeds()] == [_ns(2031, 3, 25, 10, 0, k) for k in (2, 3, 4)]


def test_what_a_log_lacks_is_said(tmp_path: Path) -> None:
    undated = _log(tmp_path / "a.nmea", [_nmea("GPGGA,100000.00,1000.00,N,14000.00,W,1,08,1.0,2.0,M,0.0,M,,")])
    replay = Replay(nmea=(undated,))
    assert len(list(replay.feeds())) == 1 and replay.notes == [f"{undated}: no date is said; the file's own is taken"]
    dated = Replay(nmea=(_log(tmp_path / "b.nmea", [_nmea(RMC.format("100000.00"))]),))
    assert len(list(dated.feeds())) == 1 and dated.notes == []
    with pytest.raises(WireError, match="no line in it says a time"):
        list(Replay(nmea=(_log(tmp_path / "c.nmea", [_nmea("HEHDT,12.0,T")]),)).feeds())
    with pytest.raises(WireError, match="holds no NMEA"):
        list(Replay(nmea=(_log(tmp_path / "d.nmea", [b"nothing of the kind"]),)).feeds())
    with pytest.raises(InputError, match="nothing to replay"):
        list(Replay().feeds())
    with pytest.raises(InputError, match="cannot be read"):
        list(Replay(nmea=(tmp_path / "none.nmea",)).feeds())


def _radar(
    monkeypatch: pytest.MonkeyPatch,
    times_s: list[float | None],
    span: tuple[int, int] | None,
    day: int = _ns(2031, 3, 25),
) -> tuple[list[Fed], list[str]]:
    """Play blocks that carry these times of day; None: no time.  One without video is written as a negative number."""

    def video(s: float | None) -> Any:
        if s is not None and s < 0.0:
            return None

        def time_ns(near_ns: int) -> int:
            # Of all days the one on which it lies nearest (ASTERIX 1.x, I240/140: time of day).
            midnight = near_ns - near_ns % (86_400 * S)
            all_ = [midnight + k * 86_400 * S + round((s or 0.0) * S) for k in (-1, 0, 1)]
            return min(all_, key=lambda t: abs(t - near_ns))

        return SimpleNamespace(time_of_day_s=s, time_ns=time_ns)

    n = len(times_s)
    blocks = [(bytes([k]), video(s), (k + 1) / n) for k, s in enumerate(times_s)]
    monkeypatch.setattr(Replay, "_read_blocks", lambda self, path, quiet=False: iter(blocks))
    monkeypatch.setattr(replaying, "_file_time", lambda path: _ns(2031, 3, 25))
    replay = Replay()
    return list(replay._blocks(Path("r.cat240"), span)), replay.notes


HOUR = _ns(2031, 3, 25, 10), _ns(2031, 3, 25, 11)
TEN = 36_000.0  # ten o'clock, seconds of the day


def _times(fed: list[Fed]) -> list[float]:
    return [(f.time_ns - _ns(2031, 3, 25)) / S for f in fed]


def test_blocks_stand_at_their_own_times_and_over_midnight(monkeypatch: pytest.MonkeyPatch) -> None:
    fed, notes = _radar(monkeypatch, [86_399.0, -1.0, 0.5, 1.0], (_ns(2031, 3, 25, 23, 59, 50), _ns(2031, 3, 26, 0, 1)))
    assert _times(fed) == [86_399.0, 86_399.0, 86_400.5, 86_401.0] and notes == []
    assert [f.data for f in fed] == [bytes([k]) for k in range(4)]
    assert all(f.kind == "radar" and f.link == "radar" and not f.is_datagram for f in fed)
    assert [f.done for f in fed] == [0.25, 0.5, 0.75, 1.0]
    _, notes = _radar(monkeypatch, [TEN, TEN + 1.0], None)
    assert notes == ["r.cat240: no date is said; the file's own is taken"]


def test_a_wrong_time_is_placed_by_its_neighbour_and_a_pause_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten seconds off and fewer than forty in a row that agree: the clock of a record; forty: a pause."""
    fed, notes = _radar(monkeypatch, [TEN, TEN + 9.0, TEN + 20.0, TEN + 21.0, TEN + 10.0], HOUR)
    assert _times(fed) == [TEN, TEN + 9.0, TEN + 9.0, TEN + 9.0, TEN + 10.0]
    assert [f.data for f in fed] == [bytes([k]) for k in range(5)]
    assert notes == ["r.cat240: 2 records whose time of day cannot be; they are placed by their neighbours"]
    pause = [TEN + 600.0 + 0.1 * k for k in range(45)]
    fed, notes = _radar(monkeypatch, [TEN, *pause], HOUR)
    assert _times(fed) == pytest.approx([TEN, *pause]) and notes == []
    fed, notes = _radar(monkeypatch, [TEN, *pause[:39]], HOUR)
    assert _times(fed) == [TEN] * 40 and "39 records" in notes[0]
    # Two wrong clocks by turns never agree, however many there are.
    fed, notes = _radar(
        monkeypatch,
        [TEN, *[TEN + 600.0 + 300.0 * (k % 2) for k in range(60)]],
        HOUR,
    )
    assert _times(fed) == [TEN] * 61 and "60 records" in notes[0]


def test_blocks_without_a_time_lie_evenly_over_the_nmea_beside_them(monkeypatch: pytest.MonkeyPatch) -> None:
    fed, notes = _radar(monkeypatch, [None] * 4, (_ns(2031, 3, 25, 10), _ns(2031, 3, 25, 10, 0, 8)))
    assert _times(fed) == [TEN + 2.0, TEN + 4.0, TEN + 6.0, TEN + 8.0]
    assert "spread evenly" in notes[0]
    with pytest.raises(WireError, match="no time of day"):
        _radar(monkeypatch, [None] * 4, None)


@pytest.mark.parametrize(
    ("begins", "said"),
    [((9, 58, 2), None), ((9, 57, 0), "3 minutes before"), ((10, 30, 0), None), ((11, 2, 2), "2 minutes after"),
     ((11, 1, 58), None), ((11, 10, 0), "10 minutes after")],
)  # fmt: skip
def test_a_radar_clock_far_from_the_nmea_is_said(
    begins: tuple[int, int, int], said: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    h, m, s = begins
    _, notes = _radar(monkeypatch, [3600.0 * h + 60.0 * m + s], HOUR)
    assert (notes == []) if said is None else (len(notes) == 1 and said in notes[0])


def test_the_bar_runs_with_the_radar_where_there_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    called: list[tuple[str, Any]] = []

    class Listens:
        def feed_radar(self, data: bytes, time_ns: int, is_datagram: bool) -> list[str]:
            called.append(("radar", (data, time_ns, is_datagram)))
            return ["radar"]

        def feed_nmea(self, data: bytes, time_ns: int, link: str) -> list[str]:
            called.append(("nmea", (data, time_ns, link)))
            return ["nmea"]

        def feed_spokes(self, spokes: Any, poses: Any) -> list[str]:
            called.append(("spokes", (spokes, poses)))
            return ["spokes"]

        def finish(self) -> list[str]:
            return ["last"]

    fed = [
        Fed(1, "nmea", b"n", "a", False, 0.5), Fed(2, "radar", b"r", "radar", True, 0.2),
        Fed(3, "nmea", b"m", "a", False, 0.9), Fed(4, "spokes", b"", "radar", False, 0.7, ["s"], ["p"]),  # type: ignore[list-item]
    ]  # fmt: skip
    monkeypatch.setattr(Replay, "feeds", lambda self: iter(fed))
    chain: Any = Listens()
    with_radar = [(turn, done) for turn, done in play(chain, Replay(radar=(Path("r"),)))]
    assert with_radar == [("nmea", 0.0), ("radar", 0.2), ("nmea", 0.2), ("spokes", 0.7), ("last", 1.0)]
    without = [done for _, done in play(chain, Replay())]
    assert without == [0.5, 0.2, 0.9, 0.7, 1.0]
    assert called[:4] == [
        ("nmea", (b"n", 1, "a")), ("radar", (b"r", 2, True)), ("nmea", (b"m", 3, "a")), ("spokes", (["s"], ["p"])),
    ]  # fmt: skip


def test_a_recorded_polar_set_is_fed_some_spokes_at_a_time_with_the_poses_up_to_then(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def at(t: int) -> Any:
        return SimpleNamespace(time_ns=t)

    turns = [
        (SimpleNamespace(poses=tuple(at(t) for t in (0, 31, 32, 69, 90))), [at(t) for t in range(70)]),
        (SimpleNamespace(poses=(at(100),)), [at(t) for t in range(100, 110)]),
    ]
    run = SimpleNamespace(angle_from="true", sources=["a", "b"], notes=["one"], turns_and_spokes=lambda: iter(turns))
    monkeypatch.setattr(replaying, "open_polar", lambda path: run)
    replay = Replay(angle_from="true")
    fed = list(replay._polar(Path("x")))
    assert [(f.time_ns, len(f.spokes), [p.time_ns for p in f.poses]) for f in fed] == [
        (31, 32, [0, 31]), (63, 32, [32]), (69, 6, [69]), (109, 10, [100]),
    ]  # fmt: skip
    assert [f.done for f in fed] == pytest.approx([0.0, 16 / 70, 32 / 70, 0.5])
    assert replay.notes == ["one"]
    with pytest.raises(InputError, match=r'counts its angles from true north.*angle_from = "true"'):
        list(Replay()._polar(Path("x")))
