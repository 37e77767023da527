"""What a set of lights seen can be."""

from __future__ import annotations

import pytest

from moonless.errors import InputError
from moonless.rules.recognise import recognise
from moonless.rules.seen import parse_seen
from moonless.rules.sounds import fog_signal


@pytest.mark.parametrize(
    ("seen", "kind", "aspect"),
    [
        # Each by the rule that gives the lights: 23, 25, 26, 27, 29, 30, 24.
        ("white, red, green", "power", "from right ahead"),
        ("white, green", "power", "from her starboard side"),
        ("white, red", "power", "from her port side"),
        ("red, green", "sail", "from right ahead"),
        # No one shows red over white with a masthead light; the lowest of red, white, red may be hidden or dim.
        ("red over white, masthead, green", "restricted", "from her starboard side"),
        ("red over white, green", "fishing", "from her starboard side"),
        ("green over white, red", "trawling", "from her port side"),
        ("red over red", "not under command", None),
        ("red over white over red", "restricted", None),
        ("white over red, green", "pilot", "from her starboard side"),
        ("yellow over white", "towing", "from astern"),
        ("red over red over red, masthead, masthead, green", "constrained by draught", "from her starboard side"),
        ("red over green, red", "sail", "from her port side"),
    ],
)
def test_likeliest(seen: str, kind: str, aspect: str | None) -> None:
    found = recognise(parse_seen(seen))
    assert found[0].kind == kind
    if aspect is not None:
        assert found[0].aspect == aspect
    assert sum(c.share for c in found) == pytest.approx(1.0)


def test_what_shows_one_masthead_light_is_not_told_as_long() -> None:
    # Rule 23(a)(ii): 50 m and over must show a second one; Rule 30(a)(ii) and (b): at anchor a second all-round white.
    for seen in ("masthead, green", "masthead, red, green", "white"):
        found = recognise(parse_seen(seen))
        assert found and not any("50 m" in c.name for c in found if not c.unseen and c.aspect != "from astern")


def test_a_single_white_light_stays_open() -> None:
    found = recognise(parse_seen("white"))
    kinds = {(c.kind, c.aspect) for row in found for c in (row, *row.alike)}
    # Sternlight, anchor light, small power vessel's all-round, oars: Rules 21(c), 30, 23(d), 25(d).
    assert {("power", "from astern"), ("anchored", "from any side"), ("oars", "from any side")} <= kinds
    assert max(c.share for c in found) < 0.6


def test_lights_nobody_shows() -> None:
    assert recognise(parse_seen("yellow over red over green")) == ()


@pytest.mark.parametrize(("text", "phrase"), [("", "no lights"), ("purple", "'purple'"), ("side", "names no colour")])
def test_words_not_understood(text: str, phrase: str) -> None:
    with pytest.raises(InputError, match=phrase):
        parse_seen(text)


@pytest.mark.parametrize(
    ("kind", "length", "making_way", "pattern", "every"),
    [
        # COLREGs Rule 35.
        ("power", 30.0, True, (5.0,), 120.0),
        ("power", 30.0, False, (5.0, 5.0), 120.0),
        ("sail", 30.0, True, (5.0, 1.0, 1.0), 120.0),
        ("towing", 30.0, True, (5.0, 1.0, 1.0), 120.0),
        ("towed", 30.0, True, (5, 1, 1, 1), 120.0),
        ("anchored", 30.0, False, (), 60.0),
        ("aground", 30.0, False, (), 60.0),
        # 35(i) from 12 to under 20 m: the bell, or another sound every 2 minutes; 35(j) under 12 m: another sound.
        ("anchored", 12.0, False, (), 60.0),
        ("anchored", 11.9, False, (), 120.0),
        ("aground", 11.9, False, (), 120.0),
        ("power", 9.0, True, (5.0,), 120.0),
        ("power", 9.0, False, (5.0, 5.0), 120.0),
        ("pilot", 15.0, False, (5.0, 5.0), 120.0),
        ("not under command", 9.0, False, (5.0, 1.0, 1.0), 120.0),
        ("oars", 4.0, True, (), 120.0),
    ],
)
def test_fog_signals(kind: str, length: float, making_way: bool, pattern: tuple[float, ...], every: float) -> None:
    signal = fog_signal(kind, length, making_way)  # type: ignore[arg-type]
    assert signal.pattern == pattern
    assert signal.every_s == every


@pytest.mark.parametrize(
    ("kind", "length", "phrase", "there"),
    [
        # Rule 35(j): under 12 m, whatever she is, another efficient sound will do; from 12 m it will not.
        ("power", 11.9, "another efficient sound", True),
        ("power", 12.0, "another efficient sound", False),
        ("sail", 11.9, "another efficient sound", True),
        ("sail", 12.0, "another efficient sound", False),
        # 35(i): in place of the bell under 20 m.  35(g): gong aft from 100 m.
        ("anchored", 19.9, "another efficient sound", True),
        ("anchored", 20.0, "another efficient sound", False),
        ("anchored", 100.0, "gong", True),
        ("anchored", 99.9, "gong", False),
        ("aground", 30.0, "three strokes", True),
    ],
)
def test_fog_signals_by_length(kind: str, length: float, phrase: str, there: bool) -> None:
    assert (phrase in fog_signal(kind, length, True).say) == there  # type: ignore[arg-type]


def test_blasts_last_as_long_as_the_rules_say() -> None:
    # Rule 32(b), (c): short about 1 s, prolonged 4 to 6 s.
    pattern = fog_signal("sail", 30.0, True).pattern
    assert 4.0 <= pattern[0] <= 6.0
    assert pattern[1:] == (1.0, 1.0)


def test_lights_let_off_by_rule_27g_tell_nothing() -> None:
    # A boat under 12 m that is restricted may show plain power lights: plain power lights do not make her restricted.
    found = recognise(parse_seen("masthead, red, green"))
    assert {c.kind for c in found if not c.unseen} & {"not under command"} == set()


def test_two_whites_may_be_a_vessel_at_anchor() -> None:
    # Rule 30(a), (b): the two anchor lights at any length.
    assert any(c.kind == "anchored" and not c.unseen for c in recognise(parse_seen("white, white")))
