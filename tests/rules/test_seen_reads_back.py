"""What `required` says a vessel must show, seen from any bearing, is recognised as that vessel."""

from __future__ import annotations

import itertools
from functools import cache
from typing import Any

import pytest

from moonless.errors import InputError
from moonless.rules.lights import KINDS, Kind, Light, Outfit, Vessel
from moonless.rules.recognise import Recognised, recognise, vessels
from moonless.rules.required import LET_OFF, required
from moonless.rules.seen import SeenGroup, parse_seen

# Inside every sector of Rule 21 and on its edges, degrees from the bow.
BEARINGS = (0.0, 20.0, 90.0, 112.5, 113.0, 150.0, 180.0, 240.0, 247.5, 250.0, 300.0, 359.0)


@cache
def _told(seen: tuple[SeenGroup, ...], inland: bool) -> tuple[Recognised, ...]:
    return recognise(seen, inland=inland)


def _seen(outfit: Outfit, bearing: float, with_roles: bool) -> tuple[SeenGroup, ...]:
    """Say what an honest watcher sees: each vertical line from the top, each other light alone."""
    lines: dict[str, list[Light]] = {}
    alone: list[SeenGroup] = []
    for light in outfit.lights:
        if light.optional or not light.shows_to(bearing):
            continue
        flashing = light.role in ("flashing", "special flashing")
        if light.group:
            lines.setdefault(light.group, []).append(light)
        else:
            alone.append(SeenGroup((light.colour,), light.role if with_roles and not flashing else None, flashing))
    for line in lines.values():
        line.sort(key=lambda x: x.level or 0)
        alone.append(SeenGroup(tuple(x.colour for x in line), None, line[0].role == "flashing"))
    return tuple(alone)


@pytest.mark.parametrize("inland", [False, True])
@pytest.mark.parametrize("kind", KINDS)
def test_reads_back_among_the_first_two_from_every_bearing(kind: str, inland: bool) -> None:
    seen_once = False
    for vessel in (v for v in vessels(inland) if v.kind == kind):
        for outfit in required(vessel):
            if outfit.name == LET_OFF:  # plain power lights: by them nobody can tell what she is, Rule 27(g)
                continue
            for bearing in BEARINGS:
                for with_roles in (False, True):
                    seen = _seen(outfit, bearing, with_roles)
                    if not seen:
                        continue
                    seen_once = True
                    first = _told(seen, inland)[:2]
                    kinds = {c.kind for row in first for c in (row, *row.alike)}
                    assert kind in kinds, (outfit.name, vessel.length_m, bearing, seen, [c.name for c in first])
    # The inland rules know no vessel constrained by her draught; the blue light is theirs alone.
    assert seen_once == (kind != ("constrained by draught" if inland else "law enforcement"))


@pytest.mark.parametrize(
    ("seen", "kind", "aspect"),
    [
        # Rule 23(a)(ii): from ahead the two masthead lights of 50 m or more stand one over the other.
        ("white over white, red, green", "power", "from right ahead"),
        # Rule 27(f): three greens are mine clearance.
        ("three green", "mine clearance", None),
        ("green, green, green, masthead, green", "mine clearance", "from her starboard side"),
        # Rule 27(b)(i): the three alone.
        ("red over white over red", "restricted", "from any side"),
        # Rules 27(b)(iv), 29(a)(iii), 30(b): with the anchor light under 50 m.
        ("white over red, all-round white", "pilot", "from any side"),
        # Rule 27(c): the tow's yellow over white besides.
        ("red over white over red, yellow over white", "towing", "from astern"),
        # Rule 24(a)(i): over 200 m three in line.
        ("white over white over white, green", "towing", "from her starboard side"),
        # Rule 23(b), (c).
        ("flashing yellow, masthead, red", "air-cushion", "from her port side"),
        ("flashing red, masthead, red", "wing-in-ground", "from her port side"),
        # Annex II 2(a), 3.
        ("green over white, white over red", "trawling", None),
        ("red over white, flashing yellow over yellow", "fishing", None),
        # Rule 25(b): one lantern.
        ("tricolour", "sail", None),
    ],
)
def test_likeliest(seen: str, kind: str, aspect: str | None) -> None:
    found = recognise(parse_seen(seen))
    assert found[0].kind == kind
    assert aspect in (None, found[0].aspect)


def test_three_in_line_alone_promise_no_greens() -> None:
    # Rule 27(d)(ii): the greens stand only where there is an obstruction.
    told = recognise(parse_seen("red over white over red"))
    rows = [c for row in told for c in (row, *row.alike) if c.kind == "dredging or diving" and not c.unseen]
    assert rows and not any("green" in c.meaning for c in rows)
    marked = recognise(parse_seen("red over white over red, red over red, green over green"))
    assert "side of the two greens" in marked[0].meaning


