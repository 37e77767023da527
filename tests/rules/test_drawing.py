"""The plan of lights as a picture."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from moonless.rules.drawing import plan_svg, seen_from
from moonless.rules.lights import Vessel
from moonless.rules.required import required


@pytest.mark.parametrize("kind", ["power", "fishing", "towing", "restricted"])
def test_plan_shows_every_light(kind: str) -> None:
    lights = required(Vessel(kind, 30.0))[0].lights  # type: ignore[arg-type]
    root = ET.fromstring(plan_svg(lights, 'Lights & "more"'))
    space = "{http://www.w3.org/2000/svg}"
    arcs = root.findall(f"{space}path") + root.findall(f"{space}circle")
    assert len(arcs) == len(lights) + 1  # and the hull
    words = [t.text or "" for t in root.findall(f"{space}text")]
    assert all(any(f"Rule {x.rule}" in w for w in words) for x in lights)


def test_what_shows_astern() -> None:
    # Rule 21(c): the sternlight alone shows right aft on a power-driven vessel.
    shown = seen_from(required(Vessel("power", 9.2))[0].lights, 180.0)
    assert [x.role for x in shown] == ["stern"]
