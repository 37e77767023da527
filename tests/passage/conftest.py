"""A small made chart, written as S-57 layers: island, shoal, bridge, rock, restricted area, two beacons."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pyogrio.raw
import pytest
import shapely

from moonless.boat.file import default_boat
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.frames import LocalFrame

FRAME = LocalFrame(10.0, -140.0)  # open ocean, far from any land


def _lonlat(shape: shapely.Geometry) -> shapely.Geometry:
    def turn(xy: np.ndarray) -> np.ndarray:
        lat, lon = FRAME.to_geographic(xy[:, 0], xy[:, 1])
        return np.column_stack([lon, lat])

    return shapely.transform(shape, turn)


def _box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    return shapely.box(west, south, east, north)


# Metres east and north of 10 N 140 W.  A run along north = 0 from west to east meets only what lies on it.
LAYERS: dict[str, tuple[list[shapely.Geometry], dict[str, list[object]]]] = {
    "M_COVR": ([_box(-6000, -6000, 6000, 6000)], {"CATCOV": [1]}),
    "M_QUAL": ([_box(-6000, -6000, 6000, 6000)], {"CATZOC": [1]}),
    "DEPARE": (
        [_box(-6000, -6000, 6000, 2000), _box(-6000, 2000, 6000, 3000), _box(-6000, 3000, 6000, 6000)],
        {"DRVAL1": [20.0, 0.5, 20.0], "DRVAL2": [50.0, 5.0, 50.0]},
    ),
    "LNDARE": ([_box(500, 300, 1500, 900)], {"OBJNAM": ["Test Cay"]}),
    "RESARE": ([_box(-500, -3000, 500, -2500)], {"OBJNAM": ["Nursery"], "RESTRN": ["7"]}),
    "BRIDGE": (
        [shapely.LineString([(2000, -1500), (2000, -1100)])],
        {"OBJNAM": ["Low Bridge"], "VERCLR": [3.0], "CATBRG": ["1"]},
    ),
    "UWTROC": ([shapely.Point(-2000, 0)], {"VALSOU": [np.nan], "WATLEV": [3]}),
    "BCNLAT": ([shapely.Point(0, 150), shapely.Point(3000, 100)], {"OBJNAM": ["One", "Two"]}),
    "LIGHTS": (
        [shapely.Point(3000, 100)],
        {
            "LITCHR": [2],
            "SIGPER": [4.0],
            "SIGGRP": ["(1)"],
            "COLOUR": ["4"],
            "VALNMR": [3.0],
            "HEIGHT": [5.0],
            "SECTR1": [45.0],
            "SECTR2": [135.0],
        },
    ),
}


Layers = Mapping[str, tuple[list[shapely.Geometry], Mapping[str, list[object]]]]


def _write(path: Path, layers: Layers) -> None:
    for layer, (shapes, columns) in layers.items():
        pyogrio.raw.write(
            path,
            geometry=shapely.to_wkb(np.array([_lonlat(s) for s in shapes], dtype=object)) if shapes else None,
            field_data=[np.array(v, dtype=object if isinstance(v[0], str) else None) for v in columns.values()],
            fields=list(columns),
            layer=layer,
            driver="GPKG",
            geometry_type=shapes[0].geom_type if shapes else None,
            crs="EPSG:4326" if shapes else None,
            append=path.exists(),
        )


@pytest.fixture(scope="session")
def made_chart(tmp_path_factory: pytest.TempPathFactory) -> Chart:
    """Return the chart described above."""
    path: Path = tmp_path_factory.mktemp("chart") / "made.gpkg"
    _write(path, LAYERS)
    return Chart.open([path], cache_dir=tmp_path_factory.mktemp("cache"))


@pytest.fixture
def chart_with(tmp_path: Path) -> Callable[[Layers], Chart]:
    """Return a function that makes the same waters with some layers put in the place of theirs."""

    def make(layers: Layers) -> Chart:
        path = tmp_path / "with.gpkg"
        _write(path, {**LAYERS, **layers})
        return Chart.open([path], cache_dir=tmp_path / "cache")

    return make


@pytest.fixture(scope="session")
def boat() -> Boat:
    """Return an ordinary boat."""
    return default_boat()
