"""Rise, set, twilight and phases against tables of the US Naval Observatory (to the minute, as printed)."""

from __future__ import annotations

import calendar
import math
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from moonless.errors import InputError
from moonless.sky.ephemeris import sky_state
from moonless.sky.events import moon_phases, sky_events

DAY_S = 86_400.0


def _unix(*moment: int) -> float:
    return datetime(*moment, tzinfo=UTC).timestamp()  # type: ignore[misc, arg-type]


def _table(path: Path, year: int, zone_h: int) -> dict[str, list[float]]:
    """Return {"Rise": [...], "Set": [...]} in Unix seconds from a year's table of fixed columns."""
    found: dict[str, list[float]] = {"Rise": [], "Set": []}
    for line in path.read_text().splitlines():
        if not re.match(r"^\d\d  ", line):
            continue
        day = int(line[:2])
        for month in range(12):
            for name, offset in (("Rise", 4), ("Set", 9)):
                text = line[offset + 11 * month : offset + 11 * month + 4].strip()
                if text:
                    local = datetime(year, month + 1, day, int(text[:2]), int(text[2:]), tzinfo=UTC)
                    found[name].append((local - timedelta(hours=zone_h)).timestamp())
    return found


@pytest.mark.data
@pytest.mark.parametrize(
    ("file", "year", "lat", "lon", "kinds"),
    [
        # USNO "Rise and Set for the Sun for 2007", Atlanta, W084 25 N33 46, Eastern Standard Time.
        ("riset_sun.txt", 2007, 33 + 46 / 60, -(84 + 25 / 60), ("sunrise", "sunset")),
        # USNO "Rise and Set for the Moon for 1984", Boston, W071 05 N42 19, Eastern Standard Time.
        ("riset_moon.txt", 1984, 42 + 19 / 60, -(71 + 5 / 60), ("moonrise", "moonset")),
    ],
)
def test_a_year_of_rise_and_set(
    data_dir: Path, file: str, year: int, lat: float, lon: float, kinds: tuple[str, str]
) -> None:
    printed = _table(data_dir / "sky" / file, year, -5)
    # Two months, solstice and equinox, keep the test short; the table is read whole.
    assert len(printed["Rise"]) > 340
    for month in (3, 12):
        start, end = _unix(year, month, 1, 5), _unix(year, month, 28, 5)
        events = sky_events(lat, lon, start, end)
        for name, kind in zip(("Rise", "Set"), kinds, strict=True):
            ours = np.array([e.time_s for e in events if e.kind == kind])
            theirs = np.array([t for t in printed[name] if start <= t < end - 60])
            assert len(ours) == pytest.approx(len(theirs), abs=1)
            nearest = np.abs(theirs[:, None] - ours[None, :]).min(axis=1)
            # Printed to the minute: half a minute, and a few seconds for delta T and the limb.
            assert float(nearest.max()) <= 40.0, f"{kind}: {nearest.max():.0f} s"


def test_a_day_of_twilight() -> None:
    # USNO, Atlanta 33.8 N 84.4 W, 6 September 2009, Eastern Daylight Time, as published beside the PyEphem manual's
    # "rise-set" page.
    events = sky_events(33.8, -84.4, _unix(2009, 9, 6, 4), _unix(2009, 9, 7, 15))
    expected = {
        "civil dawn": _unix(2009, 9, 6, 10, 50),
        "sunrise": _unix(2009, 9, 6, 11, 15),
        "sunset": _unix(2009, 9, 6, 23, 56),
        "civil dusk": _unix(2009, 9, 7, 0, 21),
        "moonset": _unix(2009, 9, 6, 13, 5),
        "moonrise": _unix(2009, 9, 7, 0, 44),
    }
    for kind, printed in expected.items():
        ours = min((e.time_s for e in events if e.kind == kind), key=lambda t, p=printed: abs(t - p))  # type: ignore[misc]
        assert ours == pytest.approx(printed, abs=40.0), kind


@pytest.mark.data
def test_a_moon_that_does_not_rise(data_dir: Path) -> None:
    # USNO, Fairbanks W147 45 N64 48.6, 24 to 26 June 2006 (zone -8): no rise and no set.
    text = (data_dir / "sky" / "risettran_moon.txt").read_text()
    assert text.count("*****") >= 6
    start = _unix(2006, 6, 24, 8)
    assert not [e for e in sky_events(64.81, -147.75, start, start + 2 * DAY_S) if e.kind.startswith("moon")]


