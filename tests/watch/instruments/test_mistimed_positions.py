"""Positions that say a time which is not now."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from watch_made_run import FRAME, T0, MadeRun

from moonless.boat.file import default_boat
from moonless.units import NS_PER_S, ns_to_utc
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import Turn
from moonless.wire.sentences import write_sentence

SPEED, COURSE = 4.0, 0.5


def _angle(value: float, width: int, sides: str) -> list[str]:
    whole = int(abs(value))
    return [f"{whole:0{width}d}{(abs(value) - whole) * 60:08.5f}", sides[value < 0]]


def _gga(said_ns: int, lat: float, lon: float) -> bytes:
    of_day = f"{ns_to_utc(said_ns):%H%M%S}"
    fields = [of_day, *_angle(lat, 2, "NS"), *_angle(lon, 3, "EW"), "1", "08", "1.0", "1.0", "M", "", "M", "", ""]
    return (write_sentence("GPGGA", fields) + "\r\n").encode()


def _vtg() -> bytes:
    fields = [f"{math.degrees(COURSE):.1f}", "T", "", "M", f"{SPEED * 3600 / 1852:.2f}", "N", "", "K", "A"]
    return (write_sentence("GPVTG", fields) + "\r\n").encode()


def _play(off_s: Callable[[int], float], seconds: int = 32, dated: bool = False) -> list[tuple[Turn, float | None]]:
    """Return turns of a run whose GGA says times off by so much, each with the error of the own position, metres.

    The error is of the boat at the time of receipt: the turn's own time may have been moved by the receiver's clock.
    """
    run = MadeRun(has_position=lambda t: False, heading_rad=COURSE, speed=SPEED)
    events = list(run.events(seconds))
    for k in range(seconds):
        now = T0 + k * NS_PER_S
        lat, lon = (float(v) for v in FRAME.to_geographic(*_true(k)))
        if dated:
            events.append((now, "nmea", (write_sentence("IIZDA", _zda(now)) + "\r\n").encode()))
        events += [(now, "nmea", _vtg()), (now, "nmea", _gga(now + round(off_s(k) * NS_PER_S), lat, lon))]
    chain = Chain(default_boat())
    told: list[tuple[Turn, float | None]] = []
    tick = T0
    for now, kind, data in sorted(events, key=lambda event: event[0]):
        turns = []
        while tick < now:
            turns += chain.tick(tick)
            tick += NS_PER_S // 4
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
        for turn in turns:
            own = turn.reading.own
            error = None
            if own.lat is not None and own.lon is not None:
                here = FRAME.to_plane(own.lat, own.lon)
                there = _true((now - T0) / NS_PER_S)
                error = math.hypot(float(here[0]) - there[0], float(here[1]) - there[1])
            told.append((turn, error))
    return told


def _zda(now: int) -> list[str]:
    at = ns_to_utc(now)
    return [f"{at:%H%M%S}", f"{at:%d}", f"{at:%m}", f"{at:%Y}", "00", "00"]


def _true(t: float) -> tuple[float, float]:
    return SPEED * math.sin(COURSE) * t, SPEED * math.cos(COURSE) * t


def _states(turn: Turn) -> set[tuple[str, str]]:
    return {(f.what, f.state) for f in turn.reading.faults}


@pytest.mark.parametrize(
    "off_s",
    [
        # A receiver that has not heard of the leap seconds yet, 18 s ahead; one a minute behind; hours off.
        lambda k: 18.0,
        lambda k: -60.0,
        lambda k: -100.0 if k >= 20 else 0.0,
        lambda k: 7200.0 if k == 20 else 0.0,
        lambda k: -7200.0 if k == 20 else 0.0,
    ],
)
@pytest.mark.parametrize("dated", [False, True])
def test_the_own_position_is_right_or_withdrawn(off_s: Callable[[int], float], dated: bool) -> None:
    told = _play(off_s, dated=dated)
    # A second of way, and the scan that was under way when the clock was moved.
    assert all(error is None or error < 3 * SPEED for _, error in told), [e for _, e in told]
    # Without a position there is a reason.
    assert all(error is not None or _states(turn) for turn, error in told)
    assert any(error is not None for _, error in told) or dated


def test_what_is_said_of_a_position_that_is_old() -> None:
    told = _play(lambda k: -30.0 if k >= 20 else 0.0, dated=True)
    assert ("position", "stale") in _states(told[-1][0])
    assert _states(told[5][0]) == set()


def test_a_source_that_is_not_followed_does_no_harm() -> None:
    run = MadeRun(heading_rad=COURSE, speed=SPEED)
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in run.events(20.0):
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
        if kind == "nmea" and data.startswith(b"$GPRMC"):
            turns += chain.feed_nmea(_gga(now - 600 * NS_PER_S, 10.0, -30.0), now, link="other")
    assert len(turns) == 8
    assert [f for turn in turns for f in turn.reading.faults] == []


def test_a_speed_that_is_said_no_more_is_not_carried_on() -> None:
    # Position goes on by GGA; course and speed came by VTG, which falls silent while the boat slows down.
    run = MadeRun(has_position=lambda t: False, heading_rad=COURSE, speed=SPEED)
    events = list(run.events(30.0))
    for k in range(30):
        now = T0 + k * NS_PER_S
        way = SPEED * min(k, 15) + 1.5 * max(k - 15, 0)
        lat, lon = FRAME.to_geographic(way * math.sin(COURSE), way * math.cos(COURSE))
        events.append((now, "nmea", _gga(now, float(lat), float(lon))))
        if k < 15:
            events.append((now, "nmea", _vtg()))
    chain = Chain(default_boat())
    turns: list[Turn] = []
    for now, kind, data in sorted(events, key=lambda event: event[0]):
        turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
    before = [t for t in turns if 5.0 < (t.reading.time_ns - T0) / NS_PER_S < 14.0]
    after = [t for t in turns if (t.reading.time_ns - T0) / NS_PER_S > 18.0]
    assert before and after
    assert all(t.reading.own.sog_kn is not None for t in before)
    assert all(t.reading.own.lat is not None for t in after)
    assert all(t.reading.own.sog_kn is None and t.reading.own.cog_deg is None for t in after)
    assert all(t.reading.stopping_m is None for t in after)
