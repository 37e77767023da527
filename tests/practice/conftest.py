"""The invented waters, opened once."""

from __future__ import annotations

import pytest

from moonless.boat.file import default_boat
from moonless.boat.types import Boat
from moonless.practice.waters import PracticeWaters, open_waters
from moonless.scene.file import demo_folder


@pytest.fixture(scope="session")
def boat() -> Boat:
    return default_boat()


@pytest.fixture(scope="session")
def waters(boat: Boat) -> PracticeWaters:
    return open_waters([demo_folder() / "waters.gpkg"], boat.draught_m)
