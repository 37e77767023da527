"""When faults are told, to the tenth of a second, and what the instruments' signs make of the boat's state."""

from __future__ import annotations

import math
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from watch_made_run import PERIOD_S, T0, MadeRun, seconds_of

from moonless.boat.file import default_boat
from moonless.reading.situation import OwnState
from moonless.units import NS_PER_S
from moonless.watch.instruments.ais_table import AisTable
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.pipeline.chain import Chain
from moonless.wire.ais import AisReport

TICK_S = 0.25  # of the made run


def _first(run: MadeRun, seconds: float = 19.0) -> tuple[float, str, str]:
    for turn in run.play(seconds):
        for fault in turn.reading.faults:
            return seconds_of(turn), fault.what, fault.state
    raise AssertionError("nothing was told")


@pytest.mark.parametrize("at_s", [10.0, 10.6, 12.0])
@pytest.mark.parametrize(("mode", "state"), [("silent", "silent"), ("stuck", "frozen")])
def test_a_radar_that_stops_is_told_within_three_seconds(at_s: float, mode: str, state: str) -> None:
    """No scan comes any more, so a line comes each second: three seconds whatever the antenna's turn is."""
    told_s, what, found = _first(MadeRun(radar=lambda t: mode if t >= at_s else "good"))
    assert (what, found) == ("radar", state)
    assert at_s < told_s <= at_s + 3.0 + TICK_S


@pytest.mark.parametrize("at_s", [10.6, 11.3])
@pytest.mark.parametrize(
    ("run", "what"),
    [
        (lambda at: MadeRun(has_position=lambda t: t < at), "position"),
        (lambda at: MadeRun(has_heading=lambda t: t < at), "heading"),
        (lambda at: MadeRun(has_fix=lambda t: t < at), "position"),
        (lambda at: MadeRun(shift_m=lambda t: 150.0 if t >= at else 0.0), "position"),
        (lambda at: MadeRun(radar=lambda t: "frozen" if t >= at else "good"), "radar"),
        (lambda at: MadeRun(radar=lambda t: "empty" if t >= at else "good"), "radar"),
    ],
)
def test_the_rest_is_told_within_two_turns(run: Any, what: str, at_s: float) -> None:
    told_s, found, _ = _first(run(at_s))
    assert found == what and at_s < told_s <= at_s + 2.0 * PERIOD_S


@pytest.mark.parametrize("what", ["radar", "position", "heading"])
def test_silence_is_counted_from_the_last_word(what: Any) -> None:
    watch = FaultWatch()
    for name in ("radar", "position", "heading"):
        watch.heard(name, T0)
    later = T0 + 10 * NS_PER_S
    for name in ("radar", "position", "heading"):
        if name != what:
            watch.heard(name, later)
    quiet = [f for f in watch.faults(T0 + round(2.4 * NS_PER_S)) if f.what == what]
    loud = [f for f in watch.faults(T0 + round(2.6 * NS_PER_S)) if f.what == what]
    assert quiet == [] and [(f.state, f.since_ns) for f in loud] == [("silent", T0)]


@pytest.mark.parametrize(
    ("moved_m", "seconds", "is_told"),
    [
        # Under way east at 4 m/s: 50 m off and 5 more a second are let pass; a fix each second has 55.
        (50.0, 1.0, False), (60.0, 1.0, True), (150.0, 1.0, True), (60.0, 4.0, False), (150.0, 4.0, True),
    ],
)  # fmt: skip
@pytest.mark.parametrize("way_deg", [0.0, 90.0, 215.0])
def test_how_far_a_fix_may_be_off(moved_m: float, seconds: float, is_told: bool, way_deg: float) -> None:
    watch = FaultWatch()
    watch.motion(T0, math.radians(90.0), 4.0)
    watch.position(T0, T0, 50.0, -20.0)
    then = T0 + round(seconds * NS_PER_S)
    run = Geodesic.WGS84.Direct(50.0, -20.0, 90.0, 4.0 * seconds)
    off = Geodesic.WGS84.Direct(run["lat2"], run["lon2"], way_deg, moved_m)
    watch.position(then, then, off["lat2"], off["lon2"])
    told = [f.state for f in watch.faults(then) if f.what == "position"]
    assert told == (["jumped"] if is_told else [])


