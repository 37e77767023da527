"""Tides, held to Schureman's worked forms, an independent library's published tests and an agency's own heights."""

from __future__ import annotations

import csv
import gzip
import itertools
import json
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from moonless.errors import InputError, NoCoverage, SourceError
from moonless.sea.constituents import CONSTITUENTS, astronomy
from moonless.sea.stations import Harmonic, read_stations
from moonless.sea.tide import TideHere, harmonic_sum, tide_between, turning_points

# The 37-constituent set of a US west coast station, feet and degrees on GMT, as published in the tests of the
# open library neaps/tide-predictor (packages/tide-predictor/test/_mocks/constituents.ts, v0.4.1).
WEST_COAST = {
    "M2": (1.61, 181.3), "S2": (0.43, 180.1), "N2": (0.37, 155.0), "K1": (1.20, 219.6), "O1": (0.75, 203.5),
    "NU2": (0.07, 160.9), "MU2": (0.04, 114.7), "2N2": (0.05, 125.4), "OO1": (0.04, 246.4), "LAM2": (0.01, 213.6),
    "S1": (0.03, 317.1), "M1": (0.04, 224.9), "J1": (0.07, 232.3), "SSA": (0.07, 264.6), "SA": (0.20, 198.5),
    "MF": (0.04, 138.1), "RHO": (0.02, 197.0), "Q1": (0.13, 194.8), "T2": (0.02, 165.3), "2Q1": (0.02, 191.7),
    "P1": (0.38, 215.8), "M3": (0.01, 7.0), "L2": (0.04, 213.4), "K2": (0.12, 170.6),
}  # fmt: skip


def _unix(*moment: int) -> float:
    return datetime(*moment, tzinfo=UTC).timestamp()  # type: ignore[misc, arg-type]


@pytest.mark.parametrize(
    ("field", "published"),
    [
        ("moon", 258.238711), ("sun", 192.826399), ("sun_perigee", 283.276980), ("inclination", 22.811296),
        ("xi", 11.989946), ("nu", 13.028572), ("perigee_from_node", 155.242651),
    ],
)  # fmt: skip
def test_astronomical_arguments(field: str, published: float) -> None:
    # neaps/tide-predictor, test/astronomy: 2019-10-04 10:15:40.010 UTC.  Within 1e-4 degree: the two codes differ by
    # the mean-longitude polynomials' last digits and by taking UTC for dynamical time.
    at = astronomy(datetime(2019, 10, 4, 10, 15, 40, 10_000, tzinfo=UTC).timestamp())
    assert math.degrees(getattr(at, field)[0]) % 360 == pytest.approx(published, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "speed"),
    [
        # Degrees an hour: NOAA CO-OPS harmonic constituent tables, as printed.
        ("M2", 28.984104), ("S2", 30.0), ("N2", 28.43973), ("K1", 15.041069), ("O1", 13.943035), ("P1", 14.958931),
        ("K2", 30.082138), ("Q1", 13.398661), ("SA", 0.0410686), ("MF", 1.0980331), ("M1", 14.496694),
        ("J1", 15.5854435), ("OO1", 16.139101), ("RHO", 13.471515), ("2Q1", 12.854286), ("L2", 29.528479),
        ("LAM2", 29.455626), ("MU2", 27.968208), ("NU2", 28.512583), ("2N2", 27.895355), ("T2", 29.958933),
        ("R2", 30.041067), ("M3", 43.47616), ("2SM2", 31.015896), ("MK3", 44.025173), ("2MK3", 42.92714),
        ("MN4", 57.423832), ("MS4", 58.984104), ("MM", 0.5443747), ("MSF", 1.0158958), ("SSA", 0.0821373),
        ("M8", 115.93642), ("S6", 90.0),
    ],
)  # fmt: skip
def test_speeds(name: str, speed: float) -> None:
    constituent = CONSTITUENTS[name]
    start, end = astronomy(_unix(2023, 8, 29)), astronomy(_unix(2023, 8, 29, 1))
    bare = [constituent.argument(a) - constituent.angle(a) for a in (start, end)]
    moved = math.degrees(float((bare[1] - bare[0])[0])) % 360
    assert moved == pytest.approx(speed, abs=6e-6)  # printed to five or six decimals


@pytest.mark.parametrize(("hour", "published_ft"), [(0, -1.34712509), (6, 2.85263589)])
def test_west_coast_heights(hour: int, published_ft: float) -> None:
    # The library's own test, v0.4.1, at 2019-09-01.  Its later release moves these by 0.012 and 0.001 ft with another
    # date for the node factors, so no more than that can be asked.
    harmonics = tuple(Harmonic(n, a, math.radians(g)) for n, (a, g) in WEST_COAST.items())
    assert harmonic_sum(harmonics, _unix(2019, 9, 1, hour))[0] == pytest.approx(published_ft, abs=0.012)


def test_west_coast_first_low() -> None:
    # The same library, v0.4.1: first low of 2019-09-01 is -1.565389 ft.
    harmonics = tuple(Harmonic(n, a, math.radians(g)) for n, (a, g) in WEST_COAST.items())
    time, value = turning_points(harmonics, _unix(2019, 9, 1), _unix(2019, 9, 1, 4))[0]
    assert value == pytest.approx(-1.565389, abs=0.02)
    assert time == pytest.approx(_unix(2019, 9, 1, 0, 52), abs=120)


