"""Requests of the screens, checked at the door."""

from __future__ import annotations

from typing import Any

import pytest

from moonless.errors import InputError
from moonless.helm.process.requests import EndTrial, JumpTo, SeenByEye, TryManoeuvre
from moonless.helm.web.controls import read_control


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({}, "nothing this helm can do"),
        ({"do": "steer"}, "nothing this helm can do"),
        ({"do": "speed", "value": 99}, "goes from"),
        ({"do": "speed", "value": "fast"}, "not a number"),
        ({"do": "speed", "value": True}, "not a number"),
        ({"do": "jump", "value": -1}, "goes from"),
        ({"do": "jump"}, "not a number"),
        ({"do": "silence", "value": float("nan")}, "not a number"),
        ({"do": "i see it", "value": "boat"}, "needs an echo"),
        ({"do": "i see it", "echo": 3, "value": "a whale"}, "is not one of"),
        ({"do": "i see it", "echo": "3", "value": "boat"}, "not a number"),
        ({"do": "keep in mind", "echo": 3, "value": "x" * 201}, "200 letters"),
        ({"do": "sight", "value": "fog"}, "is not one of"),
        ({"do": "loudspeaker", "value": 1}, "true or false"),
        ({"do": "acknowledge", "key": "x" * 401}, "400 letters"),
        ({"do": "acknowledge", "echo": 9}, "400 letters"),
        ({"do": "trial", "value": 140}, "is an object"),
        ({"do": "trial", "value": {"course_deg": 361}}, "goes from"),
        ({"do": "trial", "value": {"speed_kn": -1}}, "goes from"),
        ({"do": "trial", "value": {"delay_s": "soon"}}, "not a number"),
    ],
)
def test_what_is_refused_and_why(body: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        read_control(body)


def test_a_good_request_comes_through() -> None:
    assert read_control({"do": "i see it", "echo": 3, "value": "boat"}) == SeenByEye(3, "boat")
    assert read_control({"do": "trial", "value": None}) == EndTrial()
    assert read_control({"do": "trial", "value": {"course_deg": 140}}) == TryManoeuvre(140.0, None, 0.0)


def test_a_place_of_a_recording_is_its_own_time() -> None:
    assert read_control({"do": "jump", "value": 1_840_000_000_250}) == JumpTo(1_840_000_000_250_000_000)
