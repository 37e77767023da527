"""What one charted thing is to one boat: whether it refuses her way, speaks against it, or is only told."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

from moonless.chart.dangers.areas import AREAS, area_weight, area_words, information, named
from moonless.chart.dangers.layout import ChartDangers, Group
from moonless.chart.dangers.needs import BRIDGE_MARGIN_M, CABLE_MARGIN_M, ZONES, Needs, survey_error_m
from moonless.chart.dangers.types import CORRIDOR_M, DangerKind, Strip, Weight
from moonless.chart.marks import SWING_M
from moonless.chart.s57 import classes
from moonless.chart.s57.names import object_name
from moonless.chart.types import Bridge, Catzoc, Feature, Mark, Span
from moonless.units import down, up


class StripAsked(Protocol):
    """The strip that is asked, as weighing needs it."""

    strip: Strip
    chart: ChartDangers

    def zone_of(self, row: int) -> Catzoc:
        """Return the worst zone of confidence that holds where the strip meets a thing."""

    def passes_beneath(self, bridge: Bridge) -> bool:
        """Return whether the line itself passes under a span of a bridge."""

    def lies_alongside(self, row: int, off_m: float) -> bool:
        """Return whether a thing is only near where the route begins or ends, and is what a boat lies at there."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """The answer for one thing, without its place."""

    kind: DangerKind
    weight: Weight
    say: str
    depth_m: float | None = None
    clearance_m: float | None = None


_SUNKEN: dict[str, DangerKind] = {"UWTROC": "rock", "WRECKS": "wreck", "OBSTRN": "obstruction"}
_FARMED: dict[str, DangerKind] = {"MARCUL": "marine farm", "FSHFAC": "fishing"}
_AIDS = frozenset((*classes.AID_STRUCTURES, *classes.EQUIPMENT))


def weigh(asked: StripAsked, row: int, off_m: float, needs: Needs) -> Weighed | None:
    """Return what a thing that lies ``off_m`` from the line is to the boat; None: nothing."""
    told = _weigh(asked, row, off_m, needs)
    if told is not None and told.weight == "stops" and asked.lies_alongside(row, off_m):
        say = f"{told.say}, alongside: the last of the way is by eye"
        return replace(told, kind="berth", weight="against", say=say)
    return told


def _weigh(asked: StripAsked, row: int, off_m: float, needs: Needs) -> Weighed | None:
    group, thing = Group(int(asked.chart.group[row])), asked.chart.things[row]
    if isinstance(thing, tuple):
        return _span(asked, *thing, off_m, needs)
    if isinstance(thing, Mark):
        return _floating(asked, thing, off_m) if group == Group.FLOATING else _fixed(asked, thing, off_m)
    match group:
        case Group.LAND:
            weight: Weight = "stops" if off_m <= asked.strip.track_m else "note"
            return Weighed("land", weight, f"land{named(thing.name)}")
        case Group.GROUND | Group.SOUNDING:
            return _ground(asked, row, thing, off_m, needs)
        case Group.SUNKEN:
            return _sunken(asked, row, thing, off_m, needs)
        case Group.SOLID:
            return _solid(asked, thing, off_m)
        case Group.OVERHEAD:
            return _overhead(thing, needs)
        case _:
            rule = AREAS[thing.object]
            return Weighed(rule.kind, area_weight(thing, rule), area_words(thing, rule))


def _ground(asked: StripAsked, row: int, feature: Feature, off_m: float, needs: Needs) -> Weighed | None:
    depth = float(asked.chart.depth_m[row])
    if depth != depth:
        say = "water that was never surveyed" if feature.object == "UNSARE" else "water without a charted depth"
        return Weighed("unsurveyed", "stops" if off_m == 0.0 else "against", say + information(feature))
    left = needs.under_keel_m(depth)
    if left >= survey_error_m(depth, ZONES[-1]):
        return None  # enough by the roughest survey: which it was need not be asked
    kind: DangerKind = "dries" if depth < 0 else "shoal"
    words = f"dries {up(-depth)} m" if depth < 0 else f"charted {down(depth)} m"
    if left < 0.0:
        return Weighed(kind, "stops", f"{words}, {needs.tide_words}: {up(-left)} m too little", depth, left)
    error = survey_error_m(depth, asked.zone_of(row))
    if left >= error:
        return None
    spare = f"{down(left)} m over what she needs, less than the survey's own {up(error)} m error"
    return Weighed(kind, "against", f"{words}, {needs.tide_words}: {spare}", depth, left)


def _sunken(asked: StripAsked, row: int, feature: Feature, off_m: float, needs: Needs) -> Weighed | None:
    depth: float | None = float(asked.chart.depth_m[row])
    left = None
    if depth != depth:
        depth = None
    if depth is not None:
        left = needs.under_keel_m(depth)
        if left >= 0.0 and left >= survey_error_m(depth, asked.zone_of(row)):
            return None
    near = off_m <= asked.strip.track_m + min(asked.chart.place_sigma_m(row), asked.strip.place_m)
    weight: Weight = "stops" if near else "against" if off_m <= CORRIDOR_M else "note"
    kind = _SUNKEN.get(feature.object) or _FARMED.get(feature.object, "structure")
    what = object_name(feature.object) if kind != "structure" else f"{object_name(feature.object)} under water"
    words = "depth not charted" if depth is None else f"charted {down(depth)} m"
    doubt = ", position approximate" if feature.attributes.get("QUAPOS") in (4, 5, 6, 7, 8, 9) else ""
    say = f"{what}{named(feature.name)}, {words}{doubt}{information(feature)}"
    return Weighed(kind, weight, say, depth, left)


def _solid(asked: StripAsked, feature: Feature, off_m: float) -> Weighed:
    kind = _FARMED.get(feature.object, "structure")
    weight = _stands(asked, off_m)
    if kind != "structure" and weight == "note":
        weight = "against"  # stakes, nets and rafts: no light is on them, and lines lie round them
    return Weighed(kind, weight, f"{object_name(feature.object)}{named(feature.name)}{information(feature)}")


def _stands(asked: StripAsked, off_m: float) -> Weight:
    if off_m <= asked.strip.swept_m:
        return "stops"
    return "against" if off_m <= asked.strip.track_m else "note"


def _fixed(asked: StripAsked, mark: Mark, off_m: float) -> Weighed:
    weight = _stands(asked, off_m)
    if weight == "note" and not mark.lit:
        weight = "against"
    return Weighed(_mark_kind(mark), weight, _mark_words(mark))


def _floating(asked: StripAsked, mark: Mark, off_m: float) -> Weighed:
    swings = off_m <= asked.strip.swept_m + SWING_M
    say = _mark_words(mark) + (", within its swing" if swings else "")
    return Weighed(_mark_kind(mark), "against" if swings or not mark.lit else "note", say)


def _mark_kind(mark: Mark) -> DangerKind:
    if mark.object in _AIDS:
        return "mark"
    return _FARMED.get(mark.object, "structure")


def _mark_words(mark: Mark) -> str:
    lit = "lit " if mark.lit else "unlit "
    told = Feature(mark.object, mark.cell, mark.feature, None, mark.attributes, mark.scale)
    return f"{lit}{object_name(mark.object)}{named(mark.name)}{information(told)}"


def _span(asked: StripAsked, span: Span, bridge: Bridge, off_m: float, needs: Needs) -> Weighed | None:
    if off_m > 0.0 and asked.passes_beneath(bridge):
        return None  # a neighbour of the span that is passed under
    need = needs.air_draught_m + BRIDGE_MARGIN_M
    title = f"bridge{named(span.name or bridge.name)}"
    clear, opened = span.clearance_m, span.clearance_open_m
    left = None if clear is None else needs.over_mast_m(clear, BRIDGE_MARGIN_M)
    room = "clearance not charted" if clear is None else f"{down(clear)} m clear{needs.less_words}"
    if span.width_m is not None and span.width_m < needs.beam_m:
        say = f"{title}, {down(span.width_m)} m wide, the boat is {up(needs.beam_m)} m"
        return Weighed("bridge", "stops", say, None, left)
    if left is not None and left >= 0.0:
        return Weighed("bridge", "note", f"{title}, {room}, the boat needs {up(need)} m", None, left)
    if span.opens and (opened is None or needs.over_mast_m(opened, BRIDGE_MARGIN_M) >= 0.0):
        return Weighed("bridge", "against", f"{title}, {room} closed: it must open for {up(need)} m", None, left)
    return Weighed("bridge", "stops", f"{title}, {room}, the boat needs {up(need)} m", None, left)


def _overhead(feature: Feature, needs: Needs) -> Weighed:
    safe, plain = feature.number("VERCSA"), feature.number("VERCLR")
    least = BRIDGE_MARGIN_M if safe is not None else CABLE_MARGIN_M
    clear = plain if safe is None else safe
    left = None if clear is None else needs.over_mast_m(clear, least)
    room = "clearance not charted" if clear is None else f"clearance {down(clear)} m{needs.less_words}"
    what = f"{object_name(feature.object)}{named(feature.name)}{information(feature)}"
    say = f"{what}, {room}, the boat needs {up(needs.air_draught_m + least)} m"
    return Weighed("cable", "stops" if left is None or left < 0 else "note", say, None, left)
