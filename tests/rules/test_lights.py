"""Arcs, ranges and sets of lights, at their edges, against the published rules."""

from __future__ import annotations

from typing import get_args

import pytest

from moonless.boat.keys import LIGHT_COLOURS, LIGHT_ROLES
from moonless.errors import InputError
from moonless.rules.fitted import ARC_OF_ROLE, Fitted, check, fitted_from_tables
from moonless.rules.lights import (
    ALL_ROUND,
    KINDS,
    MASTHEAD_ARC,
    PORT_ARC,
    STARBOARD_ARC,
    STERN_ARC,
    Colour,
    Light,
    Vessel,
    intensity_cd,
    range_for_intensity_nm,
    range_nm,
)
from moonless.rules.required import required


@pytest.mark.parametrize(
    ("arc", "width", "inside", "outside"),
    [
        # COLREGs Rule 21 (MSN 1781): 225, 112.5, 112.5 and 135 degrees.
        (MASTHEAD_ARC, 225.0, (0, 112.5, 247.5), (112.6, 180, 247.4)),
        (STARBOARD_ARC, 112.5, (0, 60, 112.5), (359.9, 112.6, 180)),
        (PORT_ARC, 112.5, (247.5, 300, 0), (0.1, 247.4, 90)),
        (STERN_ARC, 135.0, (112.5, 180, 247.5), (112.4, 247.6, 0)),
        (ALL_ROUND, 0.0, (0, 123, 359), ()),
    ],
)
def test_arcs(arc: tuple[float, float], width: float, inside: tuple[float, ...], outside: tuple[float, ...]) -> None:
    light = Light("masthead", "white", arc, 2, "21", "")
    assert (arc[1] - arc[0]) % 360 == width
    assert all(light.shows_to(b) for b in inside)
    assert not any(light.shows_to(b) for b in outside)


@pytest.mark.parametrize(
    ("length", "masthead", "side", "stern", "towing", "all_round"),
    [
        # COLREGs Rule 22 (33 CFR 83.22): nautical miles by length.
        (80.0, 6, 3, 3, 3, 3), (50.0, 6, 3, 3, 3, 3), (49.9, 5, 2, 2, 2, 2), (20.0, 5, 2, 2, 2, 2),
        (19.9, 3, 2, 2, 2, 2), (12.0, 3, 2, 2, 2, 2), (11.9, 2, 1, 2, 2, 2), (6.0, 2, 1, 2, 2, 2),
    ],
)  # fmt: skip
def test_ranges(length: float, masthead: float, side: float, stern: float, towing: float, all_round: float) -> None:
    asked = [range_nm(r, length) for r in ("masthead", "side", "stern", "towing", "all-round")]  # type: ignore[arg-type]
    assert asked == [masthead, side, stern, towing, all_round]


@pytest.mark.parametrize(("reach", "candela"), [(1, 0.9), (2, 4.3), (3, 12), (4, 27), (5, 52), (6, 94)])
def test_annex_i_intensity(reach: float, candela: float) -> None:
    # COLREGs Annex I section 8 table (33 CFR 84.15), printed to two figures.
    assert intensity_cd(reach) == pytest.approx(candela, abs=0.05 if candela < 10 else 0.5)
    assert range_for_intensity_nm(intensity_cd(reach)) == pytest.approx(reach, abs=1e-6)


def _roles(vessel: Vessel, which: int = 0) -> list[tuple[str, str]]:
    return sorted((x.role, x.colour) for x in required(vessel)[which].lights)


SIDES = [("side", "green"), ("side", "red")]


def test_power() -> None:
    # Rule 23(a): 33 USC 2023 (ed. 2000), the same words as the international rule; 23(d): US Navigation Rules handbook.
    assert _roles(Vessel("power", 9.2)) == sorted([("masthead", "white"), *SIDES, ("stern", "white")])
    assert _roles(Vessel("power", 9.2), 1) == sorted([("all-round", "white"), *SIDES])
    assert len(required(Vessel("power", 12.0))) == 1
    assert len(required(Vessel("power", 6.9, max_speed_kn=7.0))) == 3
    assert len(required(Vessel("power", 6.9, max_speed_kn=7.1))) == 2
    assert len(required(Vessel("power", 6.9, max_speed_kn=7.0, inland=True))) == 2
    assert _roles(Vessel("power", 50.0)).count(("masthead", "white")) == 2
    assert _roles(Vessel("power", 49.9)).count(("masthead", "white")) == 1


