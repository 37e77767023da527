"""The judge's first duties: explain, hide, withdraw."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from reading_fakes import T0, FakeChart, make_boat, make_mark, make_situation, make_track

from moonless.echo.detector import Detector
from moonless.reading.judge import Judge
from moonless.reading.publish.reading import _registration
from moonless.reading.registration.registrar import Agreement
from moonless.reading.types import Fault

# `bench` lies beside `src`; plain `pytest` does not put the repository's root on the path.
sys.path.insert(0, str(Path(__file__).parents[2]))

from bench.made.video import Made


def test_a_track_on_a_beacon_is_the_beacon_and_a_still_one_elsewhere_is_not_charted() -> None:
    chart = FakeChart(marks=(make_mark(500.0, 800.0, "7"),))
    tracks = [make_track(1, 506.0, 795.0), make_track(2, -300.0, 900.0), make_track(3, 0.0, 1500.0, ve=-4.0)]
    reading = Judge(make_boat(), chart).read(make_situation(tracks))
    told = {echo.id: echo for echo in reading.echoes}
    assert told[1].kind == "charted" and told[1].charted_as is not None and told[1].charted_as.name == "7"
    assert told[1].charted_as.offset_m == pytest.approx(7.81, abs=0.01)
    assert told[2].kind == "uncharted"
    assert told[3].kind == "vessel" and told[3].cog_deg == pytest.approx(270.0)
    assert json.dumps(reading.as_dict())


def test_one_mark_explains_one_echo() -> None:
    chart = FakeChart(marks=(make_mark(500.0, 800.0),))
    reading = Judge(make_boat(), chart).read(make_situation([make_track(1, 503.0, 801.0), make_track(2, 540.0, 770.0)]))
    assert [echo.kind for echo in reading.echoes] == ["charted", "uncharted"]


def test_water_behind_an_island_is_hidden_and_before_it_is_not() -> None:
    chart = FakeChart(land=shapely.MultiPolygon([shapely.box(-100.0, 500.0, 100.0, 600.0)]))
    reading = Judge(make_boat(), chart).read(make_situation())
    assert reading.hidden is not None
    shapes = [shapely.geometry.shape(f["geometry"]) for f in reading.hidden["features"]]
    area = shapely.union_all(shapes)
    lat, lon = make_situation().frame.to_geographic(0.0, 900.0)  # type: ignore[union-attr]
    assert area.contains(shapely.Point(lon, lat))
    lat, lon = make_situation().frame.to_geographic(0.0, 450.0)  # type: ignore[union-attr]
    assert not area.contains(shapely.Point(lon, lat))
    assert {f["properties"]["by"] for f in reading.hidden["features"]} == {"land", "near range"}


@pytest.mark.parametrize("what", ["position", "heading", "radar", "clock"])
def test_a_fault_withdraws_what_depends_on_it(what: str) -> None:
    chart = FakeChart(land=shapely.MultiPolygon([shapely.box(-100.0, 500.0, 100.0, 600.0)]))
    fault = Fault(what, "silent", T0)  # type: ignore[arg-type]
    reading = Judge(make_boat(), chart).read(make_situation([make_track(1, 300.0, 300.0)], faults=(fault,)))
    assert reading.echoes == ()
    assert reading.hidden is None
    assert reading.speed.advised_kn is None
    assert reading.faults == (fault,)
    # Own place, course and speed go with the position and with the clock; the heading with its own fault.
    own, is_placed = reading.own, what not in ("position", "clock")
    assert [v is not None for v in (own.lat, own.lon, own.cog_deg, own.sog_kn)] == [is_placed] * 4
    assert (own.heading_deg is not None) == (what != "heading")


def test_a_heading_that_is_lost_is_not_told_beside_a_position_that_is() -> None:
    faults = (Fault("position", "silent", T0), Fault("heading", "frozen", T0))
    own = Judge(make_boat(), FakeChart()).read(make_situation(heading_rad=1.0, faults=faults)).own
    assert (own.lat, own.cog_deg, own.heading_deg) == (None, None, None)
    alone = Judge(make_boat(), FakeChart()).read(make_situation(heading_rad=1.0, faults=faults[:1])).own
    assert (alone.lat, alone.heading_deg) == (None, pytest.approx(math.degrees(1.0)))


def test_where_no_chart_tells_what_is_hidden_nothing_is_told_as_seen() -> None:
    # Empty is not clear: no collection at all, not an empty one.
    assert Judge(make_boat()).read(make_situation()).hidden is None
    assert Judge(make_boat(), FakeChart()).read(make_situation(heading_rad=None)).hidden is None
    assert Judge(make_boat(), FakeChart()).read(make_situation()).hidden is not None


def test_what_is_only_remembered_is_not_told_as_seen() -> None:
    tracks = [make_track(1, 300.0, 300.0), make_track(2, -800.0, 300.0, state="coasting", misses_in_a_row=3)]
    reading = Judge(make_boat(), FakeChart()).read(make_situation(tracks))
    assert {echo.id: echo.coasting for echo in reading.echoes} == {1: False, 2: True}


@pytest.mark.parametrize("agrees", [True, None, False])
def test_a_registration_that_is_known_and_does_not_agree_says_so(agrees: bool | None) -> None:
    known = Agreement(np.zeros(3), np.diag([1e-5, 4.0, 4.0]), True, 1.0, 20, agrees)
    assert _registration(known, False).agrees is (agrees is not False)
    unknown = Agreement(np.zeros(3), np.diag([1e-5, 4.0, 4.0]), False, 1.0, 20, agrees)
    # What is not known cannot be said to agree, but it can be seen not to.
    assert _registration(unknown, False).agrees is (False if agrees is False else None)


@pytest.mark.parametrize("what", ["position", "heading", "clock"])
def test_two_sources_that_disagree_are_told_and_take_nothing_away(what: str) -> None:
    # Which of the two is wrong nobody can say from here: the one followed is followed on (docs/faults.md).
    fault = Fault(what, "disagrees", T0)  # type: ignore[arg-type]
    reading = Judge(make_boat(), FakeChart()).read(make_situation([make_track(1, 300.0, 300.0)], faults=(fault,)))
    (echo,) = reading.echoes
    assert echo.bearing_deg == pytest.approx(45.0) and echo.cpa_m is not None
    assert reading.own.lat is not None and reading.own.heading_deg == 0.0
    assert any("do not agree" in call.say for call in reading.calls)


def test_pub_1310_example_1_through_a_whole_reading() -> None:
    """The board's answer comes out of tracks and own motion as it does out of two sightings.

    NGA Pub. 1310, Radar Navigation and Maneuvering Board Manual, chapter 6, Example 1 (pp. 244-245): 0908 bearing 275,
    12 000 yd; 0920 bearing 260, 9 000 yd.  Published: CPA 220 at 6 900 yd, 0937.  Own motion does not enter; it is
    taken as 5 m/s north here, so that the target's motion over the ground must be put against it.
    """

    def at(bearing_deg: float, yards: float) -> np.ndarray:
        a = math.radians(bearing_deg)
        return yards * 0.9144 * np.array([math.sin(a), math.cos(a)])

    last = at(260.0, 9_000.0)
    relative = (last - at(275.0, 12_000.0)) / (12.0 * 60.0)
    track = make_track(1, float(last[0]), float(last[1]), float(relative[0]), float(relative[1]) + 5.0)
    reading = Judge(make_boat()).read(make_situation([track]))
    (echo,) = reading.echoes
    assert echo.cpa_m is not None and echo.tcpa_s is not None
    assert echo.cpa_m / 0.9144 == pytest.approx(6_900.0, abs=100.0)  # plotting tolerance
    assert 20.0 + echo.tcpa_s / 60.0 == pytest.approx(37.0, abs=1.0)
    closest = last + relative * echo.tcpa_s
    assert math.degrees(math.atan2(closest[0], closest[1])) % 360.0 == pytest.approx(220.0, abs=3.0)


@pytest.mark.parametrize("heading_rad", [None, 1.0])
def test_a_picture_without_a_heading_is_read_as_far_as_it_goes(heading_rad: float | None) -> None:
    """At the start a radar may be heard before a compass: nothing that a bearing is needed for is told, nor is it a
    fault of ours."""
    made = Made(n_spoke=360, n_cell=300)
    scan = made.scan(made.counts(made.draw()))
    chart = FakeChart(marks=(make_mark(500.0, 800.0, "7"), make_mark(-300.0, 500.0, "8")))
    turn = make_situation(heading_rad=heading_rad, scan=scan, picture=Detector().detect(scan), time_ns=scan.end_ns)
    reading = Judge(make_boat(), chart).read(turn)
    assert reading.missing == () and reading.own.lat is not None
    assert (reading.hidden is None) == (reading.seeing_line is None) == (heading_rad is None)


def test_the_less_is_known_of_where_it_lies_the_less_it_is_the_beacon() -> None:
    """On a lone beacon, the odds against grow as the area it may lie in: with the square of a doubt alike on each axis.

    A Gauss curve over the plane is as high in its middle as one over that area; what else there is is dense alike.
    """

    def odds_against(sigma_m: float) -> float:
        chart = FakeChart(marks=(make_mark(500.0, 800.0, "7"),))
        doubt = np.diag([sigma_m**2, sigma_m**2, 0.04, 0.04])
        (echo,) = Judge(make_boat(), chart).read(make_situation([make_track(1, 500.0, 800.0, covariance=doubt)])).echoes
        assert echo.kind == "charted"
        return (1.0 - echo.confidence) / echo.confidence

    ten, twenty, forty = (odds_against(sigma) for sigma in (10.0, 20.0, 40.0))
    # Whatever position and chart may be out besides, the same in all three, falls out of the differences.
    assert (forty - twenty) / (twenty - ten) == pytest.approx((40.0**2 - 20.0**2) / (20.0**2 - 10.0**2), rel=0.05)
