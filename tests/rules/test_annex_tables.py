"""Every figure of Annex I that is told, and the plan of lights against the arcs of Rule 21.

The figures are those of the International Regulations for Preventing Collisions at Sea, Annex I sections 2 to 4 and
Annex II, and of 33 CFR 84 inland; written from memory here, not read.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import pytest

from moonless.rules.drawing import plan_svg, seen_from
from moonless.rules.fitted import Fitted, check, fitted_from_tables
from moonless.rules.lights import MASTHEAD_ARC, PORT_ARC, STARBOARD_ARC, STERN_ARC, Vessel, range_nm
from moonless.rules.placing import placing
from moonless.rules.required import required
from moonless.rules.seen import parse_seen

_SVG = "{http://www.w3.org/2000/svg}"


def _asked(vessel: Vessel, which: int = 0) -> list[tuple[str, tuple[float, ...]]]:
    """Return each rule told, with the figures in its words."""
    told = placing(vessel, required(vessel)[which])
    return [(p.rule, tuple(float(x) for x in re.findall(r"\d+(?:\.\d+)?", p.say.replace("Rule 26", "")))) for p in told]


_LINE = {True: ("Annex I 2(i)", (2.0, 4.0)), False: ("Annex I 2(i)", (1.0, 2.0))}
_SIDES, _AT_SIDE = ("Annex I 2(g)", ()), ("Annex I 3(b)", ())
_TWO_MASTHEADS = [("Annex I 2(a)", (6.0, 12.0)), ("Annex I 2(a)(ii)", (4.5,))]


@pytest.mark.parametrize(
    ("vessel", "asked"),
    [
        (Vessel("power", 11.9), [("Annex I 2(d)", (1.0,)), _SIDES]),
        (Vessel("power", 12.0), [("Annex I 2(c)", (2.5,)), _SIDES]),
        (Vessel("power", 19.9), [("Annex I 2(c)", (2.5,)), _SIDES]),
        (Vessel("power", 20.0), [("Annex I 2(a)", (6.0, 12.0)), _SIDES, _AT_SIDE]),
        (Vessel("power", 20.0, inland=True), [("Annex I 2(a)", (5.0, 8.0)), _SIDES, _AT_SIDE]),
        # 3(a): half her length apart, the forward one within a quarter of it from the stem; never more than 100 m.
        (Vessel("power", 80.0),
         [*_TWO_MASTHEADS, ("Annex I 3(a)", (40.0, 20.0)), _SIDES, _AT_SIDE]),
        (Vessel("power", 240.0),
         [*_TWO_MASTHEADS, ("Annex I 3(a)", (100.0, 60.0)), _SIDES, _AT_SIDE]),
        (Vessel("not under command", 20.0, making_way=False), [_LINE[True]]),
        (Vessel("not under command", 19.9, making_way=False), [_LINE[False]]),
        (Vessel("not under command", 20.0, making_way=False, inland=True), [("Annex I 2(i)", (1.0, 4.0))]),
        (Vessel("not under command", 19.9, making_way=False, inland=True), [("Annex I 2(i)", (1.0, 2.0))]),
        # 2(j) the lower of the two, 4(a) the white towards gear that lies out more than 150 m.
        (Vessel("fishing", 15.0), [_LINE[False], ("Annex I 2(j)", ())]),
        (Vessel("fishing", 15.0, gear_m=150.0), [_LINE[False], ("Annex I 2(j)", ())]),
        (Vessel("fishing", 15.0, gear_m=160.0), [_LINE[False], ("Annex I 2(j)", ()), ("Annex I 4(a)", (2.0, 6.0))]),
        (Vessel("trawling", 25.0, net_signal="hauling"),
         [_LINE[True], ("Annex II 1", (0.9,)), ("Annex I 2(j)", ()), _SIDES, _AT_SIDE]),
        # 30(a): two all-round whites at anchor; 2(k) 4.5 m between them, and from 50 m on the forward one 6 m up.
        (Vessel("anchored", 50.0), [("Annex I 2(k)", (4.5,)), ("Annex I 2(k)", (6.0,))]),
    ],
)  # fmt: skip
def test_what_the_annex_asks_of_each(vessel: Vessel, asked: list[tuple[str, tuple[float, ...]]]) -> None:
    assert _asked(vessel) == asked


def test_two_anchor_lights_under_fifty_metres() -> None:
    # 30(b) lets her show one; where she shows the two of 30(a) they stand as far apart, and no height is asked.
    vessel = Vessel("anchored", 49.9)
    which = next(n for n, o in enumerate(required(vessel)) if any(x.rule == "30(a)(i)" for x in o.lights))
    assert _asked(vessel, which) == [("Annex I 2(k)", (4.5,))]


def test_the_pairs_of_a_dredger_stand_two_metres_aside() -> None:
    rules = dict(_asked(Vessel("dredging or diving", 30.0)))
    assert rules["Annex I 4(b)"] == (2.0,)
    assert "Annex I 4(b)" not in dict(_asked(Vessel("restricted", 30.0)))


def test_a_small_boat_with_one_white_all_round() -> None:
    # Rule 23(d)(i) and Annex I 2(d): the all-round white in place of masthead and sternlight stands a metre higher.
    sets = {outfit.name: n for n, outfit in enumerate(required(Vessel("power", 11.9)))}
    which = sets["all-round white and sidelights"]
    assert _asked(Vessel("power", 11.9), which) == [("Annex I 2(d)", (1.0,))]
    # A sailing boat's sidelights and sternlight ask for none of it.
    assert _asked(Vessel("sail", 11.9)) == []


def test_a_special_flashing_light_is_seen_two_miles() -> None:
    # 33 CFR 83.22, from memory.
    assert [range_nm("special flashing", length) for length in (9.0, 30.0, 90.0)] == [2.0, 2.0, 2.0]


def _bearing(x: float, y: float, middle: float) -> float:
    return math.degrees(math.atan2(x - middle, middle - y)) % 360.0


_DRAWN = [Vessel("power", 60.0), Vessel("towing", 30.0, tow_m=250.0), Vessel("fishing", 15.0)]


@pytest.mark.parametrize("vessel", _DRAWN)
def test_the_plan_is_drawn_to_the_arcs(vessel: Vessel) -> None:
    lights = required(vessel)[0].lights
    root = ET.fromstring(plan_svg(lights, "plan"))
    left, top, width, height = (float(v) for v in root.attrib["viewBox"].split())
    hull = next(p for p in root.iter(f"{_SVG}path") if "transform" in p.attrib)
    middle, down = (float(v) for v in re.findall(r"[\d.]+", hull.attrib["transform"]))
    assert middle == down == left + width / 2.0  # the boat in the middle, between the margins
    rings: list[tuple[float, float]] = []
    drawn = [e for e in root if e.tag in (f"{_SVG}path", f"{_SVG}circle") and "transform" not in e.attrib]
    for light, shape in zip(lights, drawn, strict=True):
        if shape.tag == f"{_SVG}circle":
            assert light.arc_deg == (0.0, 360.0)
            assert float(shape.attrib["cx"]) == float(shape.attrib["cy"]) == middle
            r, half = float(shape.attrib["r"]), float(shape.attrib["stroke-width"]) / 2.0
            rings.append((r - half, r + half))
            continue
        number = r"-?[\d.]+"
        found = [float(v) for v in re.findall(number, shape.attrib["d"])]
        x1, y1, outer, _, _, large, clockwise, x2, y2, x3, y3, inner, _, _, large_in, back, x4, y4 = found
        start, end = light.arc_deg
        span = (end - start) % 360.0
        for x, y, bearing, radius in (
            (x1, y1, start, outer), (x2, y2, end, outer), (x3, y3, end, inner), (x4, y4, start, inner)
        ):  # fmt: skip
            assert abs((_bearing(x, y, middle) - bearing + 180.0) % 360.0 - 180.0) < 0.2
            assert math.hypot(x - middle, y - middle) == pytest.approx(radius, abs=0.15)
        # Out along the arc with the clock, back against it; the long way round where the arc is more than half.
        assert (clockwise, back, large, large_in) == (1.0, 0.0, float(span > 180.0), float(span > 180.0))
        rings.append((inner, outer))
    # Outside the hull, apart, one after another, inside the words of the bearings.
    assert rings[0][0] > 40.0 and rings[-1][1] < 195.0
    assert all(a < b for a, b in rings) and all(a[1] < b[0] for a, b in pairwise(rings))
    words = [t for t in root.iter(f"{_SVG}text")]
    edges = [t for t in words if (t.text or "").endswith("°")]
    assert {t.text for t in edges} == {"000.0°", "112.5°", "180.0°", "247.5°"}  # Rule 21: where the sectors meet
    for text in edges:
        x, y = float(text.attrib["x"]), float(text.attrib["y"]) - 4.0
        assert abs((_bearing(x, y, middle) - float((text.text or "")[:-1]) + 180.0) % 360.0 - 180.0) < 0.5
        assert rings[-1][1] < math.hypot(x - middle, y - middle) <= middle
    # The list below: a line for each light, its colour beside it, each under the last and under the plan.
    swatches = [r for r in root.iter(f"{_SVG}rect") if r.attrib.get("width") == "14"]
    lines = [t for t in words if "Rule" in (t.text or "")]
    assert [r.attrib["fill"] for r in swatches] == [s.attrib.get("fill", "") if s.attrib["fill"] != "none"
                                                   else s.attrib["stroke"] for s in drawn]  # fmt: skip
    heights = [float(t.attrib["y"]) for t in lines]
    assert heights == sorted(heights) and heights[0] > 2.0 * middle and heights[-1] < top + height
    assert all(b - a >= 16.0 for a, b in pairwise(heights))
    assert all(left <= float(r.attrib["x"]) < float(t.attrib["x"]) for r, t in zip(swatches, lines, strict=True))


def _fitted(masthead_m: float | None, sides: tuple[float, float], **more: float) -> list[Fitted]:
    return [
        Fitted("masthead", "white", MASTHEAD_ARC, masthead_m, 200.0, "masthead"),
        Fitted("side", "green", STARBOARD_ARC, sides[0], 200.0, "starboard"),
        Fitted("side", "red", PORT_ARC, sides[1], 200.0, "port"),
        Fitted("stern", "white", STERN_ARC, 9.0, 200.0, "stern"),
    ]


@pytest.mark.parametrize("sides", [(1.4, 0.8), (0.8, 1.4)])
def test_the_higher_sidelight_counts(sides: tuple[float, float]) -> None:
    # Annex I 2(d), 2(g): above *the sidelights*, so above the higher one; and the sternlight is none of it.
    small, large = Vessel("power", 11.0), Vessel("power", 30.0)
    assert [f.rule for f in check(small, _fitted(2.3, sides))[1]] == ["Annex I 2(d)"]
    assert not check(small, _fitted(2.41, sides))[1]
    assert [f.rule for f in check(large, _fitted(1.8, sides))[1]] == ["Annex I 2(g)"]
    assert not check(large, _fitted(1.9, sides))[1]


def test_what_was_not_measured_is_not_judged_by_height() -> None:
    assert not check(Vessel("power", 11.0), _fitted(None, (1.4, 1.4)))[1]
    assert not check(Vessel("sail", 11.0), _fitted(1.0, (1.4, 1.4))[1:])[1]


def test_a_light_all_round_where_an_arc_is_asked_is_told() -> None:
    # Rule 21(c): a sternlight shows over 135 degrees and no more.
    lights = _fitted(2.6, (1.4, 1.4))
    lights[3] = replace(lights[3], arc_deg=(0.0, 360.0))
    assert [f.rule for f in check(Vessel("power", 11.0), lights)[1]] == ["21"]


@pytest.mark.parametrize("start", [10.0, 200.0, 355.0])
def test_an_all_round_light_hidden_behind_the_mast(start: float) -> None:
    # Annex I 9(b): not hidden over more than six degrees, wherever the mast stands.
    for hidden, told in ((5.0, False), (7.0, True), (40.0, True)):
        arc = ((start + hidden) % 360.0, start)
        around = Fitted("all-round", "white", arc, 2.6, 5.0, "all-round")
        found = [f.rule for f in check(Vessel("power", 9.2), [around, *_fitted(None, (1.4, 1.4))[1:3]])[1]]
        assert found == (["Annex I 9(b)"] if told else [])


def test_the_port_light_is_a_sidelight_in_red_and_no_other_light_stands_for_it() -> None:
    (port,) = fitted_from_tables([{"role": "port"}])
    assert (port.role, port.colour, port.arc_deg) == ("side", "red", PORT_ARC)
    lights = [f for f in _fitted(2.6, (1.4, 1.4)) if f.name != "port"]
    assert any("no red side light" in f.say for f in check(Vessel("power", 11.0), lights)[1])


@pytest.mark.parametrize(
    ("vessel", "line"),
    [
        (Vessel("restricted", 30.0), ["red", "white", "red"]), (Vessel("trawling", 30.0), ["green", "white"]),
        (Vessel("fishing", 30.0), ["red", "white"]), (Vessel("pilot", 15.0), ["white", "red"]),
    ],
)  # fmt: skip
def test_a_vertical_line_is_told_first_and_top_first(vessel: Vessel, line: list[str]) -> None:
    # Rules 26, 27, 29: red over white over red, green over white, red over white, white over red.
    shown = seen_from(required(vessel)[0].lights[::-1], 10.0)
    assert [x.colour for x in shown[: len(line)]] == line and all(x.group for x in shown[: len(line)])
    assert not any(x.group for x in shown[len(line) :])


@pytest.mark.parametrize(
    ("words", "n"),
    [
        ("white", 1),
        ("one white", 1),
        ("two whites", 2),
        ("2 white", 2),
        ("three green", 3),
        ("3 green", 3),
        ("four red", 4),
        ("4 red", 4),
    ],
)
def test_so_many_lights_as_were_said(words: str, n: int) -> None:
    assert len(parse_seen(words)) == n