def _position_told(watch: FaultWatch, now: int) -> list[str]:
    return [f.state for f in watch.faults(now) if f.what == "position"]


def test_a_jump_is_not_healed_by_some_steady_seconds() -> None:
    """A kilometre north, and steady from then on: with nothing else to tell, a minute without another leap ends it."""
    watch = FaultWatch()
    watch.position(T0, T0, 50.0, -20.0)
    for k in range(1, 70):
        now = T0 + k * NS_PER_S
        watch.position(now, now, 50.01, -20.0)
        assert _position_told(watch, now) == (["jumped"] if k <= 61 else []), k


def test_a_position_that_comes_back_is_believed_at_its_second_fix() -> None:
    watch = FaultWatch()
    watch.motion(T0, 0.0, 5.0)
    for k in range(12):
        now = T0 + k * NS_PER_S
        there = Geodesic.WGS84.Direct(50.0, -20.0, 0.0, 5.0 * k + (2000.0 if 4 <= k < 8 else 0.0))
        watch.motion(now, 0.0, 5.0)
        watch.position(now, now, there["lat2"], there["lon2"])
        assert _position_told(watch, now) == (["jumped"] if 4 <= k <= 8 else []), k


def test_radar_and_chart_or_a_second_receiver_end_a_doubt_and_a_word_against_it_does_not() -> None:
    for evidence in ("carried", "carried elsewhere", "beside", "beside elsewhere"):
        watch = FaultWatch()
        watch.position(T0, T0, 50.0, -20.0)
        away = 0.01 if evidence.endswith("elsewhere") else 0.0
        for k in range(1, 100):
            now = T0 + k * NS_PER_S
            watch.position(now, now, 50.01, -20.0)
            if evidence.startswith("carried") and k % 2:
                watch.position_carried(now, 50.01 - away, -20.0, 5.0)
            elif evidence.startswith("beside"):
                watch.position_beside(now, 50.01 - away, -20.0)
            if away == 0.0:
                assert _position_told(watch, now) == (["jumped"] if k <= 2 else []), k
            elif evidence.startswith("carried"):
                assert _position_told(watch, now) == ["jumped"]


@pytest.mark.parametrize(("speed_then", "is_told"), [(0.0, True), (2.0, True), (6.0, False), (10.0, False)])
def test_a_speed_no_boat_takes_on_so_soon_is_told(speed_then: float, is_told: bool) -> None:
    """From 8 m/s in one second: hard astern takes off 1 m/s in that time."""
    watch = FaultWatch()
    for k in range(4):
        now = T0 + k * NS_PER_S
        there = Geodesic.WGS84.Direct(50.0, -20.0, 90.0, 8.0 * k)
        watch.motion(now, math.radians(90.0), 8.0 if k < 3 else speed_then)
        watch.position(now, now, there["lat2"], there["lon2"])
    assert _position_told(watch, now) == (["jumped"] if is_told else [])


class _Helm:
    """A boat that steers 60 degrees at 7 m/s, and what its compass says of it."""

    def __init__(self, off_deg: Any, hz: int = 10, across_mps: float = 0.0, turn_deg_s: float = 0.0) -> None:
        self.off_deg, self.hz, self.across, self.turn = off_deg, hz, across_mps, turn_deg_s

    def told(self, seconds: float) -> list[tuple[float, str]]:
        """When a heading was told to be wrong, and how."""
        watch, out = FaultWatch(), list[tuple[float, str]]()
        for k in range(round(seconds * self.hz)):
            t, now = k / self.hz, T0 + round(k / self.hz * NS_PER_S)
            true = math.radians(60.0 + self.turn * max(0.0, min(t - 20.0, 30.0)))
            if k % self.hz == 0:
                east = 7.0 * math.sin(true) + self.across * math.cos(true)
                north = 7.0 * math.cos(true) - self.across * math.sin(true)
                watch.motion(now, math.atan2(east, north) % math.tau, math.hypot(east, north))
                watch.turning(now, math.radians(self.turn) if 20.0 <= t < 50.0 else 0.0)
            # A compass is never still to the last digit.
            said = true + math.radians(self.off_deg(t) + 0.2 * math.sin(7.0 * t))
            watch.heading(now, said % math.tau)
            out += [(t, f.state) for f in watch.faults(now) if f.what == "heading"]
        return out