def test_towing() -> None:
    # Rule 24: two masthead lights in line, three where the tow exceeds 200 m; yellow above the sternlight.
    assert _roles(Vessel("towing", 15.0, tow_m=200.0)).count(("masthead", "white")) == 2
    assert _roles(Vessel("towing", 15.0, tow_m=200.1)).count(("masthead", "white")) == 3
    assert ("towing", "yellow") in _roles(Vessel("towing", 15.0))
    assert ("towing", "yellow") not in _roles(Vessel("pushing", 15.0))
    # Inland Rule 24(c): two yellow towing lights in place of the sternlight.
    assert _roles(Vessel("pushing", 15.0, inland=True)).count(("towing", "yellow")) == 2


def test_special_vessels() -> None:
    # Rules 26, 27, 28, 29 and 30: the vertical lines, top first.
    def line(vessel: Vessel) -> list[str]:
        lights = [x for x in required(vessel)[0].lights if x.group == "all-round"]
        return [x.colour for x in sorted(lights, key=lambda x: x.level or 0)]

    assert line(Vessel("trawling", 20.0)) == ["green", "white"]
    assert line(Vessel("fishing", 20.0)) == ["red", "white"]
    assert line(Vessel("not under command", 20.0)) == ["red", "red"]
    assert line(Vessel("restricted", 20.0)) == ["red", "white", "red"]
    assert line(Vessel("constrained by draught", 200.0)) == ["red", "red", "red"]
    assert line(Vessel("pilot", 15.0)) == ["white", "red"]
    assert line(Vessel("aground", 30.0)) == ["red", "red"]
    # Rule 27(a): no masthead light on a vessel not under command; 27(b): one on a vessel restricted, making way.
    assert ("masthead", "white") not in _roles(Vessel("not under command", 20.0))
    assert ("masthead", "white") in _roles(Vessel("restricted", 20.0))
    stopped = _roles(Vessel("restricted", 20.0, making_way=False))
    assert stopped == [("all-round", "red"), ("all-round", "red"), ("all-round", "white")]
    with pytest.raises(InputError, match="inland"):
        required(Vessel("constrained by draught", 200.0, inland=True))


def test_anchored_and_aground_small() -> None:
    # Rule 30: one light under 50 m, two from 50 m; under 7 m none away from traffic; under 12 m aground no reds.
    assert len(required(Vessel("anchored", 49.9))[0].lights) == 1
    assert len(required(Vessel("anchored", 50.0))[0].lights) == 2
    assert required(Vessel("anchored", 6.9))[-1].lights == ()
    # 30(b) lets a vessel under 50 m show one light in place of the two; the two stay lawful.
    assert [len(o.lights) for o in required(Vessel("anchored", 7.0))] == [1, 2]
    assert [len(o.lights) for o in required(Vessel("anchored", 50.0))] == [2]
    assert required(Vessel("aground", 11.9))[-1].name == "anchor light alone"
    assert [o.name for o in required(Vessel("aground", 12.0))] == ["anchor light and red over red"]
    # 30(c): decks lit from 100 m.
    assert "30(c)" in required(Vessel("anchored", 100.0))[0].note
    assert "30(c)" not in required(Vessel("anchored", 99.9))[0].note
    # Inland 30(g), 33 USC 2030 (ed. 2009): none asked under 20 m in a special anchorage area.
    assert required(Vessel("anchored", 19.9, inland=True))[-1].lights == ()
    assert all(o.lights for o in required(Vessel("anchored", 20.0, inland=True)))
    assert all(o.lights for o in required(Vessel("anchored", 19.9)))
    # A vessel aground shows the anchor light whatever her length: 30(d), and 30(e) speaks of vessels at anchor only.
    assert all(("all-round", "white") in [(x.role, x.colour) for x in o.lights] for o in required(Vessel("aground", 5)))


