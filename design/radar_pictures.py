"""Make the six pictures of docs/radar-model.md: two real cells and the demo waters, calm and rough.

The real cells are found through MOONLESS_DATA; without them their pictures are left as they are, and it says so.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from moonless.boat import GENERIC_SETS
from moonless.chart.library import Chart
from moonless.radar.drawn import SeaMemory, drawn_scan
from moonless.radar.picture import render
from moonless.radar.types import RadarPose, RainCell, ScanGrid, Weather
from moonless.radar.world import World

ROOT = Path(__file__).parents[1]
DATA = Path(os.environ.get("MOONLESS_DATA", ROOT.parent / "shared" / "data"))
OUT = ROOT / "docs" / "pictures"


@dataclass(frozen=True)
class View:
    """One picture.  Showers: (east m, north m, radius m, mm/h) from the boat."""

    file: str
    chart: Path
    place: tuple[float, float]
    heading_deg: float
    scale_nm: float
    is_rough: bool
    showers: tuple[tuple[float, float, float, float], ...] = ()


HARBOUR, BAY = DATA / "enc" / "US5MA11M", DATA / "enc" / "US4MD81M"
DEMO = ROOT / "src" / "moonless" / "data" / "demo" / "waters.gpkg"
VIEWS = (
    View("bridge-0.25nm-calm", DEMO, (-12.41288, -118.27011), 108.0, 0.25, False),
    View("harbour-0.75nm-calm", HARBOUR, (42.3527, -71.0350), 110.0, 0.75, False),
    View("roads-1.5nm-calm", HARBOUR, (42.3400, -70.9850), 290.0, 1.5, False),
    View("roads-1.5nm-rough", HARBOUR, (42.3400, -70.9850), 290.0, 1.5, True, ((1200.0, 900.0, 500.0, 12.0),)),
    View("bay-3nm-calm", BAY, (38.972, -76.395), 20.0, 3.0, False),
    View("bay-6nm-rough", BAY, (38.972, -76.395), 20.0, 6.0, True,
         ((-1500.0, -2200.0, 1500.0, 8.0), (4200.0, 1500.0, 2200.0, 20.0))),
)  # fmt: skip


def main() -> None:
    """Make every picture whose chart is there."""
    OUT.mkdir(parents=True, exist_ok=True)
    radar = GENERIC_SETS["small radome"]
    for view in VIEWS:
        if not view.chart.exists():
            print(f"{view.file}: no chart at {view.chart}, left as it is")
            continue
        chart = Chart.open([view.chart]).around(*view.place, 1.2 * view.scale_nm * 1852.0 + 500.0)
        world = World.from_chart(chart)
        east, north = (float(v) for v in chart.frame.to_plane(*view.place))
        rain = tuple(RainCell(east + e, north + n, radius, rate) for e, n, radius, rate in view.showers)
        # Calm: ripples of 10 cm.  Rough: sea state 4, wind from 60 degrees.
        weather = Weather(1.9, math.radians(60.0), 9.0, 0.0, rain) if view.is_rough else Weather(0.1, 0.0, 2.0)
        heading = math.radians(view.heading_deg)
        cell_m = view.scale_nm * 1852.0 / 1024
        grid = ScanGrid(2048, 1024, cell_m, cell_m)
        pose = RadarPose(east, north, heading)
        rng = np.random.default_rng(1)
        counts = drawn_scan(world, radar, pose, grid, view.scale_nm, weather, rng=rng, memory=SeaMemory())
        words = "sea state 4, rain" if view.is_rough else "calm"
        image = render(counts, grid, view.scale_nm, heading, f"predicted, {view.scale_nm:g} NM, {words}", size=560)
        # Few colours are in it; a palette makes it small.
        image.quantize(48).save(OUT / f"{view.file}.png", optimize=True)
        print(view.file)


if __name__ == "__main__":
    main()
