"""Characters in the chart's abbreviations, sectors, and who sees what."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_charts import ORIGIN, at, box, make_index

from moonless.chart.library import Chart
from moonless.chart.lights import Sector, character_text, is_shown_at_night, light_text, sequence
from moonless.chart.lights import lights_of as lights_of_features
from moonless.errors import InputError


# Abbreviations: IHO INT 1, P 10 (characters), P 11 (colours), P 12 (period), P 13 (elevation), P 14 (range), quoted
# from memory.  LITCHR, COLOUR codes: S-57 edition 3.1, appendix A, chapter 2.
@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({"LITCHR": 1, "COLOUR": [3]}, "F R"),
        ({"LITCHR": 1, "COLOUR": [1], "SIGPER": 3.0}, "F"),
        (
            {"LITCHR": 2, "SIGGRP": "(2)", "COLOUR": [3], "SIGPER": 6.0, "HEIGHT": 8.0, "VALNMR": 5.0},
            "Fl(2) R 6s 8m 5M",
        ),
        ({"LITCHR": 2, "SIGGRP": "(2+1)", "COLOUR": [4], "SIGPER": 12.0}, "Fl(2+1) G 12s"),
        ({"LITCHR": 2, "SIGGRP": "(1)", "COLOUR": [1], "SIGPER": 2.5}, "Fl 2.5s"),
        ({"LITCHR": 3, "SIGPER": 10.0}, "LFl 10s"),
        ({"LITCHR": 4, "SIGGRP": "(1)", "SIGPER": 1.0, "COLOUR": [4]}, "Q G"),
        ({"LITCHR": 4, "SIGGRP": "(3)", "SIGPER": 10.0}, "Q(3) 10s"),
        ({"LITCHR": 5, "SIGGRP": "()", "COLOUR": [1]}, "VQ"),
        ({"LITCHR": 25, "SIGGRP": "(6)(1)", "SIGPER": 15.0}, "Q(6)+LFl 15s"),
        ({"LITCHR": 26, "SIGGRP": "(6)(1)", "SIGPER": 10.0}, "VQ(6)+LFl 10s"),
        ({"LITCHR": 12, "SIGGRP": "(A)", "SIGPER": 8.0}, "Mo(A) 8s"),
        ({"LITCHR": 7, "SIGPER": 6.0, "COLOUR": [6]}, "Iso Y 6s"),
        ({"LITCHR": 8, "SIGGRP": "(2)", "SIGPER": 6.0, "HEIGHT": 4.6}, "Oc(2) 6s 5m"),
        ({"LITCHR": 13, "SIGGRP": "()(1)", "SIGPER": 10.0}, "FFl 10s"),
        ({"LITCHR": 1, "COLOUR": [3], "MLTYLT": 2}, "2 F R"),
        ({"COLOUR": [3]}, "R"),
        ({}, ""),
    ],
)
def test_texts(given: dict[str, Any], text: str) -> None:
    assert light_text([given]) == text


def test_a_sector_light_is_written_once() -> None:
    base = {"LITCHR": 2, "SIGGRP": "(1)", "SIGPER": 5.0, "HEIGHT": 13.0}
    sectors = [base | {"COLOUR": [code], "VALNMR": r} for code, r in ((4, 9.0), (1, 16.0), (3, 11.0), (1, 16.0))]
    assert light_text(sectors) == "Fl WRG 5s 13m 16-9M"
    assert light_text(sectors[:2]) == "Fl WG 5s 13m 16/9M"


def test_no_light_is_an_error_not_a_text() -> None:
    with pytest.raises(InputError, match="without any light"):
        light_text([])


def test_a_character_not_given_is_not_made_up() -> None:
    assert character_text({"SIGGRP": "(3)"}) == ""
    assert character_text({"LITCHR": 99}) == ""


def test_sequences() -> None:
    assert sequence({"SIGSEQ": "00.4+(03.6)"}) == ((True, 0.4), (False, 3.6))
    assert sequence({"SIGSEQ": "01.0+(01.0)+01.0+(07.0)"}) == ((True, 1.0), (False, 1.0), (True, 1.0), (False, 7.0))
    assert sequence({}) == ()


def test_shown_at_night() -> None:
    assert is_shown_at_night({})
    assert is_shown_at_night({"EXCLIT": 4})
    assert not is_shown_at_night({"EXCLIT": 2})
    assert not is_shown_at_night({"EXCLIT": 3})
    assert not is_shown_at_night({"STATUS": [1, 4]})


def _sector(start: float | None, end: float | None) -> Sector:
    return Sector("1", start, end, (1,), None, False, False, {})


@given(st.floats(0.0, 359.9), st.floats(0.1, 359.8), st.floats(0.0, 1.0), st.floats(0.001, 0.999))
def test_sectors_run_clockwise(start: float, width: float, inside: float, outside: float) -> None:
    sector = _sector(start, (start + width) % 360.0)
    margin = 1e-6
    assert sector.holds((start + margin + inside * (width - 2 * margin)) % 360.0)
    assert not sector.holds((start + width + outside * (360.0 - width)) % 360.0) or 360.0 - width < 1e-3


def test_a_light_without_sectors_shows_all_round() -> None:
    assert all(_sector(None, None).holds(b) for b in range(0, 360, 7))
    assert all(_sector(0.0, 360.0).holds(b) for b in range(0, 360, 7))


def test_bearings_are_from_seaward() -> None:
    # A leading sector: white when the light bears 350 to 010, so from the south; red to the east of it, green to the
    # west, as is usual for a sector light over a channel.
    base = {"LITCHR": 7, "SIGPER": 4.0}
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", box(-6000, -6000, 6000, 6000), {"CATCOV": 1}),
        ("LIGHTS", at(0, 0), base | {"COLOUR": [1], "SECTR1": 350.0, "SECTR2": 10.0, "VALNMR": 10.0}),
        ("LIGHTS", at(0, 0), base | {"COLOUR": [4], "SECTR1": 10.0, "SECTR2": 60.0, "VALNMR": 7.0}),
        ("LIGHTS", at(0, 0), base | {"COLOUR": [3], "SECTR1": 300.0, "SECTR2": 350.0, "VALNMR": 7.0}),
        ("LIGHTS", at(0, 0), base | {"COLOUR": [1], "SECTR1": 60.0, "SECTR2": 90.0, "LITVIS": [7]}),
    ]
    local = Chart([make_index("A", 10_000, rows)]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)
    (light,) = lights_of_features(local.features("LIGHTS"))
    assert light.text == "Iso WRG 4s 10/7M"

    def colour_on(bearing_deg: float) -> list[tuple[int, ...]]:
        bearing = math.radians(bearing_deg)
        return [s.colours for s in light.seen_from(-1000 * math.sin(bearing), -1000 * math.cos(bearing))]

    assert colour_on(0.0) == [(1,)]
    assert colour_on(30.0) == [(4,)]
    assert colour_on(320.0) == [(3,)]
    assert colour_on(75.0) == []  # obscured
    assert colour_on(180.0) == []  # no sector


def test_two_all_round_lights_on_one_post_stay_two() -> None:
    base = {"LITCHR": 1, "COLOUR": [3], "HEIGHT": 5.0}
    rows: list[tuple[str, Any, dict[str, Any]]] = [
        ("M_COVR", box(-600, -600, 600, 600), {"CATCOV": 1}),
        ("LIGHTS", at(0, 0), base),
        ("LIGHTS", at(0, 0), base),
    ]
    local = Chart([make_index("A", 10_000, rows)]).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 500.0)
    assert len(lights_of_features(local.features("LIGHTS"))) == 2
    assert len(local.marks) == 1