def test_second_masthead_light() -> None:
    # Rule 23(a)(ii): from 50 m she must, below she may.
    assert "two masthead" not in " ".join(o.name for o in required(Vessel("power", 50.0)))
    assert _roles(Vessel("power", 49.9), 1).count(("masthead", "white")) == 2
    # Rule 24(d): one that tows or pushes also follows 23(a)(ii).
    assert _roles(Vessel("pushing", 49.9)).count(("masthead", "white")) == 2
    assert _roles(Vessel("pushing", 50.0)).count(("masthead", "white")) == 3
    assert _roles(Vessel("towing", 49.9)).count(("masthead", "white")) == 2
    assert _roles(Vessel("towing", 50.0)).count(("masthead", "white")) == 3


def test_sail_and_oars() -> None:
    # Rule 25: (a) sidelights and sternlight, (b) one lantern under 20 m, (c) red over green, never with the lantern,
    # (d) a torch under 7 m or under oars.
    def sets(vessel: Vessel) -> list[list[tuple[str, str]]]:
        return [sorted((x.role, x.colour) for x in o.lights) for o in required(vessel)]

    plain = sorted([*SIDES, ("stern", "white")])
    topped = sorted([*plain, ("all-round", "red"), ("all-round", "green")])
    torch = [("all-round", "white")]
    assert sets(Vessel("sail", 20.0)) == [plain, topped]
    assert sets(Vessel("sail", 19.9)) == [plain, topped, plain]
    assert all("one lantern" in x.where for x in required(Vessel("sail", 19.9))[2].lights)
    assert sets(Vessel("sail", 7.0)) == [plain, topped, plain]
    assert sets(Vessel("sail", 6.9)) == [plain, topped, plain, torch]
    assert sets(Vessel("oars", 4.0)) == [plain, torch]
    assert [x.colour for x in required(Vessel("sail", 12.0))[1].lights if x.level is not None] == ["red", "green"]
    # Rule 3(b), (c): sail with machinery used is a power-driven vessel.
    assert sets(Vessel("sail", 9.0, under_sail_and_power=True)) == sets(Vessel("power", 9.0))


def test_fishing() -> None:
    # Rule 26: (b)(ii) a trawler's masthead light is a duty from 50 m; (c)(ii) a white light towards gear over 150 m;
    # sidelights and sternlight only when making way.
    def mast(length: float) -> Light:
        return next(x for x in required(Vessel("trawling", length))[0].lights if x.role == "masthead")

    assert mast(49.9).optional
    assert not mast(50.0).optional
    assert "higher" in mast(50.0).where
    white = ("all-round", "white")
    assert _roles(Vessel("fishing", 15.0, gear_m=150.0)).count(white) == 1
    assert _roles(Vessel("fishing", 15.0, gear_m=150.1)).count(white) == 2
    assert ("stern", "white") in _roles(Vessel("fishing", 15.0))
    assert _roles(Vessel("fishing", 15.0, making_way=False)) == [("all-round", "red"), white]


def test_rule_27_for_small_and_for_divers() -> None:
    # Rule 27(g), as 33 CFR 83.27(g): under 12 m, unless diving, these lights are not asked.
    for kind in ("not under command", "restricted"):
        names = [o.name for o in required(Vessel(kind, 11.9))]  # type: ignore[arg-type]
        assert names[-1] == "as a power-driven vessel"
        assert len(required(Vessel(kind, 12.0))) == 1  # type: ignore[arg-type]
    diving = required(Vessel("dredging or diving", 9.0))
    assert all("red" in [x.colour for x in o.lights if x.role == "all-round"] for o in diving)
    # 27(d)(i), (ii): two reds on the side of the obstruction, two greens where one may pass.
    groups = {x.group: [y.colour for y in diving[0].lights if y.group == x.group] for x in diving[0].lights if x.group}
    assert groups["foul side"] == ["red", "red"]
    assert groups["clear side"] == ["green", "green"]
    # 27(e)(i): red, white, red alone.
    assert [x.colour for x in diving[1].lights if x.group] == ["red", "white", "red"]
    # 27(a)(iii): making way adds sidelights and sternlight to the two reds.
    assert ("stern", "white") in _roles(Vessel("not under command", 20.0))
    assert ("stern", "white") not in _roles(Vessel("not under command", 20.0, making_way=False))


