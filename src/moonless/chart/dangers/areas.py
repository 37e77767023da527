"""Charted areas and ways that are told when the track touches them, and what their restrictions weigh."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.chart.dangers.types import DangerKind, Weight
from moonless.chart.s57.attributes import codes
from moonless.chart.s57.names import object_name, restriction_name
from moonless.chart.types import Feature

# RESTRN 7 entry prohibited; 8 entry restricted, 14 area to be avoided: S-57 appendix A, attribute 131.
ENTRY_PROHIBITED = 7
SPEAK_AGAINST = frozenset({8, 14})


@dataclass(frozen=True, slots=True)
class AreaRule:
    """What a class of area is to a boat that crosses it."""

    kind: DangerKind
    weight: Weight = "note"  # without a restriction on entry
    words: str = ""  # added to the class's own name


# What is not on this list and is no ground, mark or structure does not touch a boat's way.
AREAS: dict[str, AreaRule] = {
    "RESARE": AreaRule("restricted"),
    "MIPARE": AreaRule("military", "against"),
    "CTNARE": AreaRule("caution", "against"),
    "PRCARE": AreaRule("precautionary", "against", "particular caution is asked of all"),
    "CBLARE": AreaRule("cable area"),
    "PIPARE": AreaRule("pipeline area"),
    "DMPGRD": AreaRule("dumping"),
    "SPLARE": AreaRule("seaplane", "against"),
    "ACHARE": AreaRule("anchorage", "note", "vessels at anchor"),
    "ACHBRT": AreaRule("anchorage", "note", "vessels at anchor"),
    "FAIRWY": AreaRule("fairway", "note", "Rule 9, do not impede"),
    "FERYRT": AreaRule("ferry"),
    "TSSLPT": AreaRule("traffic scheme", "note", "Rule 10"),
    "TSSCRS": AreaRule("traffic scheme", "note", "Rule 10"),
    "TSSRON": AreaRule("traffic scheme", "note", "Rule 10"),
    "TSEZNE": AreaRule("traffic scheme", "against", "Rule 10(e): not to be entered but to cross, or in an emergency"),
    "ISTZNE": AreaRule("traffic scheme", "note", "Rule 10"),
    "DWRTPT": AreaRule("traffic scheme", "note", "deep-draught vessels"),
    "TWRTPT": AreaRule("traffic scheme"),
    "WATTUR": AreaRule("caution", "against"),
    "SNDWAV": AreaRule("caution", "note", "the bottom moves"),
    "OSPARE": AreaRule("other area", "against"),
    "FSHGRD": AreaRule("fishing", "note"),
    "ICEARE": AreaRule("caution", "against"),
    "ICNARE": AreaRule("other area", "against"),
    "CTSARE": AreaRule("other area", "note"),
    "SUBTLN": AreaRule("military", "note"),
    "LOGPON": AreaRule("caution", "against"),
    "WEDKLP": AreaRule("caution", "note"),
}


def restrictions_of(feature: Feature) -> tuple[int, ...]:
    """Return the values of RESTRN, in order."""
    return tuple(sorted(set(codes(feature.attributes, "RESTRN"))))


def area_weight(feature: Feature, rule: AreaRule) -> Weight:
    """Return what crossing an area weighs."""
    codes = restrictions_of(feature)
    if ENTRY_PROHIBITED in codes:
        return "stops"
    if SPEAK_AGAINST & set(codes):
        return "against"
    if feature.object == "RESARE" and not codes:
        return "against"  # restricted, and nobody says in what
    return rule.weight


def area_words(feature: Feature, rule: AreaRule) -> str:
    """Return what an area is: its class, name, restrictions and what the chart adds."""
    said = [restriction_name(code) for code in restrictions_of(feature)]
    if feature.object == "RESARE" and not said:
        said.append("what is restricted is not charted")
    if rule.words:
        said.append(rule.words)
    words = f"{object_name(feature.object)}{named(feature.name)}"
    if said:
        words += f": {', '.join(said)}"
    return words + information(feature)


def named(name: str | None) -> str:
    """Return a name to stand behind a thing; "" for none."""
    return f" {name}" if name else ""


def information(feature: Feature) -> str:
    """Return what INFORM and TXTDSC add, ready to stand behind a sentence; "" for nothing."""
    text, file = feature.attributes.get("INFORM"), feature.attributes.get("TXTDSC")
    out = f" (chart: {' '.join(str(text).split()).rstrip('.')})" if text else ""
    return out + (f" (more in {file})" if file else "")
