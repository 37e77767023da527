"""The invented waters: valid S-57, consistent depths, the same bytes every time."""

from __future__ import annotations

import csv
import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely

from moonless.scene.file import demo_folder
from moonless.scene.story import demo_chart, open_demo

pytestmark = pytest.mark.slow  # the whole waters are made

SMALL_ENOUGH = 2_000_000
# What GeoPackage and S-57 keep of a feature's identity beside its attributes.
IDENTITY = {"AGEN", "FIDN", "FIDS", "LNAM"}


def _table(name: str) -> list[dict[str, str]]:
    # GDAL's own S-57 tables, as its wheel carries them (s57objectclasses.csv, s57attributes.csv, s57expectedinput.csv).
    path = Path(pyogrio.get_gdal_data_path() or "") / name
    with path.open(encoding="latin-1", newline="") as file:
        return list(csv.DictReader(file))


def test_same_bytes_every_time(made: Any, rebuilt: Path, tmp_path: Path) -> None:
    from waters.layers import write

    again = tmp_path / "b" / "waters.gpkg"
    write(made[0], again)
    assert hashlib.sha256(rebuilt.read_bytes()).digest() == hashlib.sha256(again.read_bytes()).digest()


def test_the_shipped_file_is_what_the_maker_makes(rebuilt: Path) -> None:
    if rebuilt.read_bytes() == demo_chart().read_bytes():
        return
    # Another GDAL or SQLite may lay the same content out in other bytes; the content must be the same.
    layers = {str(name) for name, _ in pyogrio.list_layers(demo_chart())}
    assert {str(name) for name, _ in pyogrio.list_layers(rebuilt)} == layers
    for layer in sorted(layers):
        one, two = (pyogrio.raw.read(path, layer=layer) for path in (demo_chart(), rebuilt))
        assert list(one[0]["fields"]) == list(two[0]["fields"])
        if one[2] is not None:
            shapes = [shapely.from_wkb(wkb) for wkb in (one[2], two[2])]
            assert len(shapes[0]) == len(shapes[1])
            assert np.max(shapely.hausdorff_distance(shapes[0], shapes[1])) < 2e-7, layer
        for a, b in zip(one[3], two[3], strict=True):
            assert all(str(x) == str(y) for x, y in zip(a, b, strict=True)), layer


def test_file_is_small() -> None:
    assert demo_chart().stat().st_size < SMALL_ENOUGH


def test_classes_and_attributes_are_those_of_s57(made: Any) -> None:
    classes = {row["Acronym"]: row for row in _table("s57objectclasses.csv")}
    kinds = {"Point": "Point", "MultiPoint": "Point", "LineString": "Line", "Polygon": "Area"}
    for name, features in made[0].features.items():
        if name == "DSID":
            continue
        row = classes[name]
        allowed = set(f"{row['Attribute_A']}{row['Attribute_B']}{row['Attribute_C']}".split(";"))
        for shape, attributes in features:
            assert set(attributes) - IDENTITY <= allowed, f"{name}: {set(attributes) - IDENTITY - allowed}"
            assert kinds[shape.geom_type] in row["Primitives"], f"{name} may not be a {shape.geom_type}"


def test_coded_values_are_those_of_s57(made: Any) -> None:
    attributes = {row["Code"]: row for row in _table("s57attributes.csv")}
    forms = {row["Acronym"]: row["Attributetype"] for row in attributes.values()}
    codes: dict[str, set[str]] = {}
    for row in _table("s57expectedinput.csv"):
        if row["Code"] in attributes:
            codes.setdefault(attributes[row["Code"]]["Acronym"], set()).add(row["ID"])
    for name, features in made[0].features.items():
        if name == "DSID":
            continue
        for _, given in features:
            for key, value in given.items():
                if key in IDENTITY or forms[key] not in "EL":
                    continue
                for code in str(value).split(","):
                    assert code in codes[key], f"{name}.{key}: {code}"


def test_says_of_itself_that_it_is_not_for_navigation() -> None:
    for layer, column in (("M_COVR", "INFORM"), ("DSID", "DSID_COMT"), ("CTNARE", "INFORM")):
        meta, _, _, columns = pyogrio.raw.read(demo_chart(), layer=layer)
        text = str(columns[list(meta["fields"]).index(column)][0])
        assert "NOT FOR NAVIGATION" in text and "INVENTED" in text


