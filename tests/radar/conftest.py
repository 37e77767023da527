"""A made coast, and the real harbour where there is one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import shapely

from moonless.radar.environment.heights import LandDefaults
from moonless.radar.world import World

DATA = Path(os.environ.get("MOONLESS_DATA", Path(__file__).parents[2].parent / "shared" / "data"))


@pytest.fixture(scope="session")
def coast() -> World:
    """An island north of the antenna and a spit to the east, open water elsewhere; smooth land."""
    island = shapely.Point(0.0, 1200.0).buffer(250.0)
    spit = shapely.box(900.0, -600.0, 1000.0, 100.0)
    return World.of_land(shapely.MultiPolygon([island, spit]), radius_m=4000.0, defaults=LandDefaults(rough_m=0.0))


@pytest.fixture(scope="session")
def open_water() -> World:
    return World.of_land(shapely.MultiPolygon(), radius_m=4000.0)


@pytest.fixture(scope="session")
def harbour(tmp_path_factory: pytest.TempPathFactory):
    """The chart round a berth of the real harbour cell; skipped, visibly, without the data."""
    cell = DATA / "enc" / "US5MA11M"
    if not cell.is_dir():
        pytest.skip(f"no real charts at {DATA}")
    from moonless.chart.library import Chart

    chart = Chart.open([cell], cache_dir=tmp_path_factory.mktemp("chart"))
    return chart.around(42.3527, -71.0350, 6000.0)
