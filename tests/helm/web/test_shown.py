"""What the screens are shown: an answer counts at once; what only they need is no part of a written reading."""

from __future__ import annotations

from dataclasses import replace

from helm_made import MadeSource

from moonless.helm.shown import ShownPicture
from moonless.reading.types import Alert, Instruction


def test_what_was_heard_is_acknowledged_on_every_screen_before_the_next_turn() -> None:
    turn = MadeSource().turn()
    alerts = (Alert("echo 9", 4, "unacknowledged", "x"), Alert("echo 7", 3, "rectified", "y"))
    turn = replace(turn, reading=replace(turn.reading, alerts=alerts))
    shown = ShownPicture()
    shown.add_turn(turn)
    shown.acknowledge("echo 9")
    shown.acknowledge("echo 7")
    assert shown.reading is not None
    # MSC.252(83) 20.1.2: the state is the same wherever it is shown. What is over is not called back by an answer.
    assert [one["state"] for one in shown.reading["alerts"]] == ["acknowledged", "rectified"]
    assert all(call["key"] != "echo 9" for call in shown.reading["standing"])


def test_the_screens_are_told_whom_an_order_is_about_and_a_written_reading_is_not() -> None:
    turn = MadeSource().turn()
    order = Instruction("stop", None, 0.0, "STOP", "Vessel, dead ahead.", 9)
    turn = replace(turn, reading=replace(turn.reading, instruction=order), depth_below_surface_m=6.3)
    body = ShownPicture().add_turn(turn)
    assert body["instruction"]["echo"] == 9 and body["depth_m"] == 6.3
    # The contract of readings.jsonl.
    assert set(turn.reading.as_dict()["instruction"]) == {"do", "to_deg", "to_kn", "say", "because"}
    assert "alerts" not in turn.reading.as_dict()