def test_towed() -> None:
    # Rule 24(e).
    assert _roles(Vessel("towed", 15.0)) == sorted([*SIDES, ("stern", "white")])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("length", [5.0, 9.0, 15.0, 30.0, 80.0, 150.0])
def test_every_vessel_has_lights_with_their_rule(kind: str, length: float) -> None:
    for outfit in required(Vessel(kind, length, inland=kind == "law enforcement")):  # type: ignore[arg-type]
        assert all(light.rule for light in outfit.lights)


def test_wrong_vessels_are_refused() -> None:
    with pytest.raises(InputError, match="length -3"):
        Vessel("power", -3)
    with pytest.raises(InputError, match="is not one of"):
        Vessel("raft", 3)  # type: ignore[arg-type]
    for given in ({"max_speed_kn": float("nan")}, {"tow_m": -1.0}, {"gear_m": float("nan")}):
        with pytest.raises(InputError, match="is not a"):
            Vessel("power", 9.0, **given)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="length nan"):
        Vessel("power", float("nan"))


GOOD = (
    Fitted("masthead", "white", MASTHEAD_ARC, 2.6, 5.0, "masthead"),
    Fitted("side", "green", STARBOARD_ARC, 1.4, 1.0, "starboard"),
    Fitted("side", "red", PORT_ARC, 1.4, 1.0, "port"),
    Fitted("stern", "white", STERN_ARC, 1.0, 5.0, "stern"),
)


def test_fitted_as_the_rules_ask() -> None:
    outfit, findings = check(Vessel("power", 9.2), GOOD)
    assert outfit.name == "masthead, sidelights, sternlight"
    assert findings == ()


@pytest.mark.parametrize(
    ("change", "phrase"),
    [
        # Annex I section 2(d): the white light at least 1 m above the sidelights on a vessel under 12 m.
        (("masthead", {"height_m": 2.2}), "1 m is the least"),
        # Annex I section 9(a): practical cut-off between 1 and 3 degrees outside the sector ahead.
        (("starboard", {"arc_deg": (355.0, 112.5)}), "beyond 000.0°; 3° is allowed"),
        (("stern", {"arc_deg": (100.0, 260.0)}), "beyond 112.5°; 5° is allowed"),
        (("masthead", {"arc_deg": (260.0, 100.0)}), "short of"),
        (("masthead", {"candela": 2.0}), "2 NM is the least"),
        (("port", None), "no red side light"),
    ],
)
def test_usual_mistakes(change: tuple[str, dict[str, object] | None], phrase: str) -> None:
    from dataclasses import replace

    name, new = change
    lights = [f if f.name != name else (None if new is None else replace(f, **new)) for f in GOOD]  # type: ignore[arg-type]
    _, findings = check(Vessel("power", 9.2), [f for f in lights if f is not None])
    assert any(phrase in f.say for f in findings), [f.say for f in findings]


@pytest.mark.parametrize(
    ("name", "arc", "told"),
    [
        # Annex I section 9(a)(i): ahead, sidelights cut off 1 to 3 degrees outside; (a)(ii): elsewhere within 5.
        ("starboard", (357.0, 112.5), False), ("starboard", (356.9, 112.5), True), ("port", (247.5, 3.0), False),
        ("port", (247.5, 3.1), True), ("starboard", (0.0, 117.5), False), ("starboard", (0.0, 117.6), True),
        ("port", (242.5, 0.0), False), ("port", (242.4, 0.0), True), ("stern", (107.5, 252.5), False),
        ("stern", (107.4, 247.5), True), ("stern", (112.5, 252.6), True), ("masthead", (242.5, 117.5), False),
        ("masthead", (242.4, 112.5), True), ("masthead", (247.5, 117.6), True),
        # Short of the sector by more than the half degree that a measurement is good for.
        ("stern", (113.1, 247.5), True), ("stern", (112.5, 246.9), True), ("stern", (112.9, 247.1), False),
        ("starboard", (0.6, 112.5), True), ("port", (247.5, 359.4), True),
    ],
)  # fmt: skip
def test_arc_edges(name: str, arc: tuple[float, float], told: bool) -> None:
    from dataclasses import replace

    _, findings = check(Vessel("power", 9.2), [replace(f, arc_deg=arc) if f.name == name else f for f in GOOD])
    assert bool(findings) == told, [f.say for f in findings]


