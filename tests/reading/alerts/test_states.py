"""The states of alerts, held to the words of IMO resolutions MSC.302(87) and MSC.252(83)."""

from __future__ import annotations

from reading_fakes import T0, S

from moonless.reading.alerts.states import ESCALATES_S, GONE_AFTER_S, SHOWN_S, AlertStates
from moonless.reading.types import Call


def _call(urgency: int, key: str = "a") -> Call:
    return Call(key, "vessel", urgency, "x", None)


def test_unacknowledged_then_acknowledged_until_it_is_rectified() -> None:
    # MSC.252(83) 20.2.2, 20.2.7 and 20.2.8: indicated as unacknowledged, steady once acknowledged, until rectified.
    states = AlertStates()
    (alert,) = states.step(T0, [_call(4)], {"a"})
    assert (alert.state, alert.urgency) == ("unacknowledged", 4)
    states.acknowledge("a")
    for k in range(1, 200):
        (alert,) = states.step(T0 + k * S, [], {"a"})
        assert alert.state == "acknowledged"
    gone = [states.step(T0 + (200 + k) * S, [], set()) for k in range(30)]
    assert gone[0] != () and gone[-1] == (), "what is answered and over is gone"


def test_what_goes_unanswered_is_shown_as_rectified_for_a_while() -> None:
    states = AlertStates()
    states.step(T0, [_call(3)], {"a"})
    seen = [[a.state for a in states.step(T0 + k * S, [], set())] for k in range(1, 60)]
    first = int(GONE_AFTER_S)
    assert seen[first - 2] == ["unacknowledged"] and seen[first] == ["rectified"]
    assert seen[first + int(SHOWN_S) + 2] == []


def test_a_warning_nobody_answers_becomes_an_alarm() -> None:
    # MSC.302(87) 6.2.2.2: "escalation required as alarm from not acknowledged warning".
    states = AlertStates()
    states.step(T0, [_call(3)], {"a"})
    at = {k: states.step(T0 + k * S, [], {"a"})[0] for k in range(1, 120)}
    assert not at[int(ESCALATES_S) - 1].is_escalated
    assert at[int(ESCALATES_S) + 1].is_escalated and at[int(ESCALATES_S) + 1].urgency == 4
    states.acknowledge("a")
    assert states.step(T0 + 121 * S, [], {"a"})[0].urgency == 3, "answered, it is a warning again"


def test_a_caution_asks_for_no_answer() -> None:
    states = AlertStates()
    states.step(T0, [_call(2)], {"a"})
    assert not any(states.step(T0 + k * S, [], {"a"})[0].is_escalated for k in range(1, 300))


def test_worse_asks_anew_and_milder_does_not() -> None:
    states = AlertStates()
    states.step(T0, [_call(3)], {"a"})
    states.acknowledge("a")
    assert states.step(T0 + 5 * S, [_call(2)], {"a"})[0].state == "acknowledged"
    assert states.step(T0 + 6 * S, [_call(4)], {"a"})[0].state == "unacknowledged"


def test_a_recording_begun_again_begins_anew() -> None:
    states = AlertStates()
    states.step(T0 + 100 * S, [_call(4)], {"a"})
    assert states.step(T0, [], set()) == ()
