"""A cell that contradicts itself is told; one that does not, and the three real ones, are not.

The areas are squares whose overlap and gap are plain geometry.
"""

from __future__ import annotations

import shutil
import struct
from pathlib import Path

import pytest
import shapely

from moonless.chart.s57.soundness import contradictions
from moonless.chart.s57.source import read_source

WEST, EAST = shapely.box(0.0, 0.0, 0.01, 0.01), shapely.box(0.01, 0.0, 0.02, 0.01)
WHOLE = shapely.box(0.0, 0.0, 0.02, 0.01)
DEEP, SHOAL = {"DRVAL1": 5.0, "DRVAL2": 10.0}, {"DRVAL1": 2.0, "DRVAL2": 5.0}


def told(*more: tuple[str, dict, shapely.Geometry | None], east: shapely.Geometry = EAST) -> str:
    features = [("M_COVR", {"CATCOV": 1}, WHOLE), ("DEPARE", DEEP, WEST), ("DEPARE", SHOAL, east), *more]
    objects, rows, shapes = zip(*features, strict=True)
    return "; ".join(contradictions(objects, rows, shapes, WHOLE))


def test_areas_that_fit_are_sound_whatever_else_is_drawn_over_them() -> None:
    assert told() == ""
    assert told(("RESARE", {}, shapely.box(0.005, 0.0, 0.015, 0.01)), ("C_AGGR", {}, None)) == ""
    assert told(("DEPARE", SHOAL, shapely.LineString([(0.0, 0.0), (0.01, 0.01)]))) == ""


# A hundred-thousandth of a degree is a metre.
@pytest.mark.parametrize(
    ("east", "words"),
    [
        (shapely.box(0.00999, 0.0, 0.02, 0.01), "overlap, as"),
        (shapely.box(0.01001, 0.0, 0.02, 0.01), "leave gaps"),
        (shapely.box(0.00999, 0.0, 0.01999, 0.01), "overlap and leave gaps"),
        (shapely.Polygon([(0.01, 0), (0.02, 0), (0.02, 0.01), (0.01, 0.01), (0.005, 0.005)]), "overlap, as"),
        # The reader mends shapes that cross themselves; what still comes so cannot be reckoned with.
        (shapely.Polygon([(0.01, 0), (0.02, 0), (0.02, 0.01), (0.005, 0.005), (0.01, 0.01)]), "cannot be laid"),
    ],
)
def test_areas_that_overlap_or_leave_gaps_are_told(east: shapely.Geometry, words: str) -> None:
    assert words in told(east=east)


def test_a_place_outside_the_cell_is_told() -> None:
    assert told(("BOYLAT", {}, shapely.Point(0.0, 0.0))) == ""
    assert told(("BOYLAT", {}, shapely.Point(0.02001, 0.005))) == "1 features lie outside the cell (BOYLAT)"


def sounding(depth_m: float, at: tuple[float, float]) -> tuple[str, dict, shapely.Geometry]:
    return "SOUNDG", {"DEPTH": depth_m}, shapely.Point(at)


def test_a_sounding_shoaler_than_its_area_is_told_and_a_deeper_one_is_not() -> None:
    assert told(sounding(4.7, (0.005, 0.005)), sounding(30.0, (0.005, 0.006)), sounding(2.0, (0.01, 0.005))) == ""
    assert told(sounding(4.4, (0.005, 0.005))) == "1 soundings are shoaler than the areas they lie in can be"
    assert told(sounding(-0.4, (0.015, 0.005))) != ""


def test_depths_the_wrong_way_round_are_told() -> None:
    row = {"DRVAL1": 13.0, "DRVAL2": 10.0}
    found = contradictions(["M_COVR", "DEPARE"], [{}, row], [WHOLE, WHOLE], WHOLE)
    assert found == ["1 areas say a least depth that is more than their greatest"]


@pytest.mark.data
@pytest.mark.slow
def test_a_real_cell_is_sound_and_one_corner_of_its_shore_moved_is_told(real_cells: Path, tmp_path: Path) -> None:
    cell = real_cells / "US5MA12M" / "US5MA12M.000"
    assert read_source(cell).warnings == []
    data = bytearray(cell.read_bytes())
    # The first edge with more than ten corners of its own (SG2D: pairs of latitude and longitude, 32 bits each): its
    # fifth goes a tenth of a degree east.
    offset = 0
    while True:
        length, base = int(data[offset : offset + 5]), int(data[offset + 12 : offset + 17])
        at = data.find(b"SG2D", offset, offset + base)
        n_length, n_place = (data[offset + k] - 48 for k in (20, 21))
        if at > 0 and int(data[at + 4 : at + 4 + n_length]) > 10 * 8:
            break
        offset += length
    place = offset + base + int(data[at + 4 + n_length : at + 4 + n_length + n_place]) + 4 * 8
    north, east = struct.unpack_from("<ii", data, place)
    struct.pack_into("<ii", data, place, north, east + 1_000_000)
    shutil.copy(cell, tmp_path)
    (tmp_path / cell.name).chmod(0o600)
    (tmp_path / cell.name).write_bytes(data)
    said = read_source(tmp_path / cell.name).warnings
    assert any("overlap" in words or "cross themselves" in words for words in said)