@pytest.mark.data
def test_honolulu_published_heights(data_dir: Path) -> None:
    # NOAA CO-OPS station 1612340: 99 six-minute predictions of 2023-08-29, printed to 1 mm.
    with gzip.open(data_dir / "tides" / "harmonics.tsv.gz", "rt") as text:
        rows = [r for r in csv.DictReader(text, delimiter="\t") if r["Name"]]
    harmonics = tuple(Harmonic(r["Name"], float(r["Amplitude"]), math.radians(float(r["Phase"]))) for r in rows)
    with gzip.open(data_dir / "tides" / "predictions.csv.gz", "rt") as text:
        printed = list(csv.DictReader(line for line in text if line.strip()))
    assert len(printed) == 99
    time = [datetime.strptime(r["Date Time"], "%Y-%m-%d %H:%M").replace(tzinfo=UTC).timestamp() for r in printed]
    height = np.array([float(r[" Prediction"]) for r in printed])
    difference = height - harmonic_sum(harmonics, time)
    # 2 mm rms: constants are printed to 1 mm and 0.1 degree, heights to 1 mm.
    assert float(np.std(difference)) < 0.002


@pytest.mark.data
def test_real_stations(data_dir: Path) -> None:
    stations = read_stations([data_dir / "tides" / "boston.json", data_dir / "tides" / "chesapeake.json"])
    assert stations.warnings == ()
    boston = next(s for s in stations.tides.values() if s.id == "noaa/8443970")
    here = TideHere(boston, stations)
    ranges = []
    for year in range(1983, 2002):
        month = here.extremes(_unix(year, 1 + 5 * year % 12, 1), _unix(year, 1 + 5 * year % 12, 28))
        kinds = [e.kind for e in month]
        assert all(a != b for a, b in itertools.pairwise(kinds))
        highs = [e.height_m for e in month if e.kind == "high"]
        lows = [e.height_m for e in month if e.kind == "low"]
        ranges.append(np.mean(highs) - np.mean(lows))
    # The station's datum MN is the mean range over the epoch 1983 to 2001; one lunar month a year samples it.
    assert np.mean(ranges) == pytest.approx(boston.datums["MN"], rel=0.03)


@pytest.mark.data
def test_subordinate_rule(data_dir: Path) -> None:
    # NOAA Tide Tables, table 2: times by difference, heights by ratio, of the reference's turning points.
    stations = read_stations([data_dir / "tides" / "boston.json"])
    island = stations.tides["noaa/8444012"]
    assert island.offsets is not None
    reference = TideHere(stations.tides[island.offsets.reference], stations)
    span = (_unix(2026, 3, 1), _unix(2026, 3, 2))
    own = TideHere(island, stations).extremes(*span)
    theirs = reference.extremes(*span)
    for mine, first in zip(own, theirs, strict=True):
        shift = island.offsets.high_s if first.kind == "high" else island.offsets.low_s
        ratio = island.offsets.high if first.kind == "high" else island.offsets.low
        assert mine.time_s == pytest.approx(first.time_s + shift)
        assert mine.height_m == pytest.approx(first.height_m * ratio)
    times = np.array([e.time_s for e in own])
    assert TideHere(island, stations).heights(times) == pytest.approx([e.height_m for e in own], abs=1e-6)


@pytest.mark.data
def test_between_stations_says_how(data_dir: Path) -> None:
    stations = read_stations([data_dir / "tides" / "boston.json"])
    between = tide_between(stations, 42.34, -70.98)
    assert "Interpolated" in between.how and "Wind and pressure" in between.how
    each = [here.heights(_unix(2026, 3, 1))[0] for _, here in between.parts]
    assert min(each) <= between.heights(_unix(2026, 3, 1))[0] <= max(each)
    with pytest.raises(NoCoverage, match="no tide station"):
        tide_between(stations, 10.0, -40.0)


def test_unusable_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        read_stations([tmp_path / "none.json"])
    (tmp_path / "bad.json").write_text("{")
    with pytest.raises(SourceError, match="is not JSON"):
        read_stations([tmp_path / "bad.json"])
    (tmp_path / "odd.json").write_text(json.dumps([{"kind": "tide", "id": "x"}]))
    # A file of which nothing is left must not pass for tides given.
    with pytest.raises(SourceError, match="holds no tide and no stream station that can be used: record 0 left out"):
        read_stations([tmp_path / "odd.json"])


# Schureman, Special Publication 98, table 2, from memory: what is added to each equilibrium argument, degrees.
_CONSTANTS = {
    -90.0: ("K1", "M1", "J1", "OO1"),
    90.0: ("O1", "P1", "Q1", "2Q1", "RHO"),
    180.0: ("LAM2", "L2", "R2"),
}


def test_constants_of_the_arguments() -> None:
    added = {name: degrees for degrees, names in _CONSTANTS.items() for name in names}
    for name, one in CONSTITUENTS.items():
        if name == "MK3":
            assert one.constant_deg == -90.0  # that of K1
        elif name == "2MK3":
            assert one.constant_deg == 90.0  # K1's taken away
        else:
            assert one.constant_deg == added.get(name, 0.0), name


def test_the_suns_perigee_moves_two_constituents_alone() -> None:
    """It takes 20 900 years for a turn, so that no speed shows it; where it is counts.

    Doodson's sixth number, as the tables of harmonic constituents give it (from memory): 6 in T2, 4 in R2, else 5.
    """
    for name, one in CONSTITUENTS.items():
        assert one.multiples[4] == {"T2": 1, "R2": -1}.get(name, 0), name
