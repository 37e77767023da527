"""What the compass at the wheel shows on true courses."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime

import pytest

from moonless.helm.web.wheel_compass import STEP_DEG, WheelCompass
from moonless.reading.types import Own

# WMM2020 test values (NOAA/NCEI): 2020.0, height 0, 80 S 120 W: declination 69.36 east.
PLACE, MOMENT_NS = Own(-80.0, -120.0, None, None, None), int(datetime(2020, 1, 1, tzinfo=UTC).timestamp() * 1e9)
VARIATION = 69.36
CARD = ((0.0, 12.0), (90.0, -6.0), (180.0, -9.0), (270.0, 15.0))


def test_true_is_what_the_compass_shows_with_deviation_and_variation_added() -> None:
    """Compass, plus deviation, plus variation, easterly positive, is true (Bowditch, American Practical Navigator)."""
    body = WheelCompass(CARD).body(PLACE, MOMENT_NS)
    assert body is not None and body["by"] == "card"
    for k, shown in enumerate(body["shows_deg"]):
        (a, dev_a), (b, dev_b) = next(
            (before, after) for before, after in itertools.pairwise((*CARD, (360.0, CARD[0][1]))) if shown <= after[0]
        )
        deviation = dev_a + (dev_b - dev_a) * (shown - a) / (b - a)
        assert (shown + deviation + VARIATION - STEP_DEG * k + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.1)


def test_without_a_card_it_is_the_magnetic_course_and_without_a_place_nothing() -> None:
    compass = WheelCompass()
    body = compass.body(PLACE, MOMENT_NS)
    assert body is not None and body["by"] == "variation"
    assert body["shows_deg"][9] == pytest.approx(90.0 - VARIATION, abs=0.06)
    assert body["shows_deg"][0] == pytest.approx(360.0 - VARIATION, abs=0.06)
    assert compass.body(Own(None, None, None, None, None), MOMENT_NS) is None
