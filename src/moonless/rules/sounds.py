"""Sound signals in restricted visibility (Rule 35) and in sight (Rule 34), in our own words."""

from __future__ import annotations

from dataclasses import dataclass, replace

from moonless.rules.lights import Kind

PROLONGED_S = 5.0  # four to six seconds: Rule 32(c)
SHORT_S = 1.0  # about one second: Rule 32(b)


@dataclass(frozen=True, slots=True)
class FogSignal:
    """What to sound and how often at least."""

    say: str
    pattern: tuple[float, ...]  # lengths of the blasts, seconds; empty: a bell, a gong or what there is
    every_s: float  # intervals of not more than this
    rule: str


def fog_signal(kind: Kind, length_m: float, making_way: bool) -> FogSignal:
    """Return the signal of a vessel in or near restricted visibility."""
    if kind == "anchored":
        return _bell(length_m, "ring the bell rapidly for about 5 seconds", "35(g)")
    if kind == "aground":
        return _bell(length_m, "three strokes on the bell, ring it for about 5 seconds, three strokes", "35(h)")
    signal = _blasts(kind, making_way)
    if kind == "pilot":
        # 35(k), from memory: she may add an identity signal.
        signal = replace(signal, say=f"{signal.say}; she may add four short", rule=f"{signal.rule}, (k)")
    if length_m < 12.0 and signal.pattern:
        # Rule 35(j): not obliged to give any of the signals above, but then another efficient one every 2 minutes.
        return replace(signal, say=f"{signal.say}, or under 12 m another efficient sound", rule=f"{signal.rule}, (j)")
    return signal


def _blasts(kind: Kind, making_way: bool) -> FogSignal:
    if kind in ("towed", "towed alongside", "pushed", "partly submerged tow"):
        blasts = (PROLONGED_S, SHORT_S, SHORT_S, SHORT_S)
        return FogSignal("one prolonged, three short, if manned and the last of the tow", blasts, 120.0, "35(e)")
    if kind == "oars":
        return FogSignal("the rule names no signal for a boat under oars: any efficient sound", (), 120.0, "35(j)")
    if kind in ("power", "pilot", "air-cushion", "wing-in-ground", "law enforcement"):
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


@dataclass(frozen=True, slots=True)
class SoundSignal:
    """One signal in sight of one another, or at a bend."""

    when: str
    say: str
    pattern: tuple[float, ...]
    rule: str


def signals_in_sight(*, inland: bool = False) -> tuple[SoundSignal, ...]:
    """Return the manoeuvring and warning signals of Rule 34, from memory; inland they tell an intention."""
    long, short = PROLONGED_S, SHORT_S
    if inland:
        turns = [
            SoundSignal(
                "I intend to leave you on my port side", "one short; she answers the same", (short,), "34(a)(i)"
            ),
            SoundSignal(
                "I intend to leave you on my starboard side",
                "two short; she answers the same",
                (short,) * 2,
                "34(a)(i)",
            ),
            SoundSignal(
                "I intend to overtake you on your starboard side", "one short; agreed: one", (short,), "34(c)(i)"
            ),
            SoundSignal(
                "I intend to overtake you on your port side", "two short; agreed: two", (short,) * 2, "34(c)(i)"
            ),
        ]
    else:
        turns = [
            SoundSignal("I am altering course to starboard", "one short", (short,), "34(a)"),
            SoundSignal("I am altering course to port", "two short", (short,) * 2, "34(a)"),
            SoundSignal(
                "narrow channel: I intend to overtake you on your starboard side", "two prolonged, one short",
                (long, long, short), "34(c)(i)",
            ),
            SoundSignal(
                "narrow channel: I intend to overtake you on your port side", "two prolonged, two short",
                (long, long, short, short), "34(c)(i)",
            ),
            SoundSignal(
                "narrow channel: I agree to be overtaken", "prolonged, short, prolonged, short",
                (long, short, long, short), "34(c)(ii)",
            ),
        ]  # fmt: skip
    return (
        *turns,
        SoundSignal("my engines go astern", "three short", (short,) * 3, "34(a)"),
        SoundSignal(
            "I doubt that you are doing enough to avoid collision", "five short or more, rapid", (short,) * 5, "34(d)"
        ),
        SoundSignal("coming to a bend that hides others", "one prolonged; whoever hears it answers", (long,), "34(e)"),
    )