def test_the_sides_of_one_kind_are_added_up() -> None:
    # A pilot at anchor or under way, from whichever side, is one answer.
    found = recognise(parse_seen("white over red"))
    kinds = [c.kind for row in found for c in (row, *row.alike)]
    assert len(kinds) == len(set(kinds))
    assert sum(c.share for c in found) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("seen", "region", "words"),
    [
        # IALA Maritime Buoyage System, lateral marks: red to port in region A, to starboard in region B.
        ("flashing red", "A", "a port-hand mark"), ("flashing red", "B", "a starboard-hand mark"),
        ("flashing green", "A", "a starboard-hand mark"), ("flashing green", "B", "a port-hand mark"),
        ("flashing green", None, "starboard-hand in region A and port-hand in region B"),
        ("flashing yellow", None, "special mark"), ("quick white", None, "cardinal"), ("red", None, "fixed light"),
    ],
)  # fmt: skip
def test_aids_to_navigation(seen: str, region: str | None, words: str) -> None:
    found = recognise(parse_seen(seen), region=region)  # type: ignore[arg-type]
    told = [c for c in found if c.kind in ("aid to navigation", "fixed light")]
    assert len(told) == 1 and words in told[0].meaning


@pytest.mark.parametrize(
    ("text", "groups"),
    [
        ("two whites and a green", [("white",), ("white",), ("green",)]),
        ("red above white with masthead light", [("red", "white"), ("white",)]),
        ("flashing blue", [("blue",)]), ("3 greens", [("green",)] * 3),
    ],
)  # fmt: skip
def test_words_a_person_types(text: str, groups: list[tuple[str, ...]]) -> None:
    seen = parse_seen(text)
    assert [g.colours for g in seen] == groups
    assert all(g.flashing == ("flashing" in text) for g in seen)


def test_lights_apart_are_not_taken_for_a_line() -> None:
    from moonless.errors import InputError

    for text in ("red green", "two red over white"):
        with pytest.raises(InputError):
            parse_seen(text)


def test_a_flashing_blue_alone_is_law_enforcement_inland_and_a_new_wreck_elsewhere() -> None:
    # 33 CFR 88: law enforcement vessels may show it there.  The wreck's mark shows yellow by turns with it.
    seen = tuple(parse_seen("flashing blue"))
    assert [c.kind for c in recognise(seen, inland=True)] == ["law enforcement", "aid to navigation"]
    assert [c.kind for c in recognise(seen)] == ["aid to navigation"]


LENGTHS_M = (3.0, 6.5, 11.0, 15.0, 30.0, 55.0, 120.0, 410.0)
# What a vessel's lights can hang on besides, by kind, in every combination; those that cannot be are refused.
ALL_KINDS: dict[str, tuple[Any, ...]] = {"max_speed_kn": (None, 5.0), "making_way": (True, False)}
TOW: dict[str, tuple[Any, ...]] = {"tow_m": (0.0, 100.0, 250.0)}
ANCHORED: dict[str, tuple[Any, ...]] = {"at_anchor": (False, True)}
OF_KIND: dict[str, dict[str, tuple[Any, ...]]] = {
    "sail": {"under_sail_and_power": (False, True)},
    "towing": {**TOW, "tow_restricts": (False, True)}, "towed": TOW, "towed alongside": TOW, "pushing": TOW,
    "pushed": TOW, "partly submerged tow": {**TOW, "breadth_m": (10.0, 24.9, 25.0, 30.0)},
    "fishing": {"gear_m": (0.0, 100.0, 200.0), "net_signal": (None, "purse seine")},
    "trawling": {"net_signal": (None, "shooting", "hauling", "fast")},
    "restricted": ANCHORED, "dredging or diving": ANCHORED, "mine clearance": ANCHORED, "pilot": ANCHORED,
}  # fmt: skip


@pytest.mark.parametrize("inland", [False, True])
@pytest.mark.parametrize("kind", KINDS)
def test_every_vessel_that_can_be_reads_back_from_every_five_degrees(kind: Kind, inland: bool) -> None:
    # A sailing vessel whose engine drives her is power-driven, Rule 3(b): what she shows is that.
    tried: set[tuple[SeenGroup, ...]] = set()
    states = {"length_m": LENGTHS_M, **ALL_KINDS, **OF_KIND.get(kind, {})}
    for values in itertools.product(*states.values()):
        given = dict(zip(states, values, strict=True))
        try:
            vessel = Vessel(kind, inland=inland, **given)
            outfits = required(vessel)
        except InputError:
            continue
        told = "power" if vessel.under_sail_and_power else kind
        for outfit in outfits:
            if outfit.name == LET_OFF:
                continue
            for bearing in (*range(0, 360, 5), 112.5, 247.5):
                seen = _seen(outfit, float(bearing), with_roles=False)
                if not seen or seen in tried:
                    continue
                tried.add(seen)
                kinds = {c.kind for row in _told(seen, inland)[:2] for c in (row, *row.alike)}
                assert told in kinds, (outfit.name, list(given.values()), bearing, seen)
    assert tried or kind == ("constrained by draught" if inland else "law enforcement")
