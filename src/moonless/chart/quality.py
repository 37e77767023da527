"""How good the survey is, and how well the place of a charted thing is known.

A zone's position figure holds at 95 % and is 2.45 standard deviations of each axis (a circular normal error lies
within 2.45 sigma in 95 % of cases: sqrt(-2 ln 0.05) = 2.4477).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely

from moonless.chart.types import Catzoc, Cell, Feature, Quality
from moonless.errors import NoCoverage

# CATZOC codes 1..6: IHO S-57 edition 3.1, appendix A, chapter 2, attribute 72.
_ZONES: dict[int, Catzoc] = {1: "A1", 2: "A2", 3: "B", 4: "C", 5: "D", 6: "U"}
_WORST_FIRST: tuple[Catzoc, ...] = ("U", "D", "C", "B", "A2", "A1")
# Metres at 95 %: the zones of confidence table of S-57 appendix A, chapter 2, CATZOC (C from memory).
# A1 adds 5 % of the depth.
_POSITION_95_M: dict[Catzoc, float] = {"A1": 5.0, "A2": 20.0, "B": 50.0, "C": 500.0}
A1_SHARE_OF_DEPTH = 0.05
# "Worse than C" is all the table says of D; twice C is our own choice.
_POSITION_95_M["D"] = 1000.0
SIGMAS_AT_95 = math.sqrt(-2.0 * math.log(0.05))
# How well anything can be drawn and read off a chart.  Common practice, no source.
PLOTTING_M_PER_SCALE = 0.3e-3
# Unassessed: no figure is published; a millimetre at the chart's scale is our own choice.
UNASSESSED_M_PER_SCALE = 1.0e-3


def plotting_sigma_m(scale: int) -> float:
    """Return how far off, one sigma, a thing may be merely because of the scale it was drawn at."""
    return PLOTTING_M_PER_SCALE * scale


def quality_of(place: shapely.Point, here: Sequence[Feature], covered: bool, cells: Sequence[Cell]) -> Quality:
    """Return the quality at a place from the features that hold there.

    Raises NoCoverage if the chart does not cover the place.
    """
    if not covered:
        raise NoCoverage(f"no chart covers the place {place.x:.0f} m east, {place.y:.0f} m north of the frame's origin")
    areas = [f for f in here if shapely.get_dimensions(f.shape) == 2]
    zones = [f for f in areas if f.object == "M_QUAL"]
    if not zones:
        cell, scale = _cell_here(place, areas, cells)
        return Quality("U", _sigma_m("U", None, None, scale), cell, scale, plotting_sigma_m(scale))
    # Zones of one cell should not overlap; where they do, the worse one is believed.
    worst = min(zones, key=lambda f: _WORST_FIRST.index(_zone(f)))
    depths = [d for f in areas if f.object in ("DEPARE", "DRGARE") if (d := f.number("DRVAL1")) is not None]
    sigma = _sigma_m(_zone(worst), worst.number("POSACC"), max(depths, default=None), worst.scale)
    plotting = plotting_sigma_m(worst.scale)
    return Quality(_zone(worst), sigma, worst.cell, worst.scale, plotting, _surveyed(worst))


def _zone(feature: Feature) -> Catzoc:
    return _ZONES.get(int(feature.number("CATZOC") or 6), "U")


def _surveyed(feature: Feature) -> str:
    """Return SUREND, written CCYYMMDD, CCYYMM or CCYY, as ISO."""
    digits = str(feature.attributes.get("SUREND", ""))
    return "-".join(part for part in (digits[:4], digits[4:6], digits[6:8]) if part) if digits.isdigit() else ""


def _sigma_m(zone: Catzoc, stated_95_m: float | None, depth_m: float | None, scale: int) -> float:
    """``stated_95_m``: POSACC of the survey, taken at 95 % as well."""
    if stated_95_m is not None and stated_95_m > 0.0:
        survey = stated_95_m / SIGMAS_AT_95
    elif zone == "U":
        survey = UNASSESSED_M_PER_SCALE * scale
    else:
        at_95 = _POSITION_95_M[zone]
        if zone == "A1":
            at_95 += A1_SHARE_OF_DEPTH * max(depth_m or 0.0, 0.0)
        survey = at_95 / SIGMAS_AT_95
    return max(survey, plotting_sigma_m(scale))


def _cell_here(place: shapely.Point, areas: Sequence[Feature], cells: Sequence[Cell]) -> tuple[str, int]:
    """Name the cell that holds a place: by what it shows there, else the smallest scale of all (the most careful)."""
    for feature in areas:
        return feature.cell, feature.scale
    coarsest = max(cells, key=lambda cell: cell.scale)
    return coarsest.name, coarsest.scale
