"""The trial manoeuvre against exact geometry."""

from __future__ import annotations

import math

import pytest

from moonless.reading.trial import Mover, smallest_that_clear, try_out
from moonless.units import kn_to_mps, nm_to_m

D = math.radians


def test_smallest_turn_clears_and_a_smaller_one_does_not() -> None:
    meets = Mover(1, (0.0, 2000.0), (0.0, -5.0))
    turn, slow = smallest_that_clear(0.0, 5.0, [meets], 300.0, "radar only")
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

    def shoal(course: float, speed: float, delay: float) -> str | None:
        return "shoal water" if math.sin(course) > 0.0 else None

    turn, _ = smallest_that_clear(0.0, 5.0, [meets], 300.0, "in sight", shoal=shoal)
    assert turn is None or turn.turn_deg < 0.0


def test_waiting_makes_the_turn_larger() -> None:
    meets = Mover(1, (0.0, 3000.0), (0.0, -5.0))
    now, _ = smallest_that_clear(0.0, 5.0, [meets], 400.0, "radar only")
    later, _ = smallest_that_clear(0.0, 5.0, [meets], 400.0, "radar only", delay_s=180.0)
    assert now is not None and later is not None and later.turn_deg > now.turn_deg


def test_slowing_clears_a_crossing() -> None:
    # Crosses ahead from port to starboard; both would be at the same place in 400 s.
    crosses = Mover(1, (-2000.0, 2000.0), (5.0, 0.0))
    _, slow = smallest_that_clear(0.0, 5.0, [crosses], 400.0, "in sight")
    assert slow is not None and slow.speed < 5.0 and slow.closest_m >= 400.0
