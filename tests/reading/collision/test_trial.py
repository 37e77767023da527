"""The trial manoeuvre against exact geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.reading.collision.trial import (
    HORIZON_S,
    Approach,
    Mover,
    approach,
    discouraged,
    hold_s,
    smallest_that_clear,
    try_out,
    vector,
)
from moonless.units import kn_to_mps, nm_to_m

D = math.radians


def test_smallest_turn_clears_and_a_smaller_one_does_not() -> None:
    meets = Mover(1, (0.0, 2000.0), (0.0, -5.0))
    turn, slow, _ = smallest_that_clear(0.0, 5.0, [meets], 300.0, "radar only")
    assert turn is not None and turn.turn_deg > 0 and turn.closest_m >= 300.0
    smaller = try_out(0.0, 5.0, turn.turn_deg - 5.0, 5.0, 0.0, [meets], "radar only")
    assert smaller.closest_m < 300.0
    # Head-on, no slowing of ours keeps her off.
    assert slow is None


def test_exact_course_change_of_a_plotted_encounter() -> None:
    # A published plotting exercise (own 345/15 kn; contact 329/9.0 NM then 326/6.0 NM six minutes later); the exact
    # answer for passing 2.0 NM clear from range 4.5 NM was computed from its published data: course 014.4, after 8.7
    # minutes.  Held here to the exact geometry.
    course, speed = D(145.4), kn_to_mps(15.7)
    bearing, reach = D(323.0), nm_to_m(4.5)
    contact = Mover(
        7,
        (reach * math.sin(bearing), reach * math.cos(bearing)),
        (speed * math.sin(course), speed * math.cos(course)),
    )
    own = kn_to_mps(15.0)
    tried = try_out(D(345.0), own, 29.4, own, 0.0, [contact], "in sight")
    # Published data are given to a tenth of a mile and a degree; so is what can be asked of the answer.
    assert tried.closest_m == pytest.approx(nm_to_m(2.0), abs=nm_to_m(0.05))


def test_a_turn_into_shoal_water_is_refused() -> None:
    meets = Mover(1, (0.0, 2000.0), (0.0, -5.0))

    def shoal(course: float, speed: float, delay: float, hold: float) -> str | None:
        return "shoal water" if math.sin(course) > 0.0 else None

    turn, _, refused = smallest_that_clear(0.0, 5.0, [meets], 300.0, "in sight", shoal=shoal)
    # In sight, head-on: to port is refused by Rule 14, to starboard by the chart.
    assert turn is None
    why = {one.turn_deg > 0.0: one.refused for one in refused}
    assert why == {True: "shoal water", False: "Rule 14: alter to starboard"}


def test_published_encounter_without_a_change() -> None:
    # Pub. 1310 (NGA, Radar Navigation and Maneuvering Board Manual), ch. 6, example 1: 275/12 000 yd and 260/9 000 yd
    # twelve minutes later; closest 6 900 yd on 220 at 0937, seventeen minutes after the last.  Own boat lies still
    # here, so that the plotted relative motion is hers; within the twelve minutes looked ahead she is not yet there.
    yd = 0.9144
    first, last = _at(275.0, 12_000 * yd), _at(260.0, 9_000 * yd)
    moves = ((last[0] - first[0]) / 720.0, (last[1] - first[1]) / 720.0)
    gaps = approach((0.0, 0.0), (0.0, 0.0), 600.0, [Mover(1, last, moves)])
    # The graphical answer is given to 100 yards and a minute.
    assert gaps.distance_m[0] == pytest.approx(6_900 * yd, abs=50 * yd)
    assert gaps.time_s[0] == pytest.approx(17 * 60.0, abs=30.0)


def test_exact_time_of_a_plotted_encounter_after_the_change() -> None:
    # The same exercise as above, exact solution of its published data: closest 8.7 minutes after course 014.4.
    contact = Mover(7, _at(323.0, nm_to_m(4.5)), vector(D(145.4), kn_to_mps(15.7)))
    own = kn_to_mps(15.0)
    gaps = approach(vector(D(345.0), own), vector(D(14.4), own), 0.0, [contact])
    assert gaps.time_s[0] == pytest.approx(8.7 * 60.0, abs=6.0)


@settings(deadline=None)
@given(
    st.floats(-3000, 3000), st.floats(-3000, 3000), st.floats(-10, 10), st.floats(-10, 10),
    st.floats(0, 600), st.floats(-3.1, 3.1), st.floats(0, 12), st.floats(0, 1),
)  # fmt: skip
def test_no_other_moment_is_closer(
    e: float, n: float, ve: float, vn: float, delay: float, course: float, speed: float, part: float
) -> None:
    old, new = (0.0, 6.0), vector(course, speed)
    gaps = approach(old, new, delay, [Mover(1, (e, n), (ve, vn))])
    t = part * (delay + HORIZON_S)
    first, then = min(t, delay), max(t - delay, 0.0)
    away = math.hypot(e + ve * t - old[0] * first - new[0] * then, n + vn * t - old[1] * first - new[1] * then)
    assert gaps.distance_m[0] <= away + 1e-6
    assert 0.0 <= gaps.time_s[0] <= delay + HORIZON_S


@pytest.mark.parametrize(
    ("from_bow_deg", "turn_deg", "why"),
    [
        # Rule 19(d)(i): forward of the beam, not to port; to starboard nothing is said.
        (89.0, -30.0, "forward"), (89.0, 30.0, None), (-89.0, -30.0, "forward"), (-89.0, 30.0, None),
        # Rule 19(d)(ii): abeam or abaft, not towards her.
        (91.0, 30.0, "towards"), (91.0, -30.0, None), (-91.0, -30.0, "towards"), (-91.0, 30.0, None),
    ],
)  # fmt: skip
def test_what_rule_19_refuses_at_its_sectors_edges(from_bow_deg: float, turn_deg: float, why: str | None) -> None:
    place = _at(from_bow_deg, 1500.0)
    # She makes straight for us, faster than we go.
    away = math.hypot(*place)
    closing = Mover(1, place, (-8.0 * place[0] / away, -8.0 * place[1] / away + 5.0))
    said = discouraged(0.0, 5.0, turn_deg, closing, "radar only")
    assert (said is None) if why is None else (said is not None and "19(d)" in said and why in said)


def test_one_that_draws_away_refuses_nothing() -> None:
    leaves = Mover(1, (800.0, 800.0), (6.0, 6.0))
    assert discouraged(0.0, 5.0, -30.0, leaves, "radar only") is None


def test_a_mark_is_passed_close_but_not_hit() -> None:
    meets = Mover(1, (0.0, 2000.0), (0.0, -5.0))
    # A beacon where a turn of any size to starboard up to 30 degrees would run her down.
    beside = Mover(2, _at(20.0, 400.0), (0.0, 0.0), 60.0, is_mark=True)
    free, _, _ = smallest_that_clear(0.0, 5.0, [meets], 300.0, "radar only")
    with_mark, _, _ = smallest_that_clear(0.0, 5.0, [meets, beside], 300.0, "radar only")
    assert free is not None and with_mark is not None
    assert abs(with_mark.turn_deg - 20.0) >= math.degrees(math.asin(60.0 / 400.0)) - 1e-9
    assert with_mark.closest_id == 1


def test_what_is_inside_already_must_only_not_come_nearer() -> None:
    inside = Mover(1, (-100.0, 0.0), (-1.0, 5.0))
    meets = Mover(2, (0.0, 2000.0), (0.0, -5.0))
    turn, _, _ = smallest_that_clear(0.0, 5.0, [inside, meets], 300.0, "in sight")
    assert turn is not None and turn.turn_deg > 0


def _at(bearing_deg: float, range_m: float) -> tuple[float, float]:
    return range_m * math.sin(D(bearing_deg)), range_m * math.cos(D(bearing_deg))


def test_waiting_makes_the_turn_larger() -> None:
    meets = Mover(1, (0.0, 3000.0), (0.0, -5.0))
    now, _, _ = smallest_that_clear(0.0, 5.0, [meets], 400.0, "radar only")
    later, _, _ = smallest_that_clear(0.0, 5.0, [meets], 400.0, "radar only", delay_s=180.0)
    assert now is not None and later is not None and later.turn_deg > now.turn_deg


def test_slowing_clears_a_crossing() -> None:
    # Crosses ahead from port to starboard; both would be at the same place in 400 s.
    crosses = Mover(1, (-2000.0, 2000.0), (5.0, 0.0))
    _, slow, _ = smallest_that_clear(0.0, 5.0, [crosses], 400.0, "in sight")
    assert slow is not None and slow.speed < 5.0 and slow.closest_m >= 400.0


@pytest.mark.parametrize(("past_s", "held"), [(30.0, 120.0), (200.0, 200.0), (700.0, 700.0)])
def test_a_new_course_is_held_until_what_it_is_for_is_past(past_s: float, held: float) -> None:
    # Two minutes at the least, twelve at the most; what comes within three times the keep-off counts.
    gaps = Approach(np.array([250.0, 310.0]), np.array([past_s, 719.0]))
    movers = [Mover(k, (0.0, 900.0), (0.0, 0.0)) for k in range(2)]
    assert hold_s(gaps, movers, 100.0) == held
    assert hold_s(gaps, movers, 110.0) == 719.0
    assert hold_s(Approach(np.zeros(0), np.zeros(0)), [], 100.0) == 120.0
