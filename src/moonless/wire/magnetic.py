"""Magnetic variation from the World Magnetic Model, so that a compass heading becomes a true one.

Source: NOAA/NCEI and British Geological Survey, The US/UK World Magnetic Model, editions 2010 to 2025; computed by
pygeomag.  An edition serves five years; a date outside every edition is answered by the nearest one, whose error
grows by very roughly a tenth of a degree a year at middle latitudes (common practice, no source).
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from functools import lru_cache

from pygeomag import GeoMag

from moonless.units import ns_to_utc

# Edition -> coefficient file of pygeomag, newest first.  An edition is valid from its year for five years.
_EDITIONS = (
    (2025, "wmm/WMM_2025.COF"),
    (2020, "wmm/WMM_2020.COF"),
    (2015, "wmm/WMM_2015v2.COF"),
    (2010, "wmm/WMM_2010.COF"),
)
# Variation is asked for on a grid this fine (degrees, decimal years): it changes by less than 0.01 degrees within.
_GRID_DEG = 0.02
_GRID_YEAR = 1.0 / 24.0


def decimal_year(time_ns: int) -> float:
    """Return a Unix time as a year and its fraction."""
    moment = ns_to_utc(time_ns)
    begin = datetime(moment.year, 1, 1, tzinfo=UTC)
    return moment.year + (moment - begin) / (datetime(moment.year + 1, 1, 1, tzinfo=UTC) - begin)


def variation_deg(lat_deg: float, lon_deg: float, year: float, altitude_km: float = 0.0) -> float:
    """Return the magnetic variation (declination), degrees, positive east: true = magnetic + variation."""
    edition = next((e for e, _ in _EDITIONS if year >= e), _EDITIONS[-1][0])
    result = _model(edition).calculate(lat_deg, lon_deg, altitude_km, year, allow_date_outside_lifespan=True)
    return float(result.d)


def variation_at(lat_deg: float, lon_deg: float, time_ns: int) -> float:
    """Return the variation, radians, positive east, at sea level; remembered on a fine grid."""
    return math.radians(
        _gridded(round(lat_deg / _GRID_DEG), round(lon_deg / _GRID_DEG), round(decimal_year(time_ns) / _GRID_YEAR))
    )


@lru_cache(maxsize=256)
def _gridded(lat: int, lon: int, year: int) -> float:
    return variation_deg(lat * _GRID_DEG, lon * _GRID_DEG, year * _GRID_YEAR)


@lru_cache(maxsize=4)
def _model(edition: int) -> GeoMag:
    return GeoMag(coefficients_file=dict(_EDITIONS)[edition])
