"""Layers to draw: GeoJSON, every key present, nothing made up."""

from __future__ import annotations

import json
from typing import Any

import pytest
import shapely
import shapely.geometry
from made_charts import ORIGIN

from moonless.chart.library import Chart
from moonless.chart.tiles import layers_around
from moonless.errors import NoCoverage

KEYS = {
    "land", "shoreline", "depth_areas", "depth_contours", "soundings", "marks", "lights", "bridges", "cables",
    "structures", "restricted", "dangers", "fairways", "coverage",
}  # fmt: skip


@pytest.fixture(scope="module")
def layers(waters: Chart) -> dict[str, Any]:
    return layers_around(waters, ORIGIN.lat_deg, ORIGIN.lon_deg, 5000.0)


def test_every_layer_is_there_and_is_geojson(layers: dict[str, Any]) -> None:
    assert set(layers) == KEYS
    for name, layer in json.loads(json.dumps(layers, allow_nan=False)).items():
        assert layer["type"] == "FeatureCollection", name
        for feature in layer["features"]:
            assert feature["type"] == "Feature"
            assert "object" in feature["properties"]
            shape = shapely.geometry.shape(feature["geometry"])
            assert shape.is_valid and not shape.is_empty
            west, south, east, north = shape.bounds
            assert -40.1 < west <= east < -39.9 and 19.9 < south <= north < 20.1


def test_what_is_drawn_says_what_it_is(layers: dict[str, Any]) -> None:
    marks = {f["properties"]["object"]: f["properties"] for f in layers["marks"]["features"]}
    assert marks["BCNLAT"]["name"] == "Channel Beacon 1"
    assert marks["BCNLAT"]["lit"] and marks["BCNLAT"]["light"] == "Fl G 4s 5m 4M"
    assert marks["BCNLAT"]["colour"] == [4] and marks["BCNLAT"]["height"] == 5.0
    assert "height" not in marks["PILPNT"] and "name" not in marks["PILPNT"]
    assert [f["properties"]["text"] for f in layers["lights"]["features"]] == ["Fl G 4s 5m 4M"]
    assert sorted(f["properties"]["DEPTH"] for f in layers["soundings"]["features"]) == [4.1, 6.2]
    areas = [f["properties"] for f in layers["depth_areas"]["features"]]
    assert [a for a in areas if a["object"] == "UNSARE"] and all(
        "DRVAL1" not in a for a in areas if a["object"] == "UNSARE"
    )
    assert {f["properties"]["object"] for f in layers["dangers"]["features"]} == {"UWTROC"}
    assert len(layers["bridges"]["features"]) == 2


def test_places_are_where_they_were(layers: dict[str, Any]) -> None:
    (beacon,) = [f for f in layers["marks"]["features"] if f["properties"]["object"] == "BCNLAT"]
    lon, lat = beacon["geometry"]["coordinates"]
    east, north = ORIGIN.to_plane(lat, lon)
    assert (east, north) == pytest.approx((500.0, 0.0), abs=0.02)


def test_outside_there_is_nothing_to_draw(waters: Chart) -> None:
    with pytest.raises(NoCoverage):
        layers_around(waters, 0.0, 0.0, 5000.0)
