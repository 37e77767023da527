"""Made screens for the tests: invented layouts, made echoes, a camera that was not there."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench.screens.echoes import made_echo
from bench.screens.layouts import LAYOUTS, Layout
from bench.screens.screen import Screen, Shown, draw_screen
from numpy.typing import NDArray


@pytest.fixture(scope="session")
def echo() -> NDArray[np.uint8]:
    """A made turn: 26 point targets, a coast, sea clutter, noise."""
    return made_echo(0)


@pytest.fixture(scope="session")
def layout() -> dict[str, Layout]:
    """The invented layouts by name."""
    return {one.name: one for one in LAYOUTS}


@pytest.fixture(scope="session")
def steep(echo: NDArray[np.uint8], layout: dict[str, Layout]) -> Screen:
    """One screen, head-up, 3 NM."""
    return draw_screen(layout["steep"], Shown(echo, 3.0, math.radians(40.0), math.radians(36.0)))
