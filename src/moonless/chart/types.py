"""What the chart answers: features in local metres, with where they came from and how good they are.

`Chart` (in `moonless.chart.library`) opens cells; `LocalChart` (in `moonless.chart.local`) is the part of it around
the boat, projected to one `LocalFrame`.  These are the types the other floors see.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.s57.attributes import Attributes, number
from moonless.units import NS_PER_S, utc_to_ns

Catzoc = Literal["A1", "A2", "B", "C", "D", "U"]


@dataclass(frozen=True, slots=True)
class Cell:
    """One chart cell, or one vector source that serves as one."""

    name: str  # "US5MA11M", or the file's stem
    path: Path
    scale: int  # compilation scale denominator; smaller number: larger scale, preferred
    edition: int
    update: int  # last update applied
    issued: str  # ISO date of the last update or edition, "" if not given
    not_for_navigation: bool  # every cell is, once copied; demo waters say so of themselves
    coverage_lonlat: shapely.Geometry  # M_COVR with CATCOV 1
    sounding_datum: str = ""  # what depths stand below: "MLLW", "LAT" ...; "" where the cell does not say

    def age_days(self, time_ns: int) -> float | None:
        """Return how long ago, at a Unix time, the cell was last issued; None if it does not say."""
        if not self.issued:
            return None
        issued_ns = utc_to_ns(datetime.fromisoformat(self.issued).replace(tzinfo=UTC))
        return (time_ns - issued_ns) / (86_400 * NS_PER_S)


@dataclass(frozen=True, slots=True)
class Feature:
    """One charted thing.  ``shape`` is in the asked frame, metres east/north."""

    object: str  # S-57 object class acronym: "BOYLAT", "LNDARE", ...
    cell: str  # name of the cell it came from
    feature: str  # identifier within the cell: "AGEN-FIDN-FIDS" of LNAM where there is one, else row number
    shape: shapely.Geometry
    attributes: Attributes  # S-57 acronyms; lists for list attributes; absent: not given
    scale: int  # of the cell

    @property
    def name(self) -> str | None:
        """OBJNAM, None if the chart gives none."""
        value = self.attributes.get("OBJNAM")
        return str(value) if value not in (None, "") else None

    def number(self, attribute: str) -> float | None:
        """Return a numeric attribute; None if the chart does not give it."""
        return number(self.attributes, attribute)


@dataclass(frozen=True, slots=True)
class Quality:
    """How good the survey is at a place (M_QUAL); ``catzoc`` is "U" where nothing is said."""

    catzoc: Catzoc
    position_sigma_m: float  # one standard deviation, from the zone's 95 % figure; scale-limited when larger
    cell: str
    scale: int
    plotting_sigma_m: float = math.nan  # of a fixed aid or shore drawn at this scale
    surveyed: str = ""  # ISO date (or year) the survey ended, SUREND; "": not said


@dataclass(frozen=True, slots=True)
class Mark:
    """A charted thing that stands by itself and a radar could show as one echo.

    One mark is one physical thing: a beacon, its light, its topmark and its racon are one mark.
    """

    object: str  # the structure's class: "BCNLAT", "BOYSPP", "PILPNT", "LNDMRK", "OFSPLF", "WRECKS", "UWTROC", ...
    name: str | None
    cell: str
    feature: str
    east_m: float
    north_m: float
    height_m: float | None  # top above high water or the sea surface; None: not charted
    floating: bool  # swings on a mooring
    radar_conspicuous: bool | None  # CONRAD 1 or 3; False: CONRAD 2; None: not said
    has_reflector: bool
    has_racon: bool
    lit: bool
    attributes: Attributes  # of the structure
    lights: tuple[Feature, ...] = ()
    equipment: tuple[Feature, ...] = ()  # what else it carries: topmark, daymark, racon, reflector, fog signal
    scale: int = 0  # of the cell


@dataclass(frozen=True, slots=True)
class Span:
    """One charted piece of a bridge, with its own clearances."""

    name: str | None
    feature: str
    shape: shapely.Geometry  # metres east/north
    clearance_m: float | None  # VERCLR, or VERCCL when closed
    clearance_open_m: float | None  # VERCOP
    width_m: float | None  # HORCLR
    opens: bool
    attributes: Attributes


@dataclass(frozen=True, slots=True)
class Bridge:
    """A fixed or opening bridge: its outline, what passes beneath."""

    name: str | None
    cell: str
    feature: str  # of the span that gives the clearance, else of the first
    shape: shapely.Geometry  # metres east/north, all spans
    clearance_m: float | None  # the least of its spans', VERCLR (fixed) or VERCCL (closed); above the datum of heights
    clearance_open_m: float | None  # VERCOP, the least of the opening spans'
    opens: bool
    attributes: Attributes
    spans: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class FeatureTable:
    """Features in radius as parallel columns, for floors that loop in kernels."""

    objects: NDArray[np.str_]  # (n,)
    shapes: NDArray[np.object_]  # (n,) shapely geometries, metres east/north
    features: tuple[Feature, ...]
