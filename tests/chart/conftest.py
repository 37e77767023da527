"""The made chart and the real cells, opened once."""

from __future__ import annotations

from pathlib import Path

import pytest
from made_charts import WATERS, write_chart

from moonless.chart.library import Chart


@pytest.fixture(scope="session")
def waters_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_chart(tmp_path_factory.mktemp("waters") / "cays.gpkg", WATERS)


@pytest.fixture(scope="session")
def waters(waters_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Chart:
    return Chart.open([waters_file], cache_dir=tmp_path_factory.mktemp("cache"))


@pytest.fixture(scope="session")
def real_cells(data_dir: Path) -> Path:
    """Return the folder of the real cells."""
    return data_dir / "enc"


@pytest.fixture(scope="session")
def real_chart(real_cells: Path, tmp_path_factory: pytest.TempPathFactory) -> Chart:
    # The two that the checks know by their counts: other cells may lie beside them, and overlap.
    cells = [real_cells / "US5MA11M", real_cells / "US4MD81M"]
    return Chart.open(cells, cache_dir=tmp_path_factory.mktemp("real-cache"))
