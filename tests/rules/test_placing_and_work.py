"""Where lights stand, what those at work show, and the signals in sight."""

from __future__ import annotations

import pytest

from moonless.errors import InputError
from moonless.rules.lights import Vessel
from moonless.rules.placing import placing
from moonless.rules.recognise import recognise
from moonless.rules.required import required
from moonless.rules.seen import parse_seen
from moonless.rules.sounds import signals_in_sight


def _say(vessel: Vessel) -> str:
    return " | ".join(p.say for p in placing(vessel, required(vessel)[0]))


@pytest.mark.parametrize(
    ("vessel", "there", "absent"),
    [
        # Annex I 2(a): 6 m from 20 m on, the after one 4.5 m higher; 2(c) 12 to 20 m: 2.5 m; 2(d) under 12 m: 1 m.
        (Vessel("power", 20.0), "6 m above the hull", "4.5 m"), (Vessel("power", 50.0), "4.5 m higher", "2.5 m"),
        (Vessel("power", 19.9), "2.5 m above the gunwale", "6 m above"), (Vessel("power", 11.9), "1 m above", "2.5 m"),
        # Inland 33 CFR 84: 5 m; from memory.
        (Vessel("power", 20.0, inland=True), "5 m above the hull", "6 m above"),
        # 3(a): half the length apart, 100 m at the most; the forward one within a quarter of the stem.
        (Vessel("power", 80.0), "40 m apart", "100 m apart"), (Vessel("power", 250.0), "100 m apart", "125 m apart"),
        # 2(i): 2 m apart and 4 m up from 20 m on, 1 m and 2 m below.
        (Vessel("restricted", 20.0), "2 m apart", "1 m apart"), (Vessel("restricted", 19.9), "1 m apart", "2 m apart"),
        # 2(k): 4.5 m between anchor lights, 6 m up from 50 m on.
        (Vessel("anchored", 50.0), "4.5 m higher than the after", "2 m apart"),
    ],
)  # fmt: skip
def test_heights_and_spacing(vessel: Vessel, there: str, absent: str) -> None:
    assert there in _say(vessel) and absent not in _say(vessel)


def _count(vessel: Vessel, role: str, colour: str, which: int = 0) -> int:
    return sum((x.role, x.colour) == (role, colour) for x in required(vessel)[which].lights)


def test_constrained_by_draught_keeps_her_running_lights_when_stopped() -> None:
    # Rule 28 adds to Rule 23, which does not ask whether she makes way.
    lights = required(Vessel("constrained by draught", 200.0, making_way=False))[0].lights
    assert {x.role for x in lights} == {"all-round", "masthead", "side", "stern"}


def test_partly_submerged_tows() -> None:
    # Rule 24(g): white at each end under 25 m of breadth; two more from 25 m; no more than 100 m between; 22: 3 NM.
    def whites(length: float, breadth: float) -> int:
        return len(required(Vessel("partly submerged tow", length, breadth_m=breadth))[0].lights)

    assert [whites(40, 24.9), whites(40, 25.0), whites(100, 10), whites(101, 10), whites(201, 10)] == [2, 4, 2, 3, 4]
    assert all(x.range_nm == 3.0 for x in required(Vessel("partly submerged tow", 40.0))[0].lights)


def test_pushed_and_alongside() -> None:
    # Rule 24(f): sidelights at the forward end; alongside a sternlight too; inland a special flashing light.
    assert _count(Vessel("pushed", 60.0), "stern", "white") == 0
    assert _count(Vessel("towed alongside", 60.0), "stern", "white") == 1
    assert _count(Vessel("pushed", 60.0), "special flashing", "yellow") == 0
    assert _count(Vessel("pushed", 60.0, inland=True), "special flashing", "yellow") == 1


def test_at_anchor_at_work() -> None:
    # 27(b)(iv), 29(a)(iii), 27(f): with the lights of Rule 30; 27(d)(iii): dredging, without.
    assert _count(Vessel("restricted", 30.0, at_anchor=True), "all-round", "white") == 2
    assert _count(Vessel("restricted", 60.0, at_anchor=True), "all-round", "white") == 3
    assert _count(Vessel("pilot", 15.0, at_anchor=True), "side", "red") == 0
    assert _count(Vessel("pilot", 15.0, at_anchor=True), "all-round", "white") == 2
    assert _count(Vessel("mine clearance", 40.0, at_anchor=True), "all-round", "green") == 3
    assert _count(Vessel("dredging or diving", 40.0, at_anchor=True), "all-round", "white") == 1
    with pytest.raises(InputError, match="at anchor"):
        Vessel("power", 9.0, at_anchor=True)


def test_restricted_by_her_tow_and_net_signals() -> None:
    # 27(c): red, white, red with the lights of 24(a).  Annex II 2(a): white-white, white-red, red-red.
    assert _count(Vessel("towing", 30.0, tow_restricts=True), "all-round", "red") == 2
    assert _count(Vessel("towing", 30.0, tow_restricts=True), "towing", "yellow") == 1
    pairs = {
        signal: [x.colour for x in required(Vessel("trawling", 25.0, net_signal=signal))[0].lights if x.group == "nets"]  # type: ignore[arg-type]
        for signal in ("shooting", "hauling", "fast")
    }
    assert pairs == {"shooting": ["white", "white"], "hauling": ["white", "red"], "fast": ["red", "red"]}
    with pytest.raises(InputError, match="Annex II"):
        Vessel("fishing", 25.0, net_signal="hauling")


def test_signals_in_sight() -> None:
    # COLREGs Rule 34, from memory: one short to starboard, two to port, three astern, five in doubt.
    by = {s.when: s.pattern for s in signals_in_sight()}
    assert by["I am altering course to starboard"] == (1.0,)
    assert by["I am altering course to port"] == (1.0, 1.0)
    assert by["my engines go astern"] == (1.0, 1.0, 1.0)
    assert len(by["I doubt that you are doing enough to avoid collision"]) == 5
    assert by["narrow channel: I agree to be overtaken"] == (5.0, 1.0, 5.0, 1.0)
    assert not any("I am altering" in s.when for s in signals_in_sight(inland=True))


def test_mine_clearance_is_told_with_its_thousand_metres() -> None:
    # Rule 27(f): dangerous to approach within 1 000 m of a vessel engaged in mine clearance.
    (first, *_) = recognise(parse_seen("three green"))
    assert first.kind == "mine clearance" and "1000 m off" in first.meaning


def test_a_sailing_vessel_with_her_engine_on_is_lit_as_power_driven() -> None:
    # Rule 25(e) is her day shape; by Rule 3(c) she is no sailing vessel while the engine drives her, so Rule 23 holds.
    motor = required(Vessel("sail", 12.0, under_sail_and_power=True))[0].lights
    power = required(Vessel("power", 12.0))[0].lights
    assert sorted((x.role, x.colour) for x in motor) == sorted((x.role, x.colour) for x in power)