@pytest.mark.parametrize("off_deg", [180.0, 90.0, 20.0, -20.0])
@pytest.mark.parametrize("hz", [10, 1])
def test_a_heading_that_goes_wrong_stays_told_and_is_believed_when_it_is_right(off_deg: float, hz: int) -> None:
    told = _Helm(lambda t: off_deg if 10.0 <= t < 90.0 else 0.0, hz).told(120.0)
    assert told[0][0] <= 13.0 and {state for _, state in told} <= {"jumped", "damaged"}
    assert {round(t) for t, _ in told} >= set(range(13, 90))
    assert told[-1][0] <= 98.0


def test_a_heading_that_drifts_is_told_before_it_is_thirty_degrees_off() -> None:
    told = _Helm(lambda t: max(0.0, min(t - 20.0, 60.0))).told(60.0)
    assert told and 10.0 < told[0][0] - 20.0 < 30.0 and told[0][1] == "damaged"


@pytest.mark.parametrize("turn_deg_s", [0.0, 6.0, -6.0])
@pytest.mark.parametrize("across_mps", [0.0, 1.0, -1.0])
def test_a_sound_compass_is_believed_in_a_stream_and_in_a_turn(across_mps: float, turn_deg_s: float) -> None:
    assert _Helm(lambda t: 0.0, across_mps=across_mps, turn_deg_s=turn_deg_s).told(80.0) == []


def test_a_compass_fitted_wrong_from_the_beginning_is_left_to_the_registration() -> None:
    assert _Helm(lambda t: 25.0).told(60.0) == []


@pytest.mark.parametrize(
    ("line", "below_keel_and_more_m"),
    [("SDDPT,8.0,0.4,", 8.4), ("SDDPT,8.0,-0.3,", None), ("SDDPT,8.0,,", "unknown"), ("SDDBT,,f,8.0,M,,F", "unknown")],
)
def test_depth_from_the_surface_by_the_sounders_offset(line: str, below_keel_and_more_m: Any) -> None:
    boat = default_boat()
    chain = Chain(boat)
    value = 0
    for letter in line:
        value ^= ord(letter)
    chain.feed_nmea(f"${line}*{value:02X}\r\n".encode(), T0)
    got = chain.intake.depth_below_surface_m(T0)
    if below_keel_and_more_m == "unknown":
        assert got is None
    elif below_keel_and_more_m is None:
        # The keel is 0.3 m below the transducer, and as deep as she draws.
        assert got == pytest.approx(8.0 - 0.3 + boat.draught_m)
    else:
        assert got == pytest.approx(below_keel_and_more_m)
    assert chain.intake.depth_below_surface_m(T0 + 20 * NS_PER_S) is None


@pytest.mark.parametrize("heading_deg", [40.0, 200.0])
@pytest.mark.parametrize("blows_from_deg", [10.0, 100.0, 275.0])
def test_the_wind_over_the_ground_from_the_wind_felt(heading_deg: float, blows_from_deg: float) -> None:
    """Felt wind is true wind less the boat's own motion, worked out forwards here and backwards there."""
    wind, sog, cog_deg = 8.0, 5.0, heading_deg + 15.0

    def unit(deg: float) -> tuple[float, float]:
        return math.sin(math.radians(deg)), math.cos(math.radians(deg))

    (we, wn), (be, bn) = unit(blows_from_deg + 180.0), unit(cog_deg)
    felt_e, felt_n = wind * we - sog * be, wind * wn - sog * bn
    felt_from = math.degrees(math.atan2(-felt_e, -felt_n)) - heading_deg
    knots = math.hypot(felt_e, felt_n) * 3600.0 / 1852.0
    own = OwnState(10.0, -30.0, math.radians(heading_deg), math.radians(cog_deg), sog)
    for angle, speed, letter in ((felt_from, knots, "R"), (blows_from_deg - heading_deg, 8.0 * 3600 / 1852, "T")):
        chain = Chain(default_boat())
        body = f"WIMWV,{angle % 360.0:.2f},{letter},{speed:.3f},N,A"
        value = 0
        for character in body:
            value ^= ord(character)
        chain.feed_nmea(f"${body}*{value:02X}\r\n".encode(), T0)
        got = chain.intake.wind(T0, own)
        assert got is not None
        assert abs(math.remainder(math.degrees(got.from_rad) - blows_from_deg, 360.0)) < 0.1
        assert got.speed == pytest.approx(8.0, abs=0.01)


