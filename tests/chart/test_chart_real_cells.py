"""The two real cells, read whole: as GDAL counts them, as published, and refused when cut."""

from __future__ import annotations

import shutil
import warnings
from pathlib import Path

import numpy as np
import pyogrio
import pyogrio.raw
import pytest
import shapely

from moonless.chart.around import boxes_about
from moonless.chart.library import Chart
from moonless.chart.lights import lights_of
from moonless.errors import ChartError, NoCoverage
from moonless.frames import LocalFrame

pytestmark = pytest.mark.data

CELLS = ("US5MA11M", "US4MD81M")
# Middle of each cell, and a radius that holds all of it.
WHOLE = {"US5MA11M": (42.373882, -71.03266, 12_000.0), "US4MD81M": (38.7, -76.30619, 60_000.0)}
OPTIONS = {"UPDATES": "APPLY", "SPLIT_MULTIPOINT": "ON", "ADD_SOUNDG_DEPTH": "ON", "RETURN_PRIMITIVES": "OFF"}


def _gdal_counts(path: Path) -> dict[str, int]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return {
            name: pyogrio.read_info(path, layer=name, force_feature_count=True, **OPTIONS)["features"]
            for name, _ in pyogrio.list_layers(path)
            if name != "DSID"
        }


@pytest.mark.parametrize("cell", CELLS)
def test_every_layer_holds_what_gdal_counts(real_chart: Chart, real_cells: Path, cell: str) -> None:
    counted = _gdal_counts(real_cells / cell / f"{cell}.000")
    assert len(counted) > 55
    assert real_chart.counts(cell) == counted


@pytest.mark.parametrize("cell", CELLS)
def test_a_chart_around_all_of_a_cell_shows_all_of_it(real_chart: Chart, real_cells: Path, cell: str) -> None:
    local = real_chart.around(*WHOLE[cell])
    assert [c.name for c in local.cells] == [cell]
    counted = _gdal_counts(real_cells / cell / f"{cell}.000")
    for name, n in counted.items():
        if name.startswith("C_"):  # collections: no place of their own
            continue
        assert len(local.features(name)) == n, name
    assert len(local.table.features) == sum(n for name, n in counted.items() if not name.startswith("C_"))


def test_the_harbour_cell_after_its_updates(real_chart: Chart) -> None:
    # US5MA11M edition 31 with updates 1 to 3; the data's README gives 43 lights (45 before) and 6 restricted areas
    # (5 before).
    counts = real_chart.counts("US5MA11M")
    assert counts["LIGHTS"] == 43
    assert counts["RESARE"] == 6
    cell = next(c for c in real_chart.cells if c.name == "US5MA11M")
    assert (cell.scale, cell.edition, cell.update) == (10_000, 31, 3)
    assert cell.issued == "2016-04-27"
    assert cell.not_for_navigation


def test_without_updates_the_harbour_cell_is_the_older_one(real_cells: Path, tmp_path: Path) -> None:
    shutil.copy(real_cells / "US5MA11M" / "US5MA11M.000", tmp_path)
    chart = Chart.open([tmp_path], cache_dir=tmp_path / "cache")
    assert chart.counts("US5MA11M")["LIGHTS"] == 45
    assert chart.counts("US5MA11M")["RESARE"] == 5
    assert chart.cells[0].update == 0


def test_a_missing_update_is_said(real_cells: Path, tmp_path: Path) -> None:
    for suffix in (".000", ".001", ".003"):
        shutil.copy(real_cells / "US5MA11M" / f"US5MA11M{suffix}", tmp_path)
    chart = Chart.open([tmp_path], cache_dir=tmp_path / "cache")
    assert chart.cells[0].update == 1
    assert any("update 2 is missing" in text for text in chart.warnings)


@pytest.mark.parametrize("share", [0.02, 0.5, 0.999])
def test_a_cut_cell_is_refused(real_cells: Path, tmp_path: Path, share: float) -> None:
    data = (real_cells / "US5MA11M" / "US5MA11M.000").read_bytes()
    cut = tmp_path / "US5MA11M.000"
    cut.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(ChartError, match=r"US5MA11M\.000: is cut short") as caught:
        Chart.open([tmp_path], cache_dir=tmp_path / "cache")
    assert "\n" not in str(caught.value)


