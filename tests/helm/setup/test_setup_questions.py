"""The questions of the set-up: each stands on a key, and what nobody knows is said to be assumed."""

from __future__ import annotations

import pytest

from moonless.boat.keys import keys_of
from moonless.errors import InputError
from moonless.helm.setup.questions import ASSUMED, QUESTIONS, asked, change_for, lights_asked


def test_every_question_stands_on_a_key_and_says_one_plain_sentence() -> None:
    for question in QUESTIONS:
        table, _, name = question.key.partition(".")
        assert question.ask.endswith("?") and question.ask.count("?") == 1 and len(question.ask) < 70
        if question.key in ("light", "screen.length_unit", "boat.stopping", "boat.fuel"):
            continue
        assert name in keys_of(table), question.key
    assert len({question.key for question in QUESTIONS}) == len(QUESTIONS)


def test_nothing_answered_is_said_to_be_default_or_unknown() -> None:
    by_key = {one["key"]: one for one in asked({}, "metres")}
    assert by_key["boat.length_m"]["state"] == "unknown" and by_key["boat.length_m"]["is_needed"]
    assert by_key["skipper.keep_off_m"]["state"] == "default" and by_key["skipper.keep_off_m"]["default"] == 463.0
    assert by_key["skipper.night_limit_kn"]["state"] == "unknown"
    # The radar's figures stand at those of its kind, in the file's units.
    assert by_key["radar.peak_power_w"]["default"] == 4000.0 and by_key["radar.rotation_rpm"]["default"] == 24.0
    other = {one["key"]: one for one in asked({"radar.set": "open array"}, "metres")}
    assert other["radar.peak_power_w"]["default"] == 10000.0
    assert other["radar.beam_horizontal_deg"]["default"] == pytest.approx(1.9)


def test_what_nobody_knows_is_assumed_and_named_and_an_answer_takes_that_back() -> None:
    changes = change_for("boat.draught_m", None, {})
    assert changes == {"boat.draught_m": ASSUMED["boat.draught_m"], "boat.assumed": ["draught_m"]}
    changes = change_for("boat.draught_m", 0.8, {"boat.assumed": ["beam_m", "draught_m"]})
    assert changes == {"boat.draught_m": 0.8, "boat.assumed": ["beam_m"]}


def test_the_smallest_thing_brings_its_height() -> None:
    assert change_for("skipper.smallest_rcs_m2", 0.5, {})["skipper.smallest_height_m"] == 0.5


def test_what_is_not_asked_cannot_be_answered() -> None:
    with pytest.raises(InputError, match="nothing that is asked"):
        change_for("boat.assumed", ["x"], {})


def test_the_lights_asked_are_those_of_the_rules() -> None:
    # Rule 23(a): masthead, sidelights, sternlight; 23(d) lets a boat under 12 m show one all-round white instead.
    asked_small = {(row["role"], row["colour"]) for row in lights_asked(9.0)}
    assert {("masthead", "white"), ("port", "red"), ("starboard", "green"), ("stern", "white")} <= asked_small
    assert ("all-round", "white") in asked_small