@pytest.mark.parametrize(("hidden", "told"), [(6.0, False), (6.1, True)])
def test_an_all_round_light_may_be_hidden_over_six_degrees(hidden: float, told: bool) -> None:
    # Annex I section 9(b)(i).
    around = Fitted("all-round", "white", (0.0, 360.0 - hidden), 2.6, 5.0, "all-round")
    _, findings = check(Vessel("power", 9.2), [around, *GOOD[1:3]])
    assert any("hidden over" in f.say for f in findings) == told


@pytest.mark.parametrize(
    ("length", "masthead_m", "sides_m", "phrase"),
    [
        # Annex I 2(d): under 12 m, 1 m above the sidelights; 2(c): 12 to 20 m, 2.5 m above the gunwale; 2(g): the
        # sidelights no higher than three quarters of the masthead light.
        (11.9, 2.4, 1.4, None), (11.9, 2.39, 1.4, "1 m is the least"), (12.0, 2.5, 1.6, None),
        (12.0, 2.49, 1.0, "2.5 m is the least"), (19.9, 2.49, 1.0, "2.5 m is the least"), (20.0, 8.0, 6.0, None),
        (20.0, 8.0, 6.1, "three quarters"),
    ],
)  # fmt: skip
def test_heights(length: float, masthead_m: float, sides_m: float, phrase: str | None) -> None:
    from dataclasses import replace

    bright = [replace(f, candela=100.0, height_m=masthead_m if f.role == "masthead" else sides_m) for f in GOOD]
    _, findings = check(Vessel("power", length), bright)
    assert [phrase in f.say for f in findings] == [True] if phrase else findings == (), [f.say for f in findings]


def test_two_whites_that_do_not_belong_together() -> None:
    # Rule 23(d)(i): the all-round white stands in place of masthead and sternlight; 30(b): else it is the anchor light.
    around = Fitted("all-round", "white", ALL_ROUND, 2.6, 5.0, "anchor")
    told = " ".join(f.say for f in check(Vessel("power", 9.2), [around, *GOOD])[1])
    assert "anchor light: dark while under way" in told
    assert "two whites astern" in told
    assert not any("astern" in f.say for f in check(Vessel("power", 9.2), [around, *GOOD[1:3]])[1])
    assert check(Vessel("power", 9.2), [around, *GOOD[1:3]])[0].name == "all-round white and sidelights"
    # A light that no set of hers holds.
    blue = Fitted("all-round", "red", ALL_ROUND, name="red")
    assert any("does not belong" in f.say for f in check(Vessel("power", 9.2), [*GOOD, blue])[1])


def test_light_tables() -> None:
    starboard, towing, measured = fitted_from_tables(
        [
            {"role": "starboard"},
            {"role": "towing"},
            {"role": "stern", "from_deg": 110.0, "to_deg": 250.0, "candela": 4.3},
        ]
    )
    assert (starboard.role, starboard.colour, starboard.arc_deg) == ("side", "green", STARBOARD_ARC)
    assert (starboard.height_m, starboard.candela) == (None, None)  # not measured is not 0
    assert (towing.role, towing.colour, towing.arc_deg) == ("towing", "yellow", STERN_ARC)
    assert (measured.arc_deg, measured.candela) == ((110.0, 250.0), 4.3)
    with pytest.raises(InputError, match="light 1: from_deg and to_deg go together"):
        fitted_from_tables([{"role": "stern", "from_deg": 110.0}])


def test_the_boat_files_words_are_the_rules() -> None:
    assert set(LIGHT_ROLES) == set(ARC_OF_ROLE)
    # Blue is law enforcement's, and not one of her navigation lights.
    assert set(LIGHT_COLOURS) == set(get_args(Colour)) - {"blue"}
    assert fitted_from_tables([{"role": "port"}])[0].colour == "red"
