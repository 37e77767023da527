"""Small scenes for the tests of the scene room."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from moonless.scene.file import scene_from_dict
from moonless.scene.types import Scene

OPEN_SEA: dict[str, Any] = {
    "scene": {"name": "open sea", "seed": 5, "duration_s": 10.0, "origin": [-12.4, -118.3]},
    "radar": {"scale_nm": 0.75, "spokes": 256, "cells": 200},
    "own": {"start_m": [0, 0], "heading_deg": 45, "speed_kn": 10},
}


@pytest.fixture
def make_scene(tmp_path: Path) -> Any:
    """Return a maker of scenes: the open sea with tables replaced or added."""
    import copy
    from datetime import UTC, datetime

    def make(**tables: Any) -> Scene:
        found = copy.deepcopy(OPEN_SEA)
        found["scene"]["start"] = datetime(2028, 3, 1, 5, 0, tzinfo=UTC)
        for name, value in tables.items():
            found[name] = {**found.get(name, {}), **value} if isinstance(value, dict) else value
        return scene_from_dict(found, tmp_path / "scene.toml")

    return make