@pytest.mark.data
def test_phases_of_1980(data_dir: Path) -> None:
    # USNO "1980 Phases of the Moon", Universal Time: new moon 17 January 21 19, full 2 January 9 02.
    ours = moon_phases(_unix(1980, 1, 1), _unix(1981, 1, 1))
    assert len(ours) == 50
    names = ("new moon", "first quarter", "full moon", "last quarter")
    months = {calendar.month_abbr[k]: k for k in range(1, 13)}
    checked = 0
    for line in (data_dir / "sky" / "moon_phases.txt").read_text().splitlines():
        for match in re.finditer(r"([A-Z][a-z]{2}) +(\d+) +(\d+) +(\d+)(?= |$)", line):
            when = _unix(1980, months[match[1]], int(match[2]), int(match[3]), int(match[4]))
            time, kind = min(ours, key=lambda pair, w=when: abs(pair[0] - w))  # type: ignore[misc]
            assert time == pytest.approx(when, abs=40.0)  # printed to the minute
            assert kind == names[(match.start() - 4) // 16]  # the table's four columns
            checked += 1
    assert checked == len(ours)


@pytest.mark.data
def test_topocentric_places(data_dir: Path) -> None:
    # USNO "Apparent Topocentric Positions", Moon, Atlanta, 1 July 2008 0h: distance 361552.827 km.  The table gives
    # the geometric distance, the library the one the light travelled while the earth moved: up to 40 km apart.
    state = sky_state(33.76, -84.41, [_unix(2008, 7, 1)])
    assert state.moon_distance_m[0] / 1000 == pytest.approx(361_552.827, abs=40.0)


def test_meeus_lit_fraction() -> None:
    # Meeus, Astronomical Algorithms, 2nd ed., example 48.a: 1992 April 12, 0h TD: 0.68 lit, as seen from the earth's
    # centre; from the surface the parallax moves it by less than the printed hundredth.
    state = sky_state(0.0, 0.0, [_unix(1992, 4, 12)])
    assert state.moon_lit_fraction[0] == pytest.approx(0.68, abs=0.011)
    assert bool(state.moon_is_waxing[0])


@pytest.mark.parametrize(
    ("body", "when", "ra_deg", "dec_deg", "distance_km"),
    [
        # Meeus, Astronomical Algorithms, 2nd ed., example 25.a: the sun, 1992 October 13, 0h TD; R = 0.99766 AU.
        ("sun", (1992, 10, 13), 198.38083, -7.78507, 0.99766 * 149_597_870.7),
        # Example 47.a: the moon, 1992 April 12, 0h TD; his series are good to about 10 seconds of arc.
        ("moon", (1992, 4, 12), 134.688469, 13.768367, 368_409.7),
    ],
)
@pytest.mark.parametrize(("lat_deg", "lon_deg"), [(0.0, 0.0), (38.0, -76.0), (-33.0, 151.0), (60.0, 20.0)])
def test_meeus_places_seen_from_a_boat(
    body: str, when: tuple[int, int, int], ra_deg: float, dec_deg: float, distance_km: float, lat_deg: float,
    lon_deg: float,
) -> None:  # fmt: skip
    """His right ascension and declination turned into what stands over the horizon there, by his own chapters.

    Sidereal time: chapter 12 (12.4).  Place on the ellipsoid: chapter 11.  TD - UT was 59 s in 1992 (his table 10.A).
    """
    unix = _unix(*when) - 59.0
    days = unix / 86_400.0 + 2_440_587.5 - 2_451_545.0
    theta = math.radians((280.46061837 + 360.98564736629 * days + lon_deg) % 360.0)
    lat, ra, dec = math.radians(lat_deg), math.radians(ra_deg), math.radians(dec_deg)
    u = math.atan(0.99664719 * math.tan(lat))
    at = 6378.14 * np.array([math.cos(u) * math.cos(theta), math.cos(u) * math.sin(theta), 0.99664719 * math.sin(u)])
    there = distance_km * np.array([math.cos(dec) * math.cos(ra), math.cos(dec) * math.sin(ra), math.sin(dec)])
    seen = there - at
    up = np.array([math.cos(lat) * math.cos(theta), math.cos(lat) * math.sin(theta), math.sin(lat)])
    east = np.array([-math.sin(theta), math.cos(theta), 0.0])
    north = np.cross(up, east)
    altitude = math.degrees(math.asin(seen @ up / np.linalg.norm(seen)))
    azimuth = math.degrees(math.atan2(seen @ east, seen @ north)) % 360.0
    state = sky_state(lat_deg, lon_deg, [unix])
    got_altitude = state.sun_altitude_rad if body == "sun" else state.moon_altitude_rad
    got_azimuth = state.sun_azimuth_rad if body == "sun" else state.moon_azimuth_rad
    # 0.006 degree: 20 seconds, the low-accuracy sun of chapter 25 and the shortened moon of chapter 47; and as much for
    # the equation of the equinoxes, which mean sidereal time leaves out.
    assert math.degrees(float(got_altitude[0])) == pytest.approx(altitude, abs=0.012)
    off = math.remainder(math.degrees(float(got_azimuth[0])) - azimuth, 360.0)
    assert abs(off) * math.cos(math.radians(altitude)) < 0.012
    if body == "moon":
        assert state.moon_distance_m[0] / 1000 == pytest.approx(float(np.linalg.norm(seen)), abs=60.0)


def test_a_date_the_ephemeris_does_not_hold() -> None:
    with pytest.raises(InputError, match="1900 to 2050"):
        sky_state(0.0, 0.0, [_unix(2060, 1, 1)])
