"""The maker of the waters, importable; the waters themselves, opened once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from moonless.chart.library import Chart
from moonless.scene.story import demo_chart, open_demo

sys.path.insert(0, str(Path(__file__).parents[2] / "demo"))


@pytest.fixture(scope="session")
def made() -> Any:
    """Return (features, ground) as the maker builds them."""
    import make_waters

    return make_waters.build()


@pytest.fixture(scope="session")
def rebuilt(made: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of the waters as the maker writes it."""
    from waters.layers import write

    path = tmp_path_factory.mktemp("rebuilt") / "waters.gpkg"
    write(made[0], path)
    return path


@pytest.fixture(scope="session")
def local(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Return the shipped waters, whole, in the scene's own frame."""
    frame = open_demo().frame
    chart = Chart.open([demo_chart()], cache_dir=tmp_path_factory.mktemp("charts"))
    return chart.around(frame.lat_deg, frame.lon_deg, 11_000.0, frame=frame)
