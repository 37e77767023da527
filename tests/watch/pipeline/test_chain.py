"""The chain as a whole: turns for scans, lines for seconds, and what a fault takes away."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from watch_made_run import PERIOD_S, T0, MadeRun, seconds_of

import moonless
from moonless.boat.file import default_boat
from moonless.chart.library import Chart
from moonless.units import NS_PER_S
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import SpokesNow, Turn

# Two turns of the antenna, or three seconds, whichever is more; and the line that tells of it comes with the next scan
# or second.
SEEN_WITHIN_S = max(2 * PERIOD_S, 3.0)


def _states(turns: list[Turn], what: str) -> list[tuple[float, str]]:
    return [(seconds_of(t), f.state) for t in turns for f in t.reading.faults if f.what == what]


def _assert_seen(turns: list[Turn], what: str, state: str, at_s: float) -> None:
    seen = [s for s, found in _states(turns, what) if found == state]
    assert seen, f"{what} {state} was never told"
    assert at_s <= seen[0] <= at_s + SEEN_WITHIN_S + 0.01


def test_a_sound_run_gives_a_turn_a_scan_and_no_fault() -> None:
    turns = MadeRun().play(20.0)
    assert len(turns) == 8
    assert all(t.scan is not None and t.picture is not None for t in turns)
    assert [f for t in turns for f in t.reading.faults] == []
    assert turns[-1].scan.is_whole  # type: ignore[union-attr]
    own = turns[-1].reading.own
    assert own.sog_kn == pytest.approx(4.0 / 0.514444, abs=0.05)
    assert own.heading_deg == pytest.approx(28.65, abs=0.5)
    # The lump that is always in the same place from the bow is found.
    assert all(len(t.picture.plots) >= 1 for t in turns[2:])  # type: ignore[union-attr]
    for turn in turns:
        json.dumps(turn.reading.as_dict(), allow_nan=False)


def test_a_silent_radar_is_told_each_second_and_nothing_is_repeated() -> None:
    turns = MadeRun(radar=lambda t: "silent" if t >= 10.0 else "good").play(20.0)
    _assert_seen(turns, "radar", "silent", 10.0)
    silent = [t for t in turns if any(f.what == "radar" for f in t.reading.faults)]
    assert all(t.scan is None and t.picture is None and t.reading.echoes == () for t in silent)
    assert all(t.reading.own.lat is not None for t in silent)
    times = [seconds_of(t) for t in silent]
    np.testing.assert_allclose(np.diff(times), 1.0, atol=1e-6)
    assert times[-1] > 19.0
    since = (silent[0].reading.faults[0].since_ns - T0) / NS_PER_S
    assert since == pytest.approx(10.0, abs=0.05)


def test_a_radar_never_heard_is_silent_since_the_beginning() -> None:
    turns = MadeRun(radar=lambda t: "silent").play(8.0)
    _assert_seen(turns, "radar", "silent", 0.0)
    assert len(turns) >= 5


@pytest.mark.parametrize("mode", ["frozen", "stuck"])
def test_a_frozen_picture_is_withdrawn(mode: str) -> None:
    turns = MadeRun(radar=lambda t: mode if t >= 10.0 else "good").play(25.0)
    _assert_seen(turns, "radar", "frozen", 10.0)
    frozen = [t for t in turns if any(f.what == "radar" for f in t.reading.faults)]
    assert all(t.scan is None and t.reading.echoes == () for t in frozen)
    # It goes on being told, each scan or each second.
    assert np.diff([seconds_of(t) for t in frozen]).max() <= PERIOD_S + 0.01
    assert seconds_of(frozen[-1]) > 22.0


def test_a_picture_without_a_single_count_is_no_clear_sea() -> None:
    # Spokes go on turning, as of a set on stand-by or a receiver that is dead.
    turns = MadeRun(radar=lambda t: "empty" if 10.0 <= t < 20.0 else "good").play(30.0)
    _assert_seen(turns, "radar", "silent", 10.0)
    empty = [t for t in turns if 15.1 < seconds_of(t) <= 20.0]
    assert len(empty) >= 4
    for turn in empty:
        assert turn.scan is None and turn.reading.echoes == ()
        assert all(s.range_m is None for s in turn.reading.seeing)
        assert turn.reading.speed is None or turn.reading.speed.advised_kn is None
    assert any("radar" in c.say.lower() for t in turns if seconds_of(t) < 20.0 for c in t.reading.calls)
    assert turns[-1].scan is not None
    assert turns[-1].reading.faults == ()


def test_video_that_cannot_be_used_is_damaged_not_silent() -> None:
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in MadeRun().events(20.0):
        if kind == "radar" and now > T0 + 10 * NS_PER_S:
            # Says that it is compressed, and is not by anything we know.
            data = data[:24] + b"\x80" + data[25:]
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
    _assert_seen(turns, "radar", "damaged", 10.0)
    assert {state for t, state in _states(turns, "radar") if t > 15.0} == {"damaged"}
    assert chain.radar.decoder.counts.unknown_compression > 100
    late = [t for t in turns if seconds_of(t) > 15.0]
    assert len(late) >= 4
    assert all(t.scan is None and t.reading.echoes == () for t in late)


def test_video_that_comes_late_is_stale() -> None:
    chain = Chain(default_boat())
    turns: list[Turn] = []
    pieces = []
    for now, kind, data in MadeRun().events(30.0):
        # From ten seconds on the radar's network falls behind by a quarter of a second each second.
        late = round(max(now - T0 - 10 * NS_PER_S, 0) * 0.25) if kind == "radar" else 0
        pieces.append((now + late, kind, data))
    for now, kind, data in sorted(pieces, key=lambda p: p[0]):
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
    stale = [t for t, state in _states(turns, "radar") if state == "stale"]
    # Two seconds behind from the eighteenth second on.
    assert stale
    assert 18.0 <= stale[0] <= 18.0 + 2.0 + SEEN_WITHIN_S
    assert all(t.scan is None and t.reading.echoes == () for t in turns if _has(t, "radar"))


def test_a_radar_that_comes_back_is_believed_again() -> None:
    turns = MadeRun(radar=lambda t: "silent" if 10.0 <= t < 17.0 else "good").play(30.0)
    assert turns[-1].scan is not None
    assert turns[-1].reading.faults == ()


def test_a_lost_position_takes_the_echoes_with_it() -> None:
    turns = MadeRun(has_position=lambda t: t < 10.0).play(20.0)
    _assert_seen(turns, "position", "silent", 9.0)
    after = [t for t in turns if _has(t, "position")]
    for turn in after:
        assert turn.reading.own.lat is None
        assert turn.reading.own.sog_kn is None
        assert turn.reading.echoes == ()
        assert turn.scan is not None
        assert np.isnan(turn.scan.lat_deg).all()


def test_a_receiver_without_a_fix_is_stale() -> None:
    turns = MadeRun(has_fix=lambda t: t < 10.0).play(18.0)
    _assert_seen(turns, "position", "stale", 9.0)
    assert turns[-1].reading.own.lat is None


def test_a_position_that_jumps_is_told_and_believed_when_it_is_back() -> None:
    turns = MadeRun(shift_m=lambda t: 300.0 if 10.0 <= t < 20.0 else 0.0).play(30.0)
    _assert_seen(turns, "position", "jumped", 10.0)
    assert [_has(t, "position") for t in turns if 12.6 < seconds_of(t) < 20.0] == [True] * 3
    assert turns[-1].reading.faults == ()
    jumped = [t for t in turns if _has(t, "position")]
    assert all(t.reading.own.lat is None and t.reading.echoes == () for t in jumped)


def test_a_position_that_stands_still_under_way_is_frozen() -> None:
    class Stuck(MadeRun):
        pass

    run = Stuck(shift_m=lambda t: 0.0)
    events = []
    frozen_line: bytes | None = None
    for now, kind, data in run.events(20.0):
        if kind == "nmea" and b"RMC" in data and (now - T0) / NS_PER_S >= 10.0:
            # The place of the last good fix with the time going on.
            assert frozen_line is not None
            fields, place = data.split(b"*")[0].split(b","), frozen_line.split(b",")
            fields[3:7] = place[3:7]
            body = b",".join(fields)[1:]
            check = 0
            for octet in body:
                check ^= octet
            data = b"$" + body + b"*%02X\r\n" % check
        elif kind == "nmea" and b"RMC" in data:
            frozen_line = data
        events.append((now, kind, data))
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in events:
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
    _assert_seen(turns, "position", "frozen", 9.0)


def test_a_lost_heading_takes_the_echoes_with_it() -> None:
    turns = MadeRun(has_heading=lambda t: t < 10.0).play(20.0)
    _assert_seen(turns, "heading", "silent", 9.7)
    assert turns[-1].reading.own.heading_deg is None
    assert turns[-1].reading.own.lat is not None
    assert turns[-1].reading.echoes == ()


def test_a_heading_that_stands_still_in_a_turn_is_frozen() -> None:
    run = MadeRun(turn_rate=0.06, heading_at=lambda t, true: true if t < 10.0 else 1.1)
    _assert_seen(run.play(20.0), "heading", "frozen", 9.8)


def test_a_heading_that_jumps_is_told() -> None:
    run = MadeRun(heading_at=lambda t, true: true + 1.2 if 10.0 <= t < 20.0 else true)
    turns = run.play(30.0)
    _assert_seen(turns, "heading", "jumped", 10.0)
    assert [_has(t, "heading") for t in turns if 12.6 < seconds_of(t) < 20.0] == [True] * 3
    assert turns[-1].reading.faults == ()


def test_a_clock_that_jumps_is_told() -> None:
    turns = MadeRun(clock_s=lambda t: 3600.0 if t >= 10.0 else 0.0).play(18.0)
    assert any(f.what == "clock" and f.state == "jumped" for t in turns for f in t.reading.faults)
    # Three dates that agree, and then the turn that was going on.
    first = next(t for t in turns if any(f.what == "clock" for f in t.reading.faults))
    assert seconds_of(first) - 3600.0 <= 10.0 + 2.0 * PERIOD_S and first.reading.own.lat is None


def test_one_date_that_is_wrong_is_no_jump() -> None:
    turns = MadeRun(clock_s=lambda t: 3600.0 if 10.0 <= t < 11.0 else 0.0).play(18.0)
    assert not [f for t in turns for f in t.reading.faults if f.what == "clock"]
    assert seconds_of(turns[-1]) > 15.0 and turns[-1].reading.own.lat is not None


def test_two_radars_on_one_link_are_not_mixed() -> None:
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in MadeRun().events(12.0):
        if kind == "radar":
            turns += chain.feed_radar(data, now)
            # The other radar, by its data source: half a turn ahead, and full of echo.
            other = bytearray(data)
            other[6] = 9
            other[12] ^= 0x80
            other[33:120] = b"\xff" * 87
            turns += chain.feed_radar(bytes(other), now)
        else:
            turns += chain.feed_nmea(data, now)
    assert chain.counts.spokes_of_others > 500
    assert len(turns) >= 4
    assert [f for t in turns for f in t.reading.faults] == []
    assert max(int(t.scan.echo.max()) for t in turns if t.scan is not None) == 220


def test_a_chart_that_does_not_reach_here_is_told(tmp_path: Path) -> None:
    waters = Path(moonless.__file__).parent / "data" / "demo" / "waters.gpkg"
    chart = Chart.open([waters], cache_dir=tmp_path)
    turns = MadeRun().play(9.0, Chain(default_boat(), chart))
    assert {f.what for t in turns for f in t.reading.faults} == {"chart"}
    assert all(t.scan is not None for t in turns)


def test_a_computer_clock_that_was_wrong_from_the_beginning_is_no_fault() -> None:
    # A board without a battery: two years behind until the receiver speaks.
    turns: list[Turn] = []
    chain = Chain(default_boat())
    wrong_ns = -2 * 365 * 86_400 * NS_PER_S
    for now, kind, data in MadeRun().events(15.0):
        received = now + wrong_ns
        turns += chain.feed_radar(data, received) if kind == "radar" else chain.feed_nmea(data, received)
    assert len(turns) >= 5
    assert [f for t in turns for f in t.reading.faults] == []
    assert all(-1.0 < seconds_of(t) < 16.0 for t in turns)


def test_time_of_receipt_that_goes_back_is_survived() -> None:
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in MadeRun().events(8.0):
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
    n = len(turns)
    for now, kind, data in MadeRun().events(10.0):
        back = now - 30 * NS_PER_S
        turns += chain.feed_radar(data, back) if kind == "radar" else chain.feed_nmea(data, back)
    assert len(turns) > n
    assert any(f.what == "clock" for t in turns[n:] for f in t.reading.faults)


def test_spokes_are_tapped_as_they_come() -> None:
    taps: list[SpokesNow] = []
    chain = Chain(default_boat(), on_spokes=taps.append)
    MadeRun().play(8.0, chain)
    assert taps
    tap = taps[-1]
    assert tap.n_spoke == 180
    assert not tap.from_bow
    assert tap.echo.dtype == np.uint8
    assert tap.azimuth_rad.shape == tap.lat_deg.shape == (1,)


def test_the_first_turn_is_tapped_before_it_is_whole() -> None:
    taps: list[SpokesNow] = []
    chain = Chain(default_boat(), on_spokes=taps.append)
    assert not [t for t in MadeRun().play(2.0, chain) if t.scan is not None]
    # 180 spokes in 2.5 s, less the few that their width is learnt from.
    assert 144 - 16 <= len(taps) <= 144
    assert {tap.n_spoke for tap in taps} == {180}


def test_late_scans_are_passed_over() -> None:
    chain = Chain(default_boat(), is_late=lambda end_ns: end_ns < T0 + 8 * NS_PER_S)
    turns = MadeRun().play(15.0, chain)
    assert chain.counts.scans_skipped == 3
    assert all(seconds_of(t) >= 8.0 for t in turns if t.scan is not None)


@given(st.lists(st.tuples(st.sampled_from(["radar", "nmea"]), st.binary(max_size=60), st.integers(-2, 5)), max_size=30))
@settings(max_examples=30, deadline=None)
def test_arbitrary_bytes_and_times_never_crash(pieces: list[tuple[str, bytes, int]]) -> None:
    chain = Chain(default_boat())
    now = T0
    for kind, data, step in pieces:
        now += step * NS_PER_S
        turns = chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
        for turn in turns:
            json.dumps(turn.reading.as_dict(), allow_nan=False)
    chain.finish()


def test_bytes_cut_anywhere_give_the_same_readings() -> None:
    whole = MadeRun().play(12.0)
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in MadeRun().events(12.0):
        half = len(data) // 3
        for part in (data[:half], data[half:]):
            turns += chain.feed_radar(part, now) if kind == "radar" else chain.feed_nmea(part, now)
    # Without ticks the last turn is told all the same: bytes carry the time.
    assert [_line(t) for t in turns] == [_line(t) for t in whole][: len(turns)]
    assert len(turns) >= len(whole) - 1


def _has(turn: Turn, what: str) -> bool:
    return any(f.what == what for f in turn.reading.faults)


def _line(turn: Turn) -> Any:
    return turn.reading.as_dict()["time"], len(turn.reading.echoes), turn.reading.own


def test_tracks_outlive_the_plane_they_began_in(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = MadeRun().play(60.0)
    monkeypatch.setattr("moonless.watch.pipeline.tracking.ANCHOR_M", 120.0)
    moved = MadeRun().play(60.0)
    assert moved[-1].frame != moved[10].frame
    for turn, other in zip(kept, moved, strict=True):
        assert [e.id for e in turn.reading.echoes] == [e.id for e in other.reading.echoes]
        for a, b in zip(turn.reading.echoes, other.reading.echoes, strict=True):
            assert (a.lat, a.lon) == pytest.approx((b.lat, b.lon), abs=1e-6)
            assert a.p_moving == pytest.approx(b.p_moving, abs=0.02)
    assert kept[-1].reading.echoes
