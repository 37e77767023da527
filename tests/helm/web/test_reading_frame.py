"""Calls as the screens get them, and the tails of what moves."""

from __future__ import annotations

from dataclasses import replace

from helm_made import MadeSource

from moonless.helm.web.reading_frame import NumberedCalls, Tails
from moonless.reading.types import Call, Reading
from moonless.units import NS_PER_S


def at(reading: Reading, seconds: float, *calls: Call) -> Reading:
    return replace(reading, time_ns=reading.time_ns + round(seconds * NS_PER_S), calls=calls)


def test_each_call_has_its_own_number_and_keeps_its_key() -> None:
    base = MadeSource().turn().reading
    calls = Call("echo 9", "vessel", 1, "one", 9), Call("speed", "speed", 2, "two")
    numbered = NumberedCalls()
    told = numbered.of(at(base, 0, *calls))
    assert [(c["number"], c["key"], c["kind"], c["urgency"], c["say"], c["echo"]) for c in told] == [
        (1, "echo 9", "vessel", 1, "one", 9), (2, "speed", "speed", 2, "two", None),
    ]  # fmt: skip
    # When a call is said again is the reading's to decide: here nothing is held back.
    assert [c["number"] for c in numbered.of(at(base, 2.5, *calls))] == [3, 4]
    assert numbered.own_call("helm", 2, "three")["number"] == 5


def test_tails_follow_vessels_only_and_end_with_them() -> None:
    source = MadeSource()
    tails = Tails()
    out = tails.add(source.turn().reading)
    assert set(out) == {"9", "11"}
    base = source.turn().reading
    for k in range(1, 100):
        out = tails.add(at(base, 6.0 * k))
    assert len(out["9"]) == 60 and out["9"][-1][2] == 0.0
    empty = replace(base, echoes=(), time_ns=base.time_ns + 10_000 * NS_PER_S)
    assert tails.add(empty) == {}
    assert tails._points == {}


def test_own_track_keeps_the_ground_and_its_gaps() -> None:
    from moonless.helm.web.reading_frame import OWN_TRACK_LENGTH, OwnTrack
    from moonless.reading.types import Own, Reading, Registration, SpeedAdvice

    def reading(t_s: float, lat: float | None) -> Reading:
        nothing = Registration(None, None, None, None, None)
        own = Own(lat, None if lat is None else -128.0, None, None, None)
        return Reading(int(t_s * 1e9), own, (), (), None, (), None, None, nothing, SpeedAdvice(None, ""))

    track = OwnTrack()
    for k in range(8):
        told = track.add(reading(2.5 * k, -38.0 + k * 1e-4))
    # Every ten seconds at most; the newest is what the pose shows.
    assert [p[2] for p in told] == [17.5, 7.5]
    assert told[0][:2] == (-38.0, -128.0)
    assert track.add(reading(60.0, None)) == [(-38.0, -128.0, 60.0), (-37.9996, -128.0, 50.0)]
    for k in range(300):
        told = track.add(reading(100.0 + 10.0 * k, -37.0))
    assert len(told) == OWN_TRACK_LENGTH
    track.clear()
    assert track.add(reading(9000.0, None)) == []
