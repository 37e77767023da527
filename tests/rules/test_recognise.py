"""What a set of lights seen can be."""

from __future__ import annotations

import pytest

from moonless.errors import InputError
from moonless.rules.recognise import parse_seen, recognise
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


def test_a_single_white_light_stays_open() -> None:
    found = recognise(parse_seen("white"))
    kinds = {(c.kind, c.aspect) for c in found}
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
    ],
)
def test_fog_signals(kind: str, length: float, making_way: bool, pattern: tuple[float, ...], every: float) -> None:
    signal = fog_signal(kind, length, making_way)  # type: ignore[arg-type]
    assert signal.pattern == pattern
    assert signal.every_s == every
