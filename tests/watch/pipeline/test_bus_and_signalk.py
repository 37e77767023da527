"""The whole chain by another tongue: NMEA 2000 and Signal K give what NMEA 0183 gives; many sources, other radars."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from bench.made.bus import ToBus
from watch_made_run import FRAME, T0, MadeRun

from moonless.boat.file import default_boat
from moonless.units import NS_PER_S, iso_utc
from moonless.watch.instruments.radar_targets import MOST, RadarTargets
from moonless.watch.instruments.source_agreement import SourceAgreement
from moonless.watch.link_survey.content import LinkContent
from moonless.watch.link_survey.report import LinkCheck, missing
from moonless.watch.pipeline.chain import Chain
from moonless.watch.pipeline.replay import Replay, play
from moonless.watch.types import Turn
from moonless.wire import nmea_write as write
from moonless.wire.links import parse_link
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import PoseSaid, TargetPlaceSaid, TargetSaid
from moonless.wire.recording import RecordingReader, RecordingWriter

SECONDS = 22.0


def _play(run: MadeRun, translate: Any, seconds: float = SECONDS) -> list[Turn]:
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in run.events(seconds):
        turns += chain.tick(now)
        if kind == "radar":
            turns += chain.feed_radar(data, now)
        else:
            turns += chain.feed_nmea(translate(data, now), now)
    return turns


def _to_signalk() -> Any:
    decoder = NmeaDecoder()

    def translate(data: bytes, now_ns: int) -> bytes:
        out = b""
        for said in decoder.feed(data, now_ns):
            if not isinstance(said, PoseSaid):
                continue
            pose, values = said.pose, {}
            if pose.lat_deg is not None:
                values["navigation.position"] = {"latitude": pose.lat_deg, "longitude": pose.lon_deg}
            for path, value in (
                ("navigation.speedOverGround", pose.sog),
                ("navigation.courseOverGroundTrue", pose.cog_rad),
                ("navigation.headingTrue", pose.heading_true_rad),
                ("navigation.rateOfTurn", pose.turn_rate),
            ):
                if value is not None:
                    values[path] = value  # type: ignore[assignment]
            update = {
                "$source": "made",
                "timestamp": iso_utc(now_ns),
                "values": [{"path": p, "value": v} for p, v in values.items()],
            }
            out += json.dumps({"updates": [update]}).encode() + b"\n"
        return out

    return translate


def _same(a: list[Turn], b: list[Turn], place_m: float) -> None:
    assert [t.scan is None for t in a] == [t.scan is None for t in b]
    for one, other in zip(a, b, strict=True):
        r, s = one.reading, other.reading
        assert [(f.what, f.state) for f in r.faults] == [(f.what, f.state) for f in s.faults]
        assert (r.own.lat is None) == (s.own.lat is None)
        if r.own.lat is not None and r.own.lon is not None and s.own.lat is not None and s.own.lon is not None:
            east, north = FRAME.to_plane(r.own.lat, r.own.lon)
            east2, north2 = FRAME.to_plane(s.own.lat, s.own.lon)
            assert math.hypot(east - east2, north - north2) < place_m
        if r.own.heading_deg is not None and s.own.heading_deg is not None:
            assert abs(math.remainder(r.own.heading_deg - s.own.heading_deg, 360.0)) < 0.02
        assert [(e.id, e.kind) for e in r.echoes] == [(e.id, e.kind) for e in s.echoes]
        for e, f in zip(r.echoes, s.echoes, strict=True):
            assert abs(e.range_m - f.range_m) < 1.0 and abs(math.remainder(e.bearing_deg - f.bearing_deg, 360.0)) < 0.1


def test_the_same_voyage_by_0183_and_by_2000() -> None:
    by_0183 = _play(MadeRun(), lambda data, now: data)
    by_2000 = _play(MadeRun(), ToBus().feed)
    assert sum(bool(t.reading.echoes) for t in by_0183) >= 3
    # 0183 writes 0.01 knots, the bus 0.01 m/s; a position is to a centimetre in both.
    _same(by_0183, by_2000, 0.5)


def test_the_same_voyage_by_signal_k() -> None:
    by_signalk = _play(MadeRun(), _to_signalk())
    assert sum(bool(t.reading.echoes) for t in by_signalk) >= 3
    assert not any(f.what in ("position", "heading") for f in by_signalk[-1].reading.faults)


@pytest.mark.parametrize(
    "broken",
    [
        {"has_fix": lambda t: t < 8.0},
        {"has_position": lambda t: t < 8.0},
        {"has_heading": lambda t: t < 8.0},
        {"shift_m": lambda t: 0.0 if t < 9.5 else 300.0},
        {"clock_s": lambda t: 0.0 if t < 8.5 else -30.0},
    ],
)
def test_the_same_faults_by_0183_and_by_2000(broken: dict[str, Any]) -> None:
    by_0183 = _play(MadeRun(**broken), lambda data, now: data, 16.0)
    by_2000 = _play(MadeRun(**broken), ToBus().feed, 16.0)

    def told(turns: list[Turn]) -> set[tuple[str, str]]:
        return {(f.what, f.state) for t in turns for f in t.reading.faults}

    assert told(by_2000) == told(by_0183) and told(by_2000) - {("radar", "silent")}


# --- several sources --------------------------------------------------------------------------------------------------


def test_two_positions_that_differ_are_told_and_nothing_is_withdrawn() -> None:
    def turns(shift_m: float) -> list[Turn]:
        chain = Chain(default_boat())
        out: list[Turn] = []
        for second in range(14):
            now = T0 + second * NS_PER_S
            for link, east in (("1", 0.0), ("2", shift_m)):
                lat, lon = FRAME.to_geographic(east, 0.0)
                line = write.write_rmc(now, lat, lon, 0.0, 0.0)
                out += chain.feed_nmea((line + "\r\n").encode(), now, link=link)
            out += chain.tick(now + NS_PER_S // 2)
        return out

    assert not any(f.state == "disagrees" for t in turns(60.0) for f in t.reading.faults)
    apart = turns(160.0)
    told = [t for t in apart if any((f.what, f.state) == ("position", "disagrees") for f in t.reading.faults)]
    assert told and told[-1] is apart[-1]
    assert told[-1].reading.own.lat is not None
    assert any("Two sources of the position" in call.say for t in apart for call in t.reading.calls)


def test_agreement_comes_back_and_a_short_difference_is_none() -> None:
    a = SourceAgreement()
    for second in range(40):
        now = T0 + second * NS_PER_S
        a.said("heading", "gyro", True, now, (1.0,))
        off = 0.5 if second in (3, 4) or 10 <= second < 25 else 0.05
        a.said("heading", "compass", False, now, (1.0 + off,))
        told = bool(a.faults(now))
        # It must last for ten seconds, and be over for as long.
        assert told == (20 <= second < 35), second
    assert not a.faults(T0 + 60 * NS_PER_S)


def test_many_sources_are_bounded() -> None:
    a = SourceAgreement()
    a.said("heading", "gyro", True, T0, (1.0,))
    for i in range(5000):
        a.said("heading", f"storm {i}", False, T0 + i, (2.0,))
    assert len(a._things["heading"].others) <= 32


# --- other radars' targets --------------------------------------------------------------------------------------------

_STAMP = (T0, T0, False, "RA", "TTM")


def _own() -> Any:
    from moonless.reading.situation import OwnState

    return OwnState(10.0, -30.0, math.radians(30.0), 0.0, 0.0)


def test_targets_are_placed_by_bearing_and_range() -> None:
    table = RadarTargets()
    said = TargetSaid(*_STAMP, 7, 1852.0, math.radians(60.0), True, 5.0, 1.0, None, None, "X", "T")
    table.add(said, ("1", "RA"), T0, _own())
    (target,) = table.targets(T0)
    # Right east of the boat: 30 degrees of heading and 60 from the bow.
    east, north = FRAME.to_plane(target.lat_deg, target.lon_deg)
    assert (east, north) == pytest.approx((1852.0, 0.0), abs=2.0)
    assert (target.number, target.sog, target.cog_rad) == (7, 5.0, 1.0) and 30.0 < target.position_sigma_m < 60.0
    table.add(TargetPlaceSaid(*_STAMP, 7, 10.0, -30.0, None, "T"), ("1", "RA"), T0 + NS_PER_S, _own())
    (target,) = table.targets(T0 + NS_PER_S)
    assert (target.lat_deg, target.sog, target.name) == (10.0, 5.0, "X")
    assert table.targets(T0 + 20 * NS_PER_S) == ()


def test_a_target_without_a_place_or_lost_is_none() -> None:
    from dataclasses import replace

    table = RadarTargets()
    said = TargetSaid(*_STAMP, 7, 1852.0, 1.0, True, None, None, None, None, None, "T")
    blind = replace(_own(), heading_true_rad=None)
    table.add(said, ("1", "RA"), T0, blind)
    table.add(replace(said, range_m=None), ("1", "RA"), T0, _own())
    table.add(replace(said, is_relative=False), ("1", "RA"), T0, replace(_own(), lat_deg=None))
    assert table.targets(T0) == ()
    table.add(said, ("1", "RA"), T0, _own())
    table.add(replace(said, status="L"), ("1", "RA"), T0, _own())
    assert table.targets(T0) == ()
    for i in range(MOST + 100):
        table.add(replace(said, number=i), ("1", "RA"), T0 + i, _own())
    assert len(table.targets(T0)) == MOST


def test_another_radars_target_is_joined_with_the_own_track() -> None:
    run, chain = MadeRun(speed=0.0), Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in run.events(40.0):
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
        if kind == "nmea" and turns and (now - T0) % NS_PER_S < NS_PER_S // 5 and turns[-1].reading.echoes:
            echo = turns[-1].reading.echoes[0]
            line = write.write_tll(3, echo.lat, echo.lon, name="OTHER", time_ns=now)
            turns += chain.feed_nmea((line + "\r\n").encode(), now, link="other")
    assert any(track.other_radar is not None and track.other_radar.number == 3 for track in turns[-1].tracks)


# --- what is found, recorded, replayed --------------------------------------------------------------------------------


def _bus_bytes(seconds: float = 12.0) -> list[tuple[int, bytes]]:
    to_bus = ToBus()
    return [(now, to_bus.feed(data, now)) for now, kind, data in MadeRun().events(seconds) if kind == "nmea"]


def test_the_ear_tells_a_bus_and_its_sources() -> None:
    content = LinkContent("can:can0")
    for now, data in _bus_bytes():
        content.put(data, now, False)
    assert content.kind == "bus" and content.words().startswith("NMEA 2000: ") and "129029" in content.words()
    offers = {(o.what, o.talker, o.kind) for o in content.sources}
    assert {("position", "1", "129029"), ("motion", "1", "129026"), ("heading", "2", "127250")} <= offers
    assert content.sentences["129029"].count > 10 and content.ticker[-1][2].startswith("(18000000")


def test_the_doctor_misses_nothing_that_a_bus_brings() -> None:
    check = LinkCheck(parse_link("can:can0"), False)
    for now, data in _bus_bytes():
        check.put(data, now, False)
    lacking = " ".join(missing([check]))
    assert "no position" not in lacking and "no heading" not in lacking and "no depth" in lacking
    assert any("frames of NMEA 2000" in line for line in check.lines(T0))


def test_a_run_by_bus_is_recorded_and_played_again(tmp_path: Path) -> None:
    path, to_bus = tmp_path / "run.mcap", ToBus()
    writer = RecordingWriter(path, {"0": "radar", "1": "can:can0"})
    for now, kind, data in MadeRun().events(SECONDS):
        if kind == "radar":
            writer.radar(data, now, is_datagram=True)
        else:
            writer.nmea(to_bus.feed(data, now), now, link=1)
    writer.close()
    kinds = {record.kind for record in RecordingReader(path)}
    assert kinds == {"radar", "bus"}
    replay = Replay(recording=path)
    turns = [turn for turn, _ in play(Chain(default_boat()), replay)]
    assert sum(bool(t.reading.echoes) for t in turns) >= 3


def test_frame_files_are_merged_by_their_own_times(tmp_path: Path) -> None:
    (tmp_path / "bus.log").write_bytes(b"".join(data for _, data in _bus_bytes(SECONDS)))
    (tmp_path / "radar.cat240").write_bytes(b"".join(d for _, k, d in MadeRun().events(SECONDS) if k == "radar"))
    replay = Replay(radar=(tmp_path / "radar.cat240",), nmea=(tmp_path / "bus.log",))
    turns = [turn for turn, _ in play(Chain(default_boat()), replay)]
    assert sum(bool(t.reading.echoes) for t in turns) >= 3 and replay.notes == []
