"""Sound signals in restricted visibility: Rule 35, in our own words."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.rules.lights import Kind

PROLONGED_S = 5.0  # four to six seconds: Rule 32(c)
SHORT_S = 1.0  # about one second: Rule 32(b)


@dataclass(frozen=True, slots=True)
class FogSignal:
    """What to sound and how often at least."""

    say: str
    pattern: tuple[float, ...]  # lengths of the blasts, seconds; empty: a bell or gong
    every_s: float  # intervals of not more than this
    rule: str


def fog_signal(kind: Kind, length_m: float, making_way: bool) -> FogSignal:
    """Return the signal of a vessel in or near restricted visibility."""
    if kind == "anchored":
        return _bell(length_m, "ring the bell rapidly for about 5 seconds", "35(g)")
    if kind == "aground":
        return _bell(length_m, "three strokes on the bell, ring it for about 5 seconds, three strokes", "35(h)")
    if kind == "towed":
        return FogSignal("one prolonged, three short, if manned and the last of the tow", (5, 1, 1, 1), 120.0, "35(e)")
    if kind in ("power", "pilot", "oars"):
        if length_m < 12.0:
            pattern: tuple[float, ...] = (PROLONGED_S,) if making_way else (PROLONGED_S, PROLONGED_S)
            say = "one prolonged blast" if making_way else "two prolonged blasts"
            return FogSignal(f"{say}, or under 12 m another efficient sound", pattern, 120.0, "35(a), (b), (j)")
        if making_way:
            return FogSignal("one prolonged blast", (PROLONGED_S,), 120.0, "35(a)")
        return FogSignal("two prolonged blasts about 2 seconds apart", (PROLONGED_S, PROLONGED_S), 120.0, "35(b)")
    return FogSignal("one prolonged and two short blasts", (PROLONGED_S, SHORT_S, SHORT_S), 120.0, "35(c)")


def _bell(length_m: float, say: str, rule: str) -> FogSignal:
    if length_m < 12.0:
        return FogSignal("another efficient sound", (), 120.0, f"{rule}, (j)")
    if length_m < 20.0:
        return FogSignal(f"{say}, or another efficient sound every 2 minutes", (), 60.0, f"{rule}, (i)")
    if length_m >= 100.0:
        return FogSignal(f"{say} forward, then the gong aft for about 5 seconds", (), 60.0, rule)
    return FogSignal(say, (), 60.0, rule)