def test_a_cell_cut_between_two_records_is_refused(real_cells: Path, tmp_path: Path) -> None:
    data = (real_cells / "US5MA11M" / "US5MA11M.000").read_bytes()
    offset = 0
    while offset < len(data) // 2:
        offset += int(data[offset : offset + 5])
    (tmp_path / "US5MA11M.000").write_bytes(data[:offset])
    with pytest.raises(ChartError, match=r"US5MA11M\.000: is cut short: \d+ [a-z ]+ of the \d+ it says"):
        Chart.open([tmp_path], cache_dir=tmp_path / "cache")


def test_a_cut_update_is_refused_and_the_other_cell_still_opens(real_cells: Path, tmp_path: Path) -> None:
    for file in [*(real_cells / "US5MA11M").glob("US5MA11M.0*"), real_cells / "US4MD81M" / "US4MD81M.000"]:
        shutil.copy(file, tmp_path)
    update = tmp_path / "US5MA11M.002"
    update.write_bytes(update.read_bytes()[:-10])
    chart = Chart.open([tmp_path], cache_dir=tmp_path / "cache")
    assert [cell.name for cell in chart.cells] == ["US4MD81M"]
    assert any("US5MA11M.002: is cut short" in text for text in chart.warnings)


def test_far_from_both_cells_nothing_is_known(real_chart: Chart) -> None:
    with pytest.raises(NoCoverage, match="no chart covers"):
        real_chart.around(20.0, -40.0, 5000.0)


def test_the_bounds_of_a_query_hold_everything_near(real_chart: Chart) -> None:
    lat, lon, radius_m = 42.355, -71.04, 1500.0
    local = real_chart.around(lat, lon, radius_m)
    everything = real_chart.around(*WHOLE["US5MA11M"]).reframed(LocalFrame(lat, lon))
    wanted = {(f.object, f.feature) for f in everything.within(0.0, 0.0, radius_m)}
    assert wanted <= {(f.object, f.feature) for f in local.table.features}
    assert len(boxes_about(lat, lon, radius_m)) == 1


# Read by hand from the attributes of the cell's LIGHTS features and from their positions; the abbreviations follow
# INT 1, section P.  (AGEN-FIDN-FIDS of the feature, text.)
HAND_READ = {
    "US5MA11M": [
        ("550-13534799-4508", "Fl R 4s 4M"),  # COLOUR 3, LITCHR 2, SIGGRP (1), SIGPER 4, VALNMR 4, no HEIGHT
        ("550-904196785-1", "Q G 6m 3M"),  # COLOUR 4, LITCHR 4, SIGGRP (1), SIGPER 1, HEIGHT 6, VALNMR 3
        ("550-102709102-1", "Q R 6m 3M"),  # COLOUR 3, LITCHR 4, SIGGRP (1), SIGPER 1, HEIGHT 6, VALNMR 3
    ],
    "US4MD81M": [("550-32275159-50", "Fl R 4s 5m")],  # COLOUR 3, LITCHR 2, SIGPER 4, HEIGHT 4.6, no VALNMR
}


@pytest.mark.parametrize("cell", CELLS)
def test_lights_read_by_hand(real_chart: Chart, cell: str) -> None:
    local = real_chart.around(*WHOLE[cell])
    texts = {light.sectors[0].feature: light.text for light in lights_of(local.features("LIGHTS"))}
    for feature, text in HAND_READ[cell]:
        assert texts[feature] == text


def test_the_sectors_of_the_shoal_light(real_chart: Chart) -> None:
    # US4MD81M holds one light of four sectors: white 051.5-096.5, red 096.5-202, white 202-011, red 011-051.5.
    local = real_chart.around(*WHOLE["US4MD81M"])
    (light,) = [light for light in lights_of(local.features("LIGHTS")) if len(light.sectors) > 1]
    assert light.text == "Fl WR 5s 13m 16/11M"
    east, north = light.east_m, light.north_m
    # A boat north of the light has it on 180, in the red; one south of it on 000, in the white; west: 090, white.
    assert [s.colours for s in light.seen_from(east, north + 5000.0)] == [(3,)]
    assert [s.colours for s in light.seen_from(east, north - 5000.0)] == [(1,)]
    assert [s.colours for s in light.seen_from(east - 5000.0, north)] == [(1,)]


