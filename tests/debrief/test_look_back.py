"""The measure by which the debrief is held against a scene's script, itself held against plain geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench.scenes.look_back import STEP_S, _met, _paired

from moonless.debrief.meetings import MeetingTold
from moonless.scene.kinds import OBJECT_KINDS
from moonless.scene.types import SceneObject, Script
from moonless.units import NS_PER_S

TIME_S = np.arange(0.0, 300.0, STEP_S)
# North at 5 m/s from the origin.
OWN = np.column_stack([np.zeros(len(TIME_S)), 5.0 * TIME_S])


def launch(start_m: tuple[float, float], heading_rad: float, speed: float) -> SceneObject:
    known = OBJECT_KINDS["launch"]
    return SceneObject(
        "she", "launch", Script(start_m, heading_rad, speed), known.rcs_m2, known.height_m, known.length_m,
        known.beam_m, known.swerling, known.casts_shadow,
    )  # fmt: skip


def test_a_crossing_by_plain_geometry() -> None:
    # East at 4 m/s from 400 m west and 800 m north: relative to us she goes (4, -5) from (-400, 800).  Nearest when
    # (400 * 4 + 800 * 5) / 41 = 136.59 s, then (146.3, 117.1) off: 187.4 m at 051.3 degrees (elementary).
    met = _met(launch((-400.0, 800.0), math.pi / 2.0, 4.0), OWN, TIME_S)
    assert met is not None
    assert (met.at_s, met.closest_m) == (pytest.approx(136.6, abs=0.11), pytest.approx(187.4, abs=0.5))
    assert met.bearing_deg == pytest.approx(51.3, abs=0.4)
    # Inside 300 m for the chord: 2 sqrt(300^2 - 187.4^2) / sqrt(41) = 73.2 s.
    assert STEP_S * float((met.off_m < 300.0).sum()) == pytest.approx(73.2, abs=0.6)


def test_what_lies_still_or_goes_away_is_no_meeting() -> None:
    assert _met(launch((50.0, 600.0), 0.0, 0.0), OWN, TIME_S) is None
    assert _met(launch((50.0, -10.0), math.pi, 4.0), OWN, TIME_S) is None


def test_who_is_who_goes_by_time_and_distance() -> None:
    def told(closest_m: float, at_s: float) -> MeetingTold:
        return MeetingTold(
            "a vessel",
            None,
            closest_m,
            round(at_s * NS_PER_S),
            0.0,
            None,
            463.0,
            0.0,
            "",
            "",
            "",
            "",
            False,
            (),
            (),
            (),
        )

    met = _met(launch((-400.0, 800.0), math.pi / 2.0, 4.0), OWN, TIME_S)
    assert met is not None
    right, late, other = told(190.0, 137.0), told(187.0, 200.0), told(400.0, 140.0)
    pairs, invented = _paired([right, late, other], [met], 0)
    assert [(one.closest_m, true.name) for one, true in pairs] == [(190.0, "she")] and invented == [late, other]
