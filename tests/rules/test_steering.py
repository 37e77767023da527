"""How two vessels meet, at the edges of the sectors of Rules 13 to 15, and what Rule 19 discourages."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.rules.encounters import meeting_of
from moonless.rules.steering import encounters, turn_discouraged

D = math.radians


def _overtaking(aspect_deg: float) -> str | None:
    """Own boat 1 mile off at ``aspect_deg`` from the target's bow, steering straight for her, twice as fast."""
    target_course = D(40.0)
    from_target = target_course + D(aspect_deg)
    to_target = from_target + math.pi
    return meeting_of(to_target, 8.0, to_target, target_course, 4.0)


def test_overtaking_begins_22_5_degrees_abaft_the_beam() -> None:
    # COLREGs 1972 Rule 13(b): "more than 22.5 degrees abaft her beam" (read in a mirror of the rule's text).
    assert _overtaking(112.4) != "overtaking"
    assert _overtaking(112.6) == "overtaking"
    assert _overtaking(-112.4) != "overtaking"
    assert _overtaking(-112.6) == "overtaking"
    assert _overtaking(180.0) == "overtaking"


def test_one_that_falls_behind_is_not_overtaken() -> None:
    assert meeting_of(0.0, 3.0, 0.0, 0.0, 6.0) != "overtaking"


def test_being_overtaken_is_the_same_the_other_way_round() -> None:
    # The target on our quarter, faster, steering for us.
    for edge, expected in ((112.4, False), (112.6, True), (-112.6, True), (-112.4, False)):
        bearing = D(edge)
        got = meeting_of(0.0, 3.0, bearing, bearing + math.pi, 9.0)
        assert (got == "being overtaken") is expected


def test_head_on_and_crossing_edges() -> None:
    # Rule 14 gives no figure; ten degrees is this program's own choice, so these edges are pinned, not checked.
    assert meeting_of(0.0, 5.0, D(0.0), D(180.0), 5.0) == "head-on"
    assert meeting_of(0.0, 5.0, D(9.9), D(180.0 + 9.9), 5.0) == "head-on"
    assert meeting_of(0.0, 5.0, D(10.1), D(180.0), 5.0) == "crossing from starboard"
    assert meeting_of(0.0, 5.0, D(-10.1), D(180.0), 5.0) == "crossing from port"
    assert meeting_of(0.0, 5.0, D(0.0), D(169.0), 5.0) != "head-on"
    # Rule 15: the other on our starboard side.
    assert meeting_of(0.0, 5.0, D(45.0), D(270.0), 5.0) == "crossing from starboard"
    assert meeting_of(0.0, 5.0, D(-45.0), D(90.0), 5.0) == "crossing from port"


def test_one_that_lies_still_does_not_meet_by_the_steering_rules() -> None:
    assert meeting_of(0.0, 5.0, 0.0, 0.0, 0.0) is None


@given(
    st.floats(0, 6.28), st.floats(1, 10), st.floats(0, 6.28), st.floats(0, 6.28), st.floats(1, 10), st.floats(0, 6.28)
)
def test_turning_the_world_changes_nothing(
    heading: float, speed: float, bearing: float, course: float, target: float, turn: float
) -> None:
    a = meeting_of(heading, speed, bearing, course, target)
    b = meeting_of(heading + turn, speed, bearing + turn, course + turn, target)
    if a != b:
        # Only rounding on an edge of a sector may decide otherwise.
        around = {
            meeting_of(heading, speed, bearing + e, course + f, target) for e in (-1e-9, 1e-9) for f in (-1e-9, 1e-9)
        }
        assert b in around


def test_switch_of_sight_shows_one_or_both() -> None:
    args = (0.0, 5.0, D(45.0), D(270.0), 5.0)
    assert [e.rule for e in encounters("in sight", *args)] == ["15"]
    assert [e.rule for e in encounters("radar only", *args)] == ["19"]
    assert [e.rule for e in encounters("unsure", *args)] == ["15", "19"]
    assert encounters("in sight", *args)[0].gives_way is True