def _report(**change: Any) -> AisReport:
    values = {"lat_deg": 10.0, "lon_deg": -30.0, "sog": 5.0, "cog_rad": 0.0, **change}
    return AisReport(T0, 799000001, values.pop("message_type", 18), "position", False, **values)


def test_message_19_says_name_and_size_with_the_place() -> None:
    # ITU-R M.1371-5, message 19: a class B set's place, name, kind and size in one.
    table = AisTable()
    table.add(_report(message_type=19, name="MADE", ship_type=37, to_bow_m=12.0, to_stern_m=4.0, to_port_m=2.0,
                      to_starboard_m=3.0), T0)  # fmt: skip
    table.add(_report(lat_deg=10.001), T0 + NS_PER_S)  # and then message 18, which has the place alone
    (target,) = table.targets(T0 + NS_PER_S)
    assert (target.name, target.length_m, target.beam_m, target.ship_type) == ("MADE", 16.0, 5.0, 37)


@pytest.mark.parametrize(("sog", "cog_deg", "moves"), [(1.1, 90.0, True), (0.9, 90.0, False), (5.0, 270.0, True)])
def test_the_middle_of_a_hull_by_her_course(sog: float, cog_deg: float, moves: bool) -> None:
    """150 m of her ahead of the antenna, 50 abaft it, 10 to port and 20 to starboard: 50 m on and 5 m to starboard."""
    table = AisTable()
    table.add(AisReport(T0, 799000001, 5, "static", False, to_bow_m=150.0, to_stern_m=50.0, to_port_m=10.0,
                        to_starboard_m=20.0), T0)  # fmt: skip
    table.add(_report(sog=sog, cog_rad=math.radians(cog_deg)), T0)
    (target,) = table.targets(T0)
    line = Geodesic.WGS84.Inverse(10.0, -30.0, target.lat_deg, target.lon_deg)
    assert line["s12"] == pytest.approx(math.hypot(50.0, 5.0) if moves else 0.0, abs=0.01)
    if moves:
        off = math.remainder(line["azi1"] - cog_deg - math.degrees(math.atan2(5.0, 50.0)), 360.0)
        assert abs(off) < 0.02


@pytest.mark.parametrize(("age_s", "is_told"), [(0.0, True), (419.0, True), (421.0, False)])
def test_how_long_a_vessel_is_remembered(age_s: float, is_told: bool) -> None:
    # Three minutes is the slowest report of M.1371-5, table 1; two of them missed and a minute.
    table = AisTable()
    table.add(_report(), T0)
    assert bool(table.targets(T0 + round(age_s * NS_PER_S))) is is_told


@pytest.mark.parametrize(("second", "age_s"), [(50, 10.0), (40, 20.0), (31, 29.0), (29, 0.0), (None, 0.0)])
def test_how_old_a_place_is_by_its_second(second: int | None, age_s: float) -> None:
    # Received on the minute: second 50 is of the minute before; more than half a minute back is not believed.
    table = AisTable()
    minute = T0 - T0 % (60 * NS_PER_S) + 60 * NS_PER_S
    table.add(_report(second=second), minute)
    (target,) = table.targets(minute)
    assert (minute - target.time_ns) / NS_PER_S == pytest.approx(age_s)


def test_a_spoke_looks_where_its_middle_looks() -> None:
    """The made radar's 180 spokes are centred on whole steps of two degrees from the bow, which heads 28.65 true."""
    taps: list[Any] = []
    MadeRun().play(6.0, Chain(default_boat(), on_spokes=taps.append))
    step = math.tau / 180
    off = [math.degrees(math.remainder(float(t.azimuth_rad[0]) - 0.5, step)) for t in taps if not t.from_bow]
    # The heading swings by 0.003 rad, 0.17 degrees.
    assert len(off) > 200 and max(map(abs, off)) < 0.35
