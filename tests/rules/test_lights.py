"""Arcs, ranges and sets of lights, at their edges, against the published rules."""

from __future__ import annotations

import pytest

from moonless.errors import InputError
from moonless.rules.fitted import Fitted, check, fitted_from_tables
from moonless.rules.lights import (
    ALL_ROUND,
    KINDS,
    MASTHEAD_ARC,
    PORT_ARC,
    STARBOARD_ARC,
    STERN_ARC,
    Light,
    Vessel,
    intensity_cd,
    range_for_intensity_nm,
    range_nm,
    required,
)


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
    # Rule 23(a), from memory; 23(d) read in the US Navigation Rules handbook.
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
    assert len(required(Vessel("anchored", 7.0))) == 1
    assert required(Vessel("aground", 11.9))[-1].name == "anchor light alone"


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("length", [5.0, 9.0, 15.0, 30.0, 80.0, 150.0])
def test_every_vessel_has_lights_with_their_rule(kind: str, length: float) -> None:
    for outfit in required(Vessel(kind, length)):  # type: ignore[arg-type]
        assert all(light.rule for light in outfit.lights)


def test_wrong_vessels_are_refused() -> None:
    with pytest.raises(InputError, match="length -3"):
        Vessel("power", -3)
    with pytest.raises(InputError, match="is not one of"):
        Vessel("raft", 3)  # type: ignore[arg-type]


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


def test_light_tables_are_strict() -> None:
    assert fitted_from_tables([{"role": "port"}])[0].colour == "red"
    with pytest.raises(InputError, match="light 1: 'colr' is not a key"):
        fitted_from_tables([{"role": "port", "colr": "red"}])
    with pytest.raises(InputError, match="light 2: role 'mast'"):
        fitted_from_tables([{"role": "port"}, {"role": "mast"}])
