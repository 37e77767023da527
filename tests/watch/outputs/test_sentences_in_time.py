"""Which number a target has and when an alert begins and ends, turn by turn; sentences read by another library."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pynmea2
import pytest
from test_outputs import ECHO, T0, _reading

from moonless.reading.types import AisLabel, Call, Fault
from moonless.watch.outputs.sentences import SentenceOutput


def _ttm(lines: list[str]) -> dict[str, Any]:
    """Return {number: sentence} of the tracked targets."""
    found = [pynmea2.parse(line, check=True) for line in lines if line[3:6] == "TTM"]
    return {f"{m.target_number:02d}": m for m in found}


def _alarms(out: SentenceOutput, at_s: float, **more: Any) -> list[tuple[str, str, str]]:
    """Return (number, on or off, words) of a turn's alerts."""
    lines = [line.split("*")[0].split(",") for line in out.lines(_reading(at_s, **more)) if line[3:6] == "ALR"]
    return [(f[2], f[3], f[5]) for f in lines]


def test_what_is_not_known_is_an_empty_field_and_what_is_named_has_its_name() -> None:
    unknown = replace(ECHO, cog_deg=None, cpa_m=None, tcpa_s=None, ais=AisLabel(999_000_001, "MADE UP"))
    (message,) = _ttm(SentenceOutput().lines(_reading(echoes=(unknown,)))).values()
    assert (message.cog, message.dist_cpa, message.time_cpa) == (None, None, None)
    assert (message.name, message.brg_ref, float(message.speed)) == ("MADE UP", "T", 12.5)
    (message,) = _ttm(SentenceOutput().lines(_reading())).values()
    assert message.name == "" and SentenceOutput(talker="II").lines(_reading())[0].startswith("$IITTM")


@pytest.mark.parametrize(("away_s", "number"), [(59.0, "01"), (62.0, "02")])
def test_a_target_that_comes_back_within_a_minute_keeps_its_number(away_s: float, number: str) -> None:
    out, two = SentenceOutput(), replace(ECHO, id=2000, range_m=5000.0)
    assert list(_ttm(out.lines(_reading(0.0, echoes=(ECHO,))))) == ["01"]
    lost = _ttm(out.lines(_reading(2.5, echoes=())))
    assert [(n, m.status) for n, m in lost.items()] == [("01", "L")]
    out.lines(_reading(away_s, echoes=()))
    both = out.lines(_reading(away_s, echoes=(replace(two, range_m=100.0),)))
    # The other has come meanwhile: the first number is hers where the first target's time is over.
    assert list(_ttm(both)) == ["02" if number == "01" else "01"]
    assert list(_ttm(out.lines(_reading(away_s, echoes=(ECHO,))))) != []
    back = _ttm(out.lines(_reading(away_s + 0.5, echoes=(ECHO, two))))
    assert next(n for n, m in back.items() if float(m.distance) == 1.0) == number


def test_the_number_of_what_has_been_gone_longest_is_given_on() -> None:
    out = SentenceOutput()
    many = tuple(replace(ECHO, id=i, range_m=100.0 + i) for i in range(99))
    out.lines(_reading(0.0, echoes=many))
    out.lines(_reading(2.5, echoes=many[:50] + many[51:]))  # number 51 goes first
    out.lines(_reading(5.0, echoes=many[:20] + many[21:50] + many[51:]))  # then number 21
    kept = many[:20] + many[21:50] + many[51:]
    new = [replace(ECHO, id=5000 + k, range_m=10.0 + k) for k in range(3)]
    told = _ttm(out.lines(_reading(7.5, echoes=(*kept, new[0]))))
    assert float(told["51"].distance) == pytest.approx(10.0 / 1852.0, abs=2e-3)
    told = _ttm(out.lines(_reading(10.0, echoes=(*kept[:-1], *new[:2]))))
    assert float(told["21"].distance) == pytest.approx(11.0 / 1852.0, abs=2e-3)
    # All numbers are taken by what is here: the new one is not told at all.
    full = (*kept[:-1], *new[:2], kept[-1])
    assert len(_ttm(out.lines(_reading(12.5, echoes=full)))) == 99
    assert len(_ttm(out.lines(_reading(15.0, echoes=(*full, new[2]))))) == 99


@pytest.mark.parametrize(
    ("what", "number"),
    [("radar", "901"), ("position", "902"), ("heading", "903"), ("clock", "904"), ("chart", "905"), ("ais", "906"),
     ("depth", "907")],
)  # fmt: skip
def test_each_fault_has_its_alert_that_ends_with_it(what: Any, number: str) -> None:
    out = SentenceOutput()
    assert _alarms(out, 0.0, faults=(Fault(what, "stale", T0),)) == [(number, "A", f"{what} stale")]
    assert _alarms(out, 2.5, faults=(Fault(what, "stale", T0),)) == []
    # Other words are told anew.
    assert _alarms(out, 5.0, faults=(Fault(what, "silent", T0),)) == [(number, "A", f"{what} silent")]
    assert _alarms(out, 7.5) == [(number, "V", f"{what} silent")]
    assert _alarms(out, 10.0) == []


def test_a_call_is_over_half_a_minute_after_it_was_last_said() -> None:
    out, turn = SentenceOutput(), Call("vessel 1017", "vessel", 3, "Turn now.", ECHO.id)
    other = Call("shoal", "charted danger", 4, "Shoal ahead.", None)
    assert _alarms(out, 0.0, calls=(turn, other)) == [("101", "A", "Turn now."), ("900", "A", "Shoal ahead.")]
    assert _alarms(out, 10.0, calls=(turn,)) == []
    assert _alarms(out, 29.0) == []
    assert _alarms(out, 31.0) == [("900", "V", "Shoal ahead.")]
    assert _alarms(out, 39.5) == []
    assert _alarms(out, 40.5) == [("101", "V", "Turn now.")]
    # What is only to be known is no alert, nor what a fault says already.
    know = (replace(turn, urgency=2), replace(other, say="heading stale: steer by hand", urgency=3))
    assert _alarms(out, 50.0, calls=know, faults=(Fault("heading", "stale", T0),)) == [("903", "A", "heading stale")]
    # A call about an echo that has no number is one of the others.
    told = _alarms(out, 60.0, echoes=(), calls=(replace(turn, echo=77),))
    assert told == [("900", "A", "Turn now."), ("903", "V", "heading stale")]


def test_nobody_seen_is_lost_only_once_and_only_if_told() -> None:
    out = SentenceOutput()
    out.lines(_reading(0.0, echoes=(replace(ECHO, coasting=True),)))
    assert out.lines(_reading(2.5, echoes=())) == []  # never told as tracked
    out.lines(_reading(5.0))
    (lost,) = _ttm(out.lines(_reading(7.5, echoes=()))).values()
    assert (lost.status, lost.distance, lost.bearing, lost.speed) == ("L", None, None, None)
