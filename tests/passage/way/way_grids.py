"""A way's grid of squares over invented water, for checks of it by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from moonless.chart.dangers.closed import Closed
from moonless.frames import LocalFrame
from moonless.passage.way.grid import WaterGrid

# Of the south-west corner, and a square's side: metres.
WEST, SOUTH, CELL = -120.0, 45.0, 8.0


def grid_of(is_open: np.ndarray, cell_m: float = CELL, **more: Any) -> WaterGrid:
    """Return the grid with these squares open; ``more``: what its water is closed against, and how far it keeps off."""
    none = Closed(np.zeros(0, dtype=object), np.zeros(0))
    water: Any = SimpleNamespace(
        closed=SimpleNamespace(against=more.get("against", none), against_tight=more.get("tight", none)),
        keep_off_m=more.get("keep_off_m", 50.0), dangers=None, frame=LocalFrame(10.0, -140.0), keep_outs=(),
    )  # fmt: skip
    return WaterGrid(water, WEST, SOUTH, cell_m, is_open, more.get("is_tight", False))
