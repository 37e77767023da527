"""Who overtakes whom, held against two boats moved on by the clock, on every course."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.rules.encounters import meeting_of

# Never on the edge of a sector.
_HEADING = st.integers(0, 719).map(lambda n: n / 2.0 + 0.2)
_FROM_BOW = st.integers(0, 719).map(lambda n: n / 2.0 + 0.13)
_COURSE = st.integers(0, 719).map(lambda n: n / 2.0 + 0.31)


def _place(bearing_deg: float, metres: float) -> complex:
    return complex(metres * math.sin(math.radians(bearing_deg)), metres * math.cos(math.radians(bearing_deg)))


def _turned(deg: float) -> float:
    return (deg + 180.0) % 360.0 - 180.0


@given(_HEADING, st.floats(1.0, 12.0), _FROM_BOW, _COURSE, st.floats(1.0, 12.0))
def test_meetings_are_those_of_two_boats_moved_on(
    heading: float, speed: float, from_bow: float, course: float, target_speed: float
) -> None:
    """Rule 13(b): coming up from more than 22.5 degrees abaft the beam; coming up is a distance that gets less."""
    apart = _place(heading + from_bow, 2000.0)
    later = apart + (_place(course, target_speed) - _place(heading, speed)) * 0.01
    closes = abs(later) - abs(apart)
    if abs(closes) < 1e-4:
        return
    from_her_bow = _turned(heading + from_bow + 180.0 - course)
    bearing = math.radians(heading + from_bow)
    got = meeting_of(math.radians(heading), speed, bearing, math.radians(course), target_speed)
    in_her_stern, in_ours = abs(from_her_bow) > 112.5, abs(_turned(from_bow)) > 112.5
    assert (got == "overtaking") == (in_her_stern and closes < 0.0)
    if got != "overtaking":
        assert (got == "being overtaken") == (in_ours and closes < 0.0)
    if got not in ("overtaking", "being overtaken"):
        # Rule 14, with this program's ten degrees; Rule 15 by the hand she is on.
        head_on = abs(_turned(course - heading - 180.0)) < 10.0 and abs(_turned(from_bow)) < 10.0
        side = "crossing from starboard" if _turned(from_bow) > 0.0 else "crossing from port"
        assert got == ("head-on" if head_on else side)


@pytest.mark.parametrize("heading", [0.0, 77.0, 181.0, 305.0])
def test_head_on_on_every_course(heading: float) -> None:
    for off, expected in ((0.0, "head-on"), (9.0, "head-on"), (-9.0, "head-on"), (15.0, None), (-15.0, None)):
        angles = [math.radians(a) for a in (heading, heading + 1.0, heading + 180.0 + off)]
        got = meeting_of(angles[0], 5.0, angles[1], angles[2], 5.0)
        assert got == (expected or "crossing from starboard")


def test_a_slow_boat_under_way_still_meets() -> None:
    # Rule 3(i): under way is all that is not at anchor, made fast or aground; a knot and a half is a course.
    for own, other in ((0.8, 5.0), (5.0, 0.8)):
        assert meeting_of(0.0, own, 0.5, math.pi + 0.6, other) == "crossing from starboard"
