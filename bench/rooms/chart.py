"""How long charts take to open, cold and from the kept index, and to be cut around a place.  Both real cells.

``chart.cold``: read through GDAL with updates, indexed, kept.  ``chart.warm``: opened from the kept index.
``chart.around``: the harbour within 6 km, every feature, from decoded shapes, at a place never asked before (median);
``chart.first_around``: the first time after opening, when shapes are decoded too.  ``chart.land``, ``chart.marks``: put
together from such a cut.  ``chart.first_tile``: the harbour's tile of zoom 12 as the screens get it, nothing of it
worked out before; ``chart.tile``: one of zoom 13 out of a block that is (median of those over the harbour).  Nothing is
measured, and that is said, where the real cells are absent.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

from bench.result import Result
from moonless.chart.drawn.grid import tiles_over
from moonless.chart.drawn.maker import TileMaker
from moonless.chart.library import Chart
from moonless.clock import steady_s

NAMES = (
    "chart.cold", "chart.warm", "chart.first_around", "chart.around", "chart.land", "chart.marks",
    "chart.first_tile", "chart.tile",
)  # fmt: skip
# In the harbour of US5MA11M.
_LAT, _LON, _RADIUS_M = 42.355, -71.04, 6000.0
_COLD_RUNS, _RUNS = 3, 15


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the figures asked for."""
    default = Path(__file__).parents[3] / "shared" / "data"
    cells = Path(os.environ.get("MOONLESS_DATA", default)) / "enc"
    if not cells.is_dir():
        print(f"chart: nothing measured, no real cells at {cells}; set MOONLESS_DATA", file=sys.stderr)
        return
    with tempfile.TemporaryDirectory() as folder:
        cache = Path(folder)
        Chart.open([cells], cache_dir=cache)  # so that libraries are loaded
        if "chart.cold" in names:
            yield Result("chart.cold", min(_cold(cells, cache / f"{i}") for i in range(_COLD_RUNS)), "s")
        if "chart.warm" in names:
            yield Result("chart.warm", _best(lambda: Chart.open([cells], cache_dir=cache)), "s")
        if "chart.first_around" in names:
            yield Result("chart.first_around", min(_first(cells, cache) for _ in range(_COLD_RUNS)) * 1e3, "ms")
        chart = Chart.open([cells], cache_dir=cache)
        chart.around(_LAT, _LON, _RADIUS_M)
        # A metre on each time, so that nothing is answered from what was asked before.
        places = [(_LAT + 1e-5 * i, _LON) for i in range(1, _RUNS + 1)]
        if "chart.around" in names:
            yield Result("chart.around", _median([lambda p=p: chart.around(*p, _RADIUS_M).table for p in places]), "ms")
        cuts = [chart.around(*p, _RADIUS_M) for p in places]
        for cut in cuts:
            _ = cut.table
        if "chart.land" in names:
            yield Result("chart.land", _median([lambda c=c: c.land for c in cuts]), "ms")
        if "chart.marks" in names:
            yield Result("chart.marks", _median([lambda c=c: c.marks for c in cuts]), "ms")
        if {"chart.first_tile", "chart.tile"} & set(names):
            yield from (result for result in _tiles(chart) if result.name in names)


def _tiles(chart: Chart) -> Iterator[Result]:
    (tile,) = tiles_over((_LON, _LAT, _LON, _LAT), 12)
    first = min(_seconds(partial(TileMaker(chart).make, tile)) for _ in range(_COLD_RUNS))
    yield Result("chart.first_tile", first * 1e3, "ms")
    maker = TileMaker(chart)
    tiles = tiles_over((_LON - 0.05, _LAT - 0.02, _LON + 0.05, _LAT + 0.02), 13)
    maker.make(tiles[0])
    yield Result("chart.tile", _median([partial(maker.make, one) for one in tiles]), "ms")


def _seconds(work: Callable[[], object]) -> float:
    start = steady_s()
    work()
    return steady_s() - start


def _cold(cells: Path, cache: Path) -> float:
    return _seconds(lambda: Chart.open([cells], cache_dir=cache))


def _first(cells: Path, cache: Path) -> float:
    chart = Chart.open([cells], cache_dir=cache)
    return _seconds(lambda: chart.around(_LAT, _LON, _RADIUS_M).table)


def _best(work: Callable[[], object]) -> float:
    return min(_seconds(work) for _ in range(_RUNS))


def _median(works: Sequence[Callable[[], object]]) -> float:
    return statistics.median(_seconds(work) for work in works) * 1e3