def test_rule_19_discourages_port_forward_of_the_beam_and_turns_towards_abaft() -> None:
    # COLREGs 1972 Rule 19(d)(i) and (ii), read in a mirror of the rule's text.
    assert turn_discouraged("radar only", D(-30), 0.0, D(89.0), "crossing from starboard") is not None
    assert turn_discouraged("radar only", D(30), 0.0, D(89.0), "crossing from starboard") is None
    assert turn_discouraged("radar only", D(-30), 0.0, D(20.0), "overtaking") is None
    assert turn_discouraged("radar only", D(30), 0.0, D(91.0), None) is not None
    assert turn_discouraged("radar only", D(-30), 0.0, D(91.0), None) is None
    assert turn_discouraged("radar only", D(-30), 0.0, D(-91.0), None) is not None
    assert turn_discouraged("in sight", D(-30), 0.0, D(-45.0), "crossing from port") is not None


@pytest.mark.parametrize(
    ("bearing", "side"), [(100.0, "starboard"), (170.0, "starboard"), (-100.0, "port"), (-170.0, "port")]
)
@pytest.mark.parametrize("heading", [0.0, 200.0])
def test_rule_19_names_the_side_she_is_on(bearing: float, side: str, heading: float) -> None:
    # Rule 19(d)(ii): an alteration of course *towards* a vessel abeam or abaft the beam is to be avoided.
    (told,) = encounters("radar only", D(heading), 5.0, D(heading + bearing), D(heading), 9.0)
    assert f"altering course to {side}, towards her" in told.action
    (ahead,) = encounters(
        "radar only", D(heading), 5.0, D(heading + math.copysign(60.0, bearing)), D(heading + 180), 9.0
    )
    assert "altering course to port" in ahead.action  # 19(d)(i), on whichever bow


def test_head_on_in_sight_is_passed_by_a_turn_to_starboard() -> None:
    # Rule 14(a): each shall alter her course to starboard.
    assert turn_discouraged("in sight", D(-30), 0.0, 0.0, "head-on") is not None
    assert turn_discouraged("in sight", D(30), 0.0, 0.0, "head-on") is None
    (told,) = encounters("in sight", 0.0, 5.0, 0.0, D(180.0), 5.0)
    assert told.gives_way is None and "alter course to starboard" in told.action


@pytest.mark.parametrize("turn", [-0.5, 0.5])
def test_no_turn_is_never_discouraged(turn: float) -> None:
    assert turn_discouraged("unsure", 0.0, turn, 0.3, "head-on") is None


@pytest.mark.parametrize(("status", "rule"), [(2, "18(a)(i)"), (3, "18(a)(ii)"), (7, "18(a)(iii)"), (8, "18(a)(iv)")])
@pytest.mark.parametrize(("bearing", "course"), [(-45.0, 90.0), (45.0, 270.0), (0.0, 180.0)])
def test_rule_18_where_she_says_what_she_is(status: int, rule: str, bearing: float, course: float) -> None:
    # Rule 18(a): a power-driven vessel keeps out of the way of these, whichever side they come from.
    (told,) = encounters("in sight", 0.0, 5.0, D(bearing), D(course), 5.0, status)
    assert (told.rule, told.gives_way) == (rule, True)
    assert "keep course and speed" not in told.action
    # Rule 18 stands in the section for vessels in sight: by radar alone Rule 19 holds for all alike.
    (unseen,) = encounters("radar only", 0.0, 5.0, D(bearing), D(course), 5.0, status)
    assert unseen.rule == "19"


def test_rule_13_goes_before_rule_18() -> None:
    # "Except where Rules 9, 10 and 13 otherwise require": a fishing vessel that overtakes keeps out of the way.
    (told,) = encounters("in sight", 0.0, 3.0, D(180.0), D(0.0), 9.0, 7)
    assert (told.rule, told.gives_way) == ("13", False)


@pytest.mark.parametrize("status", [None, 0, 1, 5, 15])
def test_other_words_of_ais_change_nothing(status: int | None) -> None:
    assert encounters("in sight", 0.0, 5.0, D(-45.0), D(90.0), 5.0, status) == encounters(
        "in sight", 0.0, 5.0, D(-45.0), D(90.0), 5.0
    )


def test_constrained_by_her_draught() -> None:
    # Rule 18(d)(i): not to be impeded; who gives way stays as it is.
    (told,) = encounters("in sight", 0.0, 5.0, D(-45.0), D(90.0), 5.0, 4)
    assert (told.rule, told.gives_way) == ("15", False)
    assert "do not impede her" in told.action
