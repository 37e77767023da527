"""Where the chart lies and what it is made of, in the form the screens read: TileJSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import shapely
import shapely.geometry

from moonless.chart.drawn import what
from moonless.chart.drawn.maker import chart_key
from moonless.chart.drawn.store import VECTOR_LAYERS
from moonless.chart.library import Chart
from moonless.helm.process.events import ChartReady

# Coverage is drawn by the tiles; the screens use this outline only to say where there is none: a hundredth of a mile.
_OUTLINE_DEG = 1.7e-4


def chart_ready(chart: Chart, paths: Sequence[Path]) -> ChartReady:
    """Return where a chart lies and what it is made of: TileJSON 3.0 with the cells and their coverage beside."""
    cover = shapely.union_all([cell.coverage_lonlat for cell in chart.cells], grid_size=1e-7)
    outline = shapely.simplify(cover, _OUTLINE_DEG)
    key = chart_key(chart)
    body = {
        "tilejson": "3.0.0",
        "key": key,
        "tiles": [f"chart/{key}/{{z}}/{{x}}/{{y}}.mvt"],
        "minzoom": what.MIN_ZOOM,
        "maxzoom": what.MAX_ZOOM,
        "bounds": list(cover.bounds),
        "vector_layers": VECTOR_LAYERS,
        "cells": [
            {
                "name": cell.name,
                "scale": cell.scale,
                "issued": cell.issued,
                "not_for_navigation": cell.not_for_navigation,
            }
            for cell in chart.cells
        ],
        "coverage": shapely.geometry.mapping(outline),
    }
    text = json.dumps(body, separators=(",", ":"), ensure_ascii=False).encode()
    return ChartReady(key, text, tuple(paths))
