"""Conversions at the edges."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.units import (
    iso_utc,
    kn_to_mps,
    m_to_nm,
    mps_to_kn,
    nm_to_m,
    ns_to_utc,
    to_distance_unit,
    utc_to_ns,
)


def test_knot_is_a_mile_an_hour() -> None:
    # SI brochure 9th ed. table 8, note: 1 nautical mile = 1852 m, 1 knot = (1852/3600) m/s.
    assert kn_to_mps(1.0) == pytest.approx(0.514_444, abs=0.5e-6)
    assert nm_to_m(1.0) == 1852.0


def test_skippers_units() -> None:
    # NGA Pub. 1310 works in yards: 12 000 yd is 5.92 NM (International yard, 1959).
    assert to_distance_unit(12_000 * 0.9144, "yards") == pytest.approx(12_000)
    assert to_distance_unit(185.2, "cables") == pytest.approx(1.0)
    assert m_to_nm(12_000 * 0.9144) == pytest.approx(5.925, abs=0.5e-3)


@given(st.floats(0, 1e3))
def test_knots_and_back(speed: float) -> None:
    assert kn_to_mps(mps_to_kn(speed)) == pytest.approx(speed)


@given(st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)))
def test_time_and_back(moment: datetime) -> None:
    aware = moment.replace(tzinfo=UTC)
    assert ns_to_utc(utc_to_ns(aware)) == aware


def test_time_stamps() -> None:
    # RFC 3339 section 5.8: 1985-04-12T23:20:50.52Z.
    assert iso_utc(utc_to_ns(datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC))) == "1985-04-12T23:20:50.520Z"
    # The same section: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z.
    west = datetime(1996, 12, 19, 16, 39, 57, tzinfo=timezone(timedelta(hours=-8)))
    assert iso_utc(utc_to_ns(west)) == "1996-12-20T00:39:57.000Z"


def test_a_naive_time_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        utc_to_ns(datetime(2031, 3, 2))
