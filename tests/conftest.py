"""What every room's tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# A busy machine makes no example wrong: only what is found decides, never how long it took.
settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")

REPO = Path(__file__).parents[1]


@pytest.fixture(scope="session")
def data_dir() -> Path:
    """Return the folder of real charts, logs and tables; skip, visibly, where there is none."""
    folder = Path(os.environ.get("MOONLESS_DATA", REPO.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip(f"real data not found at {folder}; set MOONLESS_DATA")
    return folder