def test_skin_of_the_earth_has_no_gap_and_no_overlap(made: Any) -> None:
    # S-57 appendix B.1 (ENC product specification) 3.3: group 1 objects cover the cell without overlap.
    from waters.areas import LIMITS

    parts = [s for name in ("LNDARE", "DEPARE", "DRGARE") for s in made[0].shapes(name)]
    total = sum(p.area for p in parts)
    union = shapely.union_all(parts)
    assert total == pytest.approx(union.area, rel=1e-6)
    assert union.area == pytest.approx(LIMITS.area, rel=2e-5)
    assert all(p.is_valid for p in parts)


def test_soundings_agree_with_the_areas_they_lie_in(made: Any) -> None:
    areas = made[0].features["DEPARE"] + made[0].features["DRGARE"]
    tree = shapely.STRtree([shape for shape, _ in areas])
    soundings = [p for group in made[0].shapes("SOUNDG") for p in group.geoms]
    assert len(soundings) > 400
    for sounding in soundings:
        (hit,) = tree.query(shapely.Point(sounding.x, sounding.y), predicate="within")
        given = areas[int(hit)][1]
        # A dredged area tells the depth that is kept up; its soundings may be deeper.
        deepest = given["DRVAL2"] if given["DRVAL2"] > given["DRVAL1"] else given["DRVAL1"] + 1.5
        assert given["DRVAL1"] <= sounding.z <= deepest


def test_contours_lie_between_their_areas(made: Any) -> None:
    tree = shapely.STRtree(made[0].shapes("DEPARE"))
    given = [values for _, values in made[0].features["DEPARE"]]
    for line, values in made[0].features["DEPCNT"]:
        middle = line.interpolate(0.5, normalized=True)
        near = tree.query(middle, predicate="dwithin", distance=0.5)
        depths = [(given[int(k)]["DRVAL1"], given[int(k)]["DRVAL2"]) for k in near]
        assert any(low == values["VALDCO"] for low, _ in depths)
        assert any(high == values["VALDCO"] for _, high in depths)


def test_dangers_are_no_deeper_than_the_water_about_them(made: Any) -> None:
    ground = made[1]
    for name in ("WRECKS", "OBSTRN", "UWTROC"):
        for shape, given in made[0].features[name]:
            if "VALSOU" in given:
                assert given["VALSOU"] <= -ground.height(shape.x, shape.y) + 0.6, (name, given)


def test_marks_stand_in_water_beside_the_channel(made: Any) -> None:
    ground = made[1]
    channel = shapely.LineString(np.asarray(__import__("waters.ground", fromlist=["x"]).CHANNEL_KM) * 1000.0)
    for shape, _ in made[0].features["BCNLAT"]:
        assert not ground.land.contains(shape)
        assert 40.0 <= channel.distance(shape) <= 60.0
    for name in ("BOYCAR", "BOYSAW", "BOYISD", "BOYSPP"):
        for shape, _ in made[0].features[name]:
            assert ground.height(shape.x, shape.y) < -2.0, name


def test_red_stands_to_starboard_coming_in(made: Any) -> None:
    # IALA region B: CATLAM 2 (starboard) is red; the way in is east.
    for _, given in made[0].features["BCNLAT"]:
        assert given["COLOUR"] == ("3" if given["CATLAM"] == 2 else "4")
    by_number = {int(g["OBJNAM"].split()[-1]): s for s, g in made[0].features["BCNLAT"]}
    for odd, even in _pairs(12):
        assert by_number[odd].y > by_number[even].y


def _pairs(n: int) -> list[tuple[int, int]]:
    return [(k, k + 1) for k in range(1, n, 2)]


def test_far_from_any_land() -> None:
    # The nearest land to 12.4 S 118.3 W: the Marquesas (about 10 S 139 W), Clipperton (10 N 109 W), Easter Island
    # (27 S 109 W).  Positions from memory, to the degree.
    from moonless.frames import geodesic

    frame = open_demo().frame
    for lat, lon in ((-10.0, -139.0), (10.3, -109.2), (-27.1, -109.4)):
        assert geodesic(frame.lat_deg, frame.lon_deg, lat, lon)[0] > 1_500_000.0


def test_opens_as_a_chart(local: Any) -> None:
    assert len(local.marks) > 60
    (bridge,) = local.bridges
    assert bridge.opens and bridge.clearance_m == pytest.approx(5.2) and bridge.clearance_open_m == pytest.approx(40.0)
    assert local.quality_at(3000.0, -1350.0).catzoc == "A1"
    assert {"LIGHTS", "RESARE", "MARCUL", "PONTON", "SLCONS", "CBLSUB", "WRECKS"} <= {
        f.object for f in local.features()
    }


def test_files_beside_the_chart() -> None:
    assert {p.name for p in demo_folder().iterdir()} >= {"waters.gpkg", "story.toml", "boat.toml", "route.gpx"}
