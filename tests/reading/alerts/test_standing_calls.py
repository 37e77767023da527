"""A call's words stand while they may be true, and not longer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from moonless.reading.alerts.schedule import AGAIN_S
from moonless.reading.alerts.standing import STANDS_S, StandingCalls
from moonless.reading.types import Call, Echo, Fault, Instruction, Own, Reading, Registration, SpeedAdvice
from moonless.units import NS_PER_S

NOTHING = Registration(None, None, None, None, None)
BOAT = Echo(
    id=9, lat=-38.0, lon=-128.0, range_m=700.0, bearing_deg=20.0, relative_bearing_deg=0.0, cog_deg=200.0, sog_kn=9.0,
    length_m=None, kind="vessel", confidence=0.9, p_moving=1.0, charted_as=None, ais=None, cpa_m=100.0, tcpa_s=120.0,
    cpa_sigma_m=20.0, why="",
)  # fmt: skip
STOP = Instruction("stop", None, 0.0, "STOP", "", 9)
URGENT, MILD = Call("echo 9", "vessel", 4, "urgent", 9), Call("speed", "speed", 1, "mild")


def at(seconds: float, *calls: Call, echoes: tuple[Echo, ...] = (BOAT,)) -> Reading:
    own = Own(-38.0, -128.0, 20.0, 8.0, 20.0)
    time_ns = 10**18 + round(seconds * NS_PER_S)
    reading = Reading(time_ns, own, echoes, (), None, (), None, None, NOTHING, SpeedAdvice(None, ""), calls=calls)
    return replace(reading, instruction=STOP)


def said(standing: StandingCalls, reading: Reading) -> list[str]:
    return [one.call.say for one in standing.add(reading)]


def begun() -> StandingCalls:
    standing = StandingCalls()
    assert said(standing, at(0.0, MILD, URGENT)) == ["urgent", "mild"], "the most urgent first"
    return standing


def test_words_stand_for_a_while_after_they_were_said_once() -> None:
    standing = begun()
    assert said(standing, at(10.0)) == ["urgent"]
    assert said(standing, at(30.0)) == []


def test_words_go_with_the_echo_and_when_time_goes_back() -> None:
    assert said(begun(), at(5.0, echoes=())) == ["mild"]
    assert said(begun(), at(-60.0)) == []


def test_the_words_of_an_order_go_with_the_order() -> None:
    told = replace(at(5.0), instruction=None)
    assert said(begun(), told) == ["mild"]
    assert said(begun(), replace(told, instruction=replace(STOP, do="hold"))) == ["mild"]
    # A fault that is as urgent gives no order, and stays.
    standing = StandingCalls()
    standing.add(at(0.0, Call("disagrees", "disagreement", 3, "do not agree")))
    assert said(standing, replace(at(5.0), instruction=None)) == ["do not agree"]


@pytest.mark.parametrize(
    ("what", "state", "stands"),
    [
        # What was called by a picture, a bearing or a time that is not believed any more is not so any more; a position
        # is carried on, and sources that disagree take nothing away.
        ("radar", "frozen", False), ("heading", "jumped", False), ("clock", "jumped", False),
        ("position", "silent", True),
        ("heading", "disagrees", True), ("ais", "silent", True), ("depth", "silent", True),
    ],
)  # fmt: skip
def test_words_go_with_what_they_rested_on(what: Any, state: Any, stands: bool) -> None:
    fault = Fault(what, state, 10**18)
    told = said(begun(), replace(at(2.5), faults=(fault,)))
    assert told == (["urgent", "mild"] if stands else [])
    # The fault's own words stand while it lasts.
    standing = StandingCalls()
    own = Call(f"fault {what} {state}", "fault", 4, "it is gone")
    standing.add(replace(at(0.0, own), faults=(fault,)))
    assert said(standing, replace(at(2.5), faults=(fault,))) == ["it is gone"]
    assert said(standing, at(5.0)) == []


def test_what_is_said_anew_takes_the_place_of_its_older_words() -> None:
    assert said(begun(), at(5.0, replace(URGENT, urgency=3, say="nearer now"))) == ["nearer now", "mild"]
    # Another matter of the same echo too: two sentences about one boat cannot both be the present.
    assert said(begun(), at(5.0, Call("echo 9 lost", "vessel", 2, "lost", 9))) == ["lost", "mild"]


def test_what_is_acknowledged_goes_at_once() -> None:
    standing = begun()
    assert [one.call.say for one in standing.acknowledge("echo 9")] == ["mild"]
    assert said(standing, at(2.5)) == ["mild"]


def test_the_most_urgent_is_said_again_before_its_words_go() -> None:
    assert STANDS_S[4] > AGAIN_S
