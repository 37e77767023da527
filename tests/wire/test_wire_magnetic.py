"""Magnetic variation against the model's own published test values (NOAA/NCEI, public domain)."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest

from moonless.units import utc_to_ns
from moonless.wire.magnetic import decimal_year, variation_at, variation_deg


@pytest.mark.data
@pytest.mark.parametrize("table", ["WMM2025_TEST_VALUES.txt", "WMM2020_TEST_VALUES.txt"])
def test_published_values(data_dir: Path, table: str) -> None:
    # Fields: year, height km, latitude, longitude, declination (printed to 0.01 degrees), ...
    checked = 0
    for line in (data_dir / "magnetic" / table).read_text().splitlines():
        if line.startswith("#") or not line.strip():
            continue
        year, height, lat, lon, declination = (float(x) for x in line.split()[:5])
        if year == 2025.0 and "2020" in table:
            continue  # the next edition's first day
        got = variation_deg(lat, lon, year, height)
        assert abs(math.remainder(got - declination, 360.0)) <= 0.0051, line
        checked += 1
    assert checked >= 90


def test_decimal_year() -> None:
    assert decimal_year(utc_to_ns(datetime(2027, 1, 1, tzinfo=UTC))) == 2027.0
    assert decimal_year(utc_to_ns(datetime(2028, 7, 2, tzinfo=UTC))) == pytest.approx(2028.5, abs=1e-9)


def test_grid_stays_close_to_the_model() -> None:
    moment = utc_to_ns(datetime(2027, 3, 4, 5, tzinfo=UTC))
    for lat, lon in ((10.123, 20.456), (-45.6, 170.01), (60.007, -150.003)):
        exact = variation_deg(lat, lon, decimal_year(moment))
        assert math.degrees(variation_at(lat, lon, moment)) == pytest.approx(exact, abs=0.02)


def test_a_date_past_the_last_edition_is_answered_by_it() -> None:
    assert math.isfinite(variation_deg(10.0, 20.0, 2033.5))
