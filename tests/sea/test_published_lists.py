"""High and low water over chart datum, and a current table, as an agency printed them for stations we have at hand.

All are answers of NOAA CO-OPS' data interface (public domain), seen where public code keeps them as its samples.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from moonless.sea.stations import Stations, read_stations
from moonless.sea.stream import StreamHere
from moonless.sea.tide import TideHere

FOOT, KNOT = 0.3048, 1852.0 / 3600.0
EASTERN_SUMMER = timezone(timedelta(hours=-4))


@pytest.fixture(scope="module")
def stations(data_dir: Path) -> Stations:
    return read_stations([data_dir / "tides" / "boston.json"])


@pytest.mark.data
@pytest.mark.parametrize(
    ("zone", "printed"),
    [
        # Station 8443970, predictions, interval hilo, datum MLLW, feet: 22 October 2025 by local summer time ...
        (
            EASTERN_SUMMER,
            [
                ("high", (2025, 10, 22, 0, 18), 9.398),
                ("low", (2025, 10, 22, 6, 15), 1.085),
                ("high", (2025, 10, 22, 12, 24), 10.093),
                ("low", (2025, 10, 22, 18, 43), 0.343),
            ],
        ),
        # ... and 1 January 2020 by Greenwich.
        (UTC, [("high", (2020, 1, 1, 8, 21), 8.606), ("low", (2020, 1, 1, 14, 21), 1.578)]),
    ],
)
def test_high_and_low_water_over_chart_datum(
    stations: Stations, zone: timezone, printed: list[tuple[str, tuple[int, int, int, int, int], float]]
) -> None:
    here = TideHere(stations.tides["noaa/8443970"], stations)
    at = [datetime(*when, tzinfo=zone).timestamp() for _, when, _ in printed]
    found = here.extremes(at[0] - 1800.0, at[-1] + 1800.0)
    assert [one.kind for one in found] == [kind for kind, _, _ in printed]
    for one, time_s, (_, _, feet) in zip(found, at, printed, strict=True):
        # Printed to the minute and a thousandth of a foot, from constants printed to 1 mm and 0.1 degree.
        assert one.time_s == pytest.approx(time_s, abs=60.0)
        assert one.height_m / FOOT == pytest.approx(feet, abs=0.02)
        assert float(here.heights(one.time_s)[0]) / FOOT == pytest.approx(feet, abs=0.02)


@pytest.mark.data
def test_a_current_table_with_its_mean_flow(stations: Stations) -> None:
    """Station BOS1111, 1 January 2020 by Greenwich, knots along the flood: each half hour, and flood and slack.

    Without the mean flow, 0.047 kn of ebb, each figure would be out by twice what is let pass here.  Times of the table
    of a harmonic station stand on the sixth minute.
    """
    here = StreamHere(stations.streams["noaa/BOS1111"], stations)
    begin = datetime(2020, 1, 1, 5, tzinfo=UTC).timestamp()
    told = here.along_flood([begin, begin + 3.0 * 3600.0, begin + 3.5 * 3600.0]) / KNOT
    assert told == pytest.approx([1.03, 0.08, -0.21], abs=0.02)
    flood, slack = here.events(begin, begin + 4.0 * 3600.0)
    assert (flood.kind, slack.kind) == ("flood", "slack before ebb")
    assert flood.time_s == pytest.approx(datetime(2020, 1, 1, 5, 24, tzinfo=UTC).timestamp(), abs=200.0)
    assert flood.speed / KNOT == pytest.approx(1.04, abs=0.01)
    assert slack.time_s == pytest.approx(datetime(2020, 1, 1, 8, 6, tzinfo=UTC).timestamp(), abs=200.0)


@pytest.mark.data
def test_the_table_of_a_place_that_follows_it(stations: Stations) -> None:
    """Station ACT0926, by differences from BOS1111: 1 and 2 January 2020 by Greenwich."""
    here = StreamHere(stations.streams["noaa/ACT0926"], stations)
    begin = datetime(2020, 1, 1, 5, tzinfo=UTC).timestamp()
    found = here.events(begin, begin + 2 * 86_400.0)
    printed = [
        ("flood", (2020, 1, 1, 6, 49), 0.62),
        ("slack before ebb", (2020, 1, 1, 8, 59), 0.0),
        ("ebb", (2020, 1, 1, 11, 46), -0.58),
        ("flood", (2020, 1, 2, 7, 49), 0.57),
        ("slack before ebb", (2020, 1, 2, 9, 47), 0.0),
        ("ebb", (2020, 1, 2, 12, 16), -0.56),
    ]
    for kind, when, knots in printed:
        time_s = datetime(*when, tzinfo=UTC).timestamp()
        one = min((e for e in found if e.kind == kind), key=lambda e: abs(e.time_s - time_s))
        # The sixth minute of the reference: 3 off either way, and 5 about a flat ebb.
        assert one.time_s == pytest.approx(time_s, abs=300.0)
        assert one.speed / KNOT == pytest.approx(knots, abs=0.015)
    # It sets 259 on the flood and 66 on the ebb.
    strongest = [e for e in found if e.kind in ("flood", "ebb")]
    east, north = here.velocity([e.time_s for e in strongest])
    assert np.degrees(np.arctan2(east, north)) % 360.0 == pytest.approx(
        [259.0 if e.kind == "flood" else 66.0 for e in strongest], abs=0.5
    )
