"""Every fault has its call: how urgent, in which words, and what follows from it (`docs/faults.md`)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from reading_fakes import make_boat

from moonless.reading.alerts.brief import brief
from moonless.reading.alerts.doubts import of_agreement, of_faults, of_no_video, of_performance
from moonless.reading.registration.registrar import Agreement
from moonless.reading.types import Fault
from moonless.reading.visibility.seeing import RadarPerformance

WITHDRAWN = "What rests on it is withdrawn."
FOLLOWED = "The one followed may be the wrong one."


@pytest.mark.parametrize(
    ("what", "state", "urgency", "say", "more"),
    [
        ("radar", "silent", 4, "The radar picture is not coming.", WITHDRAWN),
        ("radar", "frozen", 4, "The radar picture is frozen.", WITHDRAWN),
        ("radar", "deaf", 4, "The radar picture shows no echo of anything, not even the sea.", WITHDRAWN),
        ("radar", "late", 4, "The radar picture comes late: the computer cannot keep up.", WITHDRAWN),
        ("position", "jumped", 4, "Own position has jumped.", WITHDRAWN),
        ("position", "damaged", 4, "Own position drifts against all that stands still.", WITHDRAWN),
        ("heading", "damaged", 4, "The heading goes neither with the course nor with what stands still.", WITHDRAWN),
        ("heading", "stale", 4, "The heading is old.", WITHDRAWN),
        ("clock", "jumped", 3, "The clock has jumped.", ""), ("chart", "stale", 3, "The chart is old.", ""),
        ("ais", "silent", 2, "AIS is not coming.", ""), ("depth", "silent", 2, "The sounder is not coming.", ""),
        ("position", "disagrees", 3, "Two sources of the position do not agree.", FOLLOWED),
        ("clock", "disagrees", 3, "Two sources of the date and time do not agree.", FOLLOWED),
        ("depth", "disagrees", 2, "Two sources of the sounder do not agree.", FOLLOWED),
        ("radar", "disagrees", 3, "True ranges are 2 times what the radar tells; put right here.",
         "By own motion and the coast. They are not put right on the radar's own screen."),
    ],
)  # fmt: skip
def test_each_fault_is_said(what: Any, state: Any, urgency: int, say: str, more: str) -> None:
    (told,) = of_faults([Fault(what, state, 0)], range_factor=2.0)
    assert (told.key, told.kind, told.urgency, told.say, told.more) == (
        f"fault {what} {state}",
        "fault",
        urgency,
        say,
        more,
    )


def test_all_that_fail_are_said_and_a_position_that_is_carried_on_is_not_withdrawn() -> None:
    faults = [Fault("position", "silent", 0), Fault("heading", "frozen", 0), Fault("ais", "silent", 0)]
    told = of_faults(faults, position_held=True)
    assert [one.say for one in told] == ["Own position is not coming.", "The heading is frozen.", "AIS is not coming."]
    assert [one.more for one in told] == ["Radar and chart carry it on.", WITHDRAWN, ""]
    assert of_no_video(False) == [] and [one.urgency for one in of_no_video(True)] == [3]


@pytest.mark.parametrize(
    ("offset_db", "sigma_db", "is_shown", "is_told"),
    [(-4.1, 1.0, True, True), (-3.9, 1.0, True, False), (-5.9, 3.0, True, False), (-6.1, 3.0, True, True),
     (-9.0, 1.0, False, False), (9.0, 1.0, True, False)],
)  # fmt: skip
def test_a_radar_that_sees_worse_is_said_past_four_decibels_and_two_of_its_doubts(
    offset_db: float, sigma_db: float, is_shown: bool, is_told: bool
) -> None:
    told = of_performance(RadarPerformance(offset_db, sigma_db, is_shown))
    assert bool(told) is is_told
    if told:
        assert told[0].say == f"The radar sees {-offset_db:.0f} decibels worse than it should." and told[0].urgency == 2


def test_what_was_put_right_is_weighed_by_how_much_it_is() -> None:
    """A degree by a degree; the position by twenty metres.  Both are to be known, and nothing to be done."""
    boat = make_boat(heading_sigma_rad=math.radians(0.5), position_sigma_m=4.0)
    known = Agreement(np.array([math.radians(-3.0), 30.0, -40.0]), np.diag([1e-6, 4.0, 4.0]), True, 0.9, 30, True)
    compass, place = of_agreement(known, boat)
    assert (compass.say, compass.urgency) == ("The compass reads 3 degrees low; put right here.", 2)
    assert compass.weight == pytest.approx(3.0) and place.weight == pytest.approx(50.0 / 20.0) and place.urgency == 2
    assert place.say == "The reported position is 50 metres off; put right here."
    # East 30 and south 40 is 143 degrees.
    assert place.more == "Off towards 143, by radar and chart."


def test_twelve_words_are_spoken_and_what_ranks_highest_is_left_out_first() -> None:
    six, parts = "one two three four five six", [(2, "a b c"), (0, "d e"), (1, "f g")]
    # Six and seven are thirteen.
    assert brief(six, parts) == f"{six}, d e, f g."
    assert brief("one two three four five", parts) == "one two three four five, a b c, d e, f g."
    assert brief(" ".join("x" * 12), parts) == " ".join("x" * 12) + "."
    assert brief("one", [(0, ""), (1, "two")]) == "one, two."
