"""TTM and TLL as the only radar: judged with what remains, and honest about what is not known."""

from __future__ import annotations

import math

import pytest
from watch_made_run import FRAME, T0

from moonless.boat.file import default_boat
from moonless.units import NS_PER_S, kn_to_mps
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import Turn
from moonless.wire import nmea_write as write
from moonless.wire.ais import encode_ais

SPEED = 4.0  # the boat's, northwards
# Another radar's targets: (number, east, north at the beginning, course, speed).
COMING = (1, 300.0, 3000.0, math.radians(180.0), 6.0)
STILL = (2, 900.0, 700.0, 0.0, 0.0)


def _lines(second: int, *, told: bool = True, heading: bool = True) -> bytes:
    now = T0 + second * NS_PER_S
    own = (0.0, SPEED * second)
    lat, lon = FRAME.to_geographic(*own)
    lines = [write.write_rmc(now, lat, lon, 0.0, SPEED)]
    if heading:
        lines.append(write.write_hdt(0.0))
    for number, east, north, course, speed in (COMING, STILL) if told else ():
        here = (east + speed * math.sin(course) * second, north + speed * math.cos(course) * second)
        rel = (here[0] - own[0], here[1] - own[1])
        lines.append(
            write.write_ttm(
                number, range_m=math.hypot(*rel), bearing_rad=math.atan2(*rel), speed=speed, course_rad=course,
                cpa_m=None, tcpa_s=None, time_ns=now,
            )
        )  # fmt: skip
    return "".join(line + "\r\n" for line in lines).encode()


def _run(seconds: int, chain: Chain | None = None, told_until: int = 10_000) -> list[Turn]:
    chain = chain or Chain(default_boat())
    turns: list[Turn] = []
    for second in range(seconds):
        turns += chain.feed_nmea(_lines(second, told=second < told_until), T0 + second * NS_PER_S)
        turns += chain.tick(T0 + second * NS_PER_S + NS_PER_S // 2)
    return turns


def test_another_radars_targets_are_judged() -> None:
    reading = _run(20)[-1].reading
    assert reading.faults == ()
    echoes = {round(e.range_m, -2): e for e in reading.echoes}
    assert len(echoes) == 2
    coming = next(e for e in reading.echoes if e.p_moving > 0.7)
    still = next(e for e in reading.echoes if e.p_moving < 0.5)
    assert coming.kind == "vessel" and still.kind == "uncharted"
    assert coming.cog_deg == pytest.approx(180.0, abs=1.0)
    assert coming.sog_kn == pytest.approx(6.0 / kn_to_mps(1.0), abs=0.1)
    # Meeting end on, 300 m apart: by hand, the closest is 300 m when north and south have met at 10 m/s.
    assert coming.cpa_m == pytest.approx(300.0, abs=15.0)
    north = 3000.0 - 10.0 * (reading.time_ns - T0) / NS_PER_S
    assert coming.tcpa_s == pytest.approx(north / 10.0, abs=2.0)
    assert coming.length_m is None


def test_what_is_not_known_is_not_said() -> None:
    turns = _run(20)
    reading = turns[-1].reading
    assert reading.hidden is None and reading.seeing_line is None
    assert all(one.range_m is None for one in reading.seeing)
    assert reading.speed.advised_kn is None and "no radar video" in reading.speed.because.lower()
    assert reading.missing == () and turns[-1].scan is None
    assert any("No radar video" in call.say for turn in turns for call in turn.reading.calls)


def test_when_the_targets_stop_it_is_a_silent_radar() -> None:
    turns = _run(45, told_until=15)
    assert turns[14].reading.echoes
    last = turns[-1].reading
    assert ("radar", "silent") in {(f.what, f.state) for f in last.faults} and last.echoes == ()


def test_a_radar_that_is_named_and_silent_is_not_stood_in_for() -> None:
    last = _run(20, Chain(default_boat(), radar_named=True))[-1].reading
    assert ("radar", "silent") in {(f.what, f.state) for f in last.faults} and last.echoes == ()


def test_without_a_place_there_are_no_targets() -> None:
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for second in range(12):
        data = b"\r\n".join(line for line in _lines(second).split(b"\r\n") if b"RMC" not in line) + b"\r\n"
        turns += chain.feed_nmea(data, T0 + second * NS_PER_S)
    assert all(turn.reading.echoes == () for turn in turns)


def test_ais_is_joined_with_the_target_it_lies_on() -> None:
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for second in range(15):
        now = T0 + second * NS_PER_S
        lat, lon = FRAME.to_geographic(COMING[1], COMING[2] - 6.0 * second)
        message = {"type": 1, "mmsi": 999000001, "lat": lat, "lon": lon, "speed": 11.7, "course": 180.0, "second": 60}
        data = _lines(second) + "".join(line + "\r\n" for line in encode_ais(message)).encode()
        turns += chain.feed_nmea(data, now)
    labels = [e.ais.mmsi for e in turns[-1].reading.echoes if e.ais is not None]
    assert labels == [999000001]