@pytest.mark.parametrize("cell", CELLS)
def test_every_light_belongs_to_one_mark(real_chart: Chart, cell: str) -> None:
    local = real_chart.around(*WHOLE[cell])
    carried = [light.feature for mark in local.marks for light in mark.lights]
    assert len(carried) == len(set(carried))
    assert set(carried) == {f.feature for f in local.features("LIGHTS")}


def test_quality_follows_the_zones(real_chart: Chart) -> None:
    local = real_chart.around(*WHOLE["US4MD81M"])
    zones = {1: "A1", 2: "A2", 3: "B", 4: "C", 5: "D", 6: "U"}
    asked = 0
    for feature in local.features("M_QUAL"):
        place = shapely.point_on_surface(feature.shape)
        if len(local.in_region(place, "M_QUAL")) == 1:
            assert local.quality_at(place.x, place.y).catzoc == zones[feature.attributes["CATZOC"]]
            asked += 1
    assert asked > 80


def test_land_and_water_do_not_overlap(real_chart: Chart) -> None:
    local = real_chart.around(42.355, -71.04, 4000.0)
    water = shapely.union_all(np.array([f.shape for f in local.features("DEPARE", "DRGARE")], dtype=object))
    shared = shapely.area(shapely.intersection(local.land, water))
    assert shared < 1e-4 * shapely.area(local.land)
    assert shapely.area(local.land) > 1e6


# What marks, land and depths are made of; the rest would only take longer.
MADE = [
    "DSID",
    "M_COVR",
    "M_QUAL",
    "LIGHTS",
    "BCNLAT",
    "BCNSPP",
    "BOYLAT",
    "BOYSPP",
    "DAYMAR",
    "FOGSIG",
    "LNDMRK",
    "MORFAC",
    "PILPNT",
    "OFSPLF",
    "PYLONS",
    "UWTROC",
    "OBSTRN",
    "WRECKS",
    "BRIDGE",
    "SLCONS",
    "PONTON",
    "SOUNDG",
    "DEPARE",
    "LNDARE",
    "HULKES",
]


def test_a_geopackage_made_from_a_cell_is_the_same_chart(real_chart: Chart, real_cells: Path, tmp_path: Path) -> None:
    cell, made = real_cells / "US5MA11M" / "US5MA11M.000", tmp_path / "US5MA11M.gpkg"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, kind in pyogrio.list_layers(cell):
            if name not in MADE:
                continue
            meta, _, wkb, columns = pyogrio.raw.read(cell, layer=name, **OPTIONS, LIST_AS_STRING="ON", LNAM_REFS="OFF")
            pyogrio.raw.write(
                made, wkb, columns, meta["fields"], layer=name, driver="GPKG", append=made.exists(),
                geometry_type=None if kind is None else "Unknown", crs=None if kind is None else "EPSG:4326",
            )  # fmt: skip
    one = real_chart.around(42.355, -71.04, 6000.0)
    other = Chart.open([made], cache_dir=tmp_path / "cache").around(42.355, -71.04, 6000.0)
    assert other.cells[0].scale == 10_000 and other.cells[0].update == 3 and other.cells[0].issued == "2016-04-27"
    ours = {"LNAM", "LNAM_REFS"}
    assert len(one.features(*MADE)) == len(other.table.features) > 7000
    by_name = {(f.object, f.feature.split("/")[0], f.shape.wkb): f for f in other.table.features}
    for feature in one.features(*MADE):
        twin = by_name[feature.object, feature.feature.split("/")[0], feature.shape.wkb]
        known = {k: v for k, v in feature.attributes.items() if k not in ours}
        assert known == dict(twin.attributes), feature
    # Without relations the marks are put together by place alone, and come out the same.
    places = [{(m.object, m.name, round(m.east_m), round(m.north_m), m.lit) for m in c.marks} for c in (one, other)]
    assert places[0] == places[1]
