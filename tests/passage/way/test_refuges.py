"""Where one can break off to: anchorages that are for her and deep enough, and yacht harbours."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.passage.way.refuges import refuge_words, refuges_beside
from moonless.passage.way.route import Route, Waypoint

FRAME = LocalFrame(10.0, -140.0)
ChartWith = Callable[[dict[str, Any]], Chart]
SEA = {"DEPARE": ([shapely.box(-6000, -6000, 6000, 2000), shapely.box(-6000, 2000, 6000, 6000)],
                  {"DRVAL1": [20.0, 0.5], "DRVAL2": [50.0, 2.0]})}  # fmt: skip


def _told(chart: Chart, boat: Boat) -> list[str]:
    """What lies beside a leg two kilometres east along a line 200 m south of the bank."""
    ends = [FRAME.to_geographic(east, 1800.0) for east in (-1000.0, 1000.0)]
    (leg,) = Route("", tuple(Waypoint(f"W{n}", float(lat), float(lon)) for n, (lat, lon) in enumerate(ends))).legs
    local = chart.around(*leg.at(1000.0), 4000.0, frame=FRAME)
    return [refuge_words(refuge) for refuge in refuges_beside(leg, local, boat)]


@pytest.mark.parametrize(
    ("layer", "shape", "given", "told"),
    [
        ("ACHARE", shapely.box(-300, 1200, 300, 1600), {"CATACH": ["1"]}, ["anchorage Bight, 200 m to starboard"]),
        ("ACHARE", shapely.box(-300, 1700, 300, 1900), {"CATACH": ["7"]}, ["anchorage Bight, on the track"]),
        ("ACHBRT", shapely.Point(0, 1500), {}, ["anchorage Bight, 300 m to starboard"]),
        # S-57 appendix A, CATACH: 3 tanker, 4 explosives, 5 quarantine, 6 sea-plane; RESTRN 1 anchoring prohibited.
        *[("ACHARE", shapely.box(-300, 1200, 300, 1600), {"CATACH": [kind]}, []) for kind in "3456"],
        ("ACHARE", shapely.box(-300, 1200, 300, 1600), {"RESTRN": ["1"]}, []),
        # On the bank there is half a metre at low water; farther off than half a mile none is told.
        ("ACHARE", shapely.box(-300, 2100, 300, 2500), {"CATACH": ["1"]}, []),
        ("ACHARE", shapely.box(-300, 0, 300, 800), {"CATACH": ["1"]}, []),
        # Too narrow to swing in.
        ("ACHARE", shapely.box(-300, 1500, 300, 1540), {"CATACH": ["1"]}, []),
        # CATHAF 5 yacht harbour, 7 tanker terminal.
        ("HRBFAC", shapely.Point(0, 2300), {"CATHAF": ["5"]}, ["harbour Bight, 500 m to port"]),
        ("HRBFAC", shapely.Point(0, 2300), {"CATHAF": ["7"]}, []),
    ],
)
def test_refuges(
    chart_with: ChartWith, boat: Boat, layer: str, shape: shapely.Geometry, given: dict[str, list[str]], told: list[str]
) -> None:
    assert boat.draught_m + boat.skipper.depth_margin_m == pytest.approx(1.4)
    assert _told(chart_with({**SEA, layer: ([shape], {"OBJNAM": ["Bight"], **given})}), boat) == told
