"""What echoes are called, from each piece of evidence."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, T0, FakeChart, S, make_boat, make_mark, make_situation, make_track

from moonless.boat.types import Skipper
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.reading.chart_around import lay_out
from moonless.reading.identify.evidence import gather
from moonless.reading.identify.explain import UNCHARTED_PER_M2, explain
from moonless.reading.identify.history import History
from moonless.reading.identify.motion import Motion
from moonless.reading.identify.reported import PoseSigma, worth_telling
from moonless.reading.judge import Judge
from moonless.reading.own import OwnPlane
from moonless.track.types import AisTarget

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)
BOAT = make_boat()


def _told(tracks: list[Any], chart: FakeChart, **kwargs: Any) -> list[Any]:
    place = lay_out(chart, FRAME, 0.0, 0.0, 5000.0)
    evidence = gather(tuple(tracks), OWN, place, BOAT, PoseSigma(4.0, 0.01))
    n = len(chart.marks)
    return explain(evidence, place, np.ones(n), **kwargs)


def test_a_vessel_alongside_a_beacon_is_not_swallowed() -> None:
    chart = FakeChart(marks=(make_mark(300.0, 500.0),))
    beacon, boat = make_track(1, 302.0, 498.0), make_track(2, 318.0, 520.0, ve=3.0)
    told = _told([boat, beacon], chart)
    assert [t.kind for t in told] == ["vessel", "charted"]
    # Lying still beside it she is at least not a second beacon.
    still = make_track(2, 335.0, 530.0)
    assert [t.mark for t in _told([still, beacon], chart)] == [None, 0]


def test_ais_makes_a_vessel_of_a_still_echo_but_an_aid_does_not() -> None:
    ais = AisTarget(mmsi=799000001, time_ns=T0, lat_deg=10.0, lon_deg=-150.0)
    aid = AisTarget(mmsi=799000002, time_ns=T0, lat_deg=10.0, lon_deg=-150.0, is_aid=True)
    told = _told([make_track(1, 400.0, 400.0, ais=ais), make_track(2, -400.0, 400.0, ais=aid)], FakeChart())
    assert [t.kind for t in told] == ["vessel", "uncharted"]


def test_shore_is_what_lies_on_land_or_a_sigma_off_it() -> None:
    chart = FakeChart(land=shapely.MultiPolygon([shapely.box(-1000, 900, 1000, 2000)]))
    told = _told([make_track(1, 0.0, 950.0), make_track(2, 300.0, 888.0), make_track(3, 0.0, 600.0)], chart)
    assert [t.kind for t in told] == ["shore", "shore", "uncharted"]


def test_a_dragged_buoy_is_the_buoy_once_its_place_is_known_empty() -> None:
    chart = FakeChart(marks=(make_mark(600.0, 600.0, obj="BOYLAT", floating=True),))
    found = make_track(1, 660.0, 650.0)
    assert _told([found], chart, gone=np.array([0.03]))[0].kind == "uncharted"
    told = _told([found], chart, gone=np.array([0.97]))[0]
    assert told.kind == "charted" and told.offset_m == pytest.approx(np.hypot(60, 50), abs=0.1)
    # A beacon on piles does not drag.
    fixed = FakeChart(marks=(make_mark(600.0, 600.0),))
    assert _told([found], fixed, gone=np.array([0.97]))[0].kind == "uncharted"


def test_two_marks_in_one_beam_may_share_an_echo() -> None:
    # 60 m apart across the beam at 1500 m, where the beam is 105 m wide; the echo lies between.
    chart = FakeChart(marks=(make_mark(-30.0, 1500.0, "3"), make_mark(30.0, 1500.0, "4")), sigma_m=3.0)
    assert _told([make_track(1, 1.0, 1500.0)], chart)[0].kind == "charted"


def test_probabilities_are_probabilities() -> None:
    chart = FakeChart(marks=(make_mark(300.0, 500.0),), land=shapely.MultiPolygon([shapely.box(500, 0, 900, 900)]))
    rng = np.random.default_rng(0)
    tracks = [
        make_track(k, *rng.uniform(-1500, 1500, 2), p_moving=float(rng.random()), n_hits=int(rng.integers(3, 24)))
        for k in range(60)
    ]
    for told in _told(tracks, chart):
        assert told.probability.sum() == pytest.approx(1.0) and np.all(told.probability >= 0)
        assert told.confidence == pytest.approx(told.probability.max())


def test_history_does_not_flicker_and_does_not_grow_sure_of_itself() -> None:
    chart = FakeChart()
    history = History()
    ids = np.array([1])
    unsure = _told([make_track(1, 500.0, 500.0, p_moving=0.45)], chart)
    pooled = unsure
    for _ in range(50):
        pooled = history.pool(ids, unsure)
    assert pooled[0].confidence == pytest.approx(unsure[0].confidence, abs=0.02)
    moving = _told([make_track(1, 500.0, 500.0, p_moving=0.55)], chart)
    assert history.pool(ids, moving)[0].kind == pooled[0].kind


def test_a_still_echo_is_still_though_the_tracker_doubts_it_and_a_slow_boat_moves() -> None:
    rng = np.random.default_rng(1)
    motion = Motion()
    ids, fresh = np.array([1, 2]), np.array([True, True])
    for k in range(30):
        t = 2.5 * k
        places = np.array([[400.0, 300.0], [1.0 * t, 800.0]]) + rng.normal(0, 6.0, (2, 2))
        p = motion.p_moving(T0 + int(t * S), ids, places, np.array([6.0, 6.0]), np.array([0.7, 0.5]), fresh, (0.0, 0.0))
    assert p[0] < 0.3 and p[1] > 0.8


def test_a_coasting_past_of_a_confirmed_track_is_left_out() -> None:
    kept = make_track(1, 400.0, 400.0)
    past = make_track(2, 410.0, 405.0, state="coasting")
    elsewhere = make_track(3, 900.0, 405.0, state="coasting")
    beyond = make_track(4, 9000.0, 0.0, state="coasting")
    young = make_track(5, 100.0, 0.0, state="tentative")
    long_ago = make_track(6, -900.0, 0.0, state="coasting", last_plot_ns=T0 - 90 * S)
    aboard = make_track(7, 10.0, 0.0)
    told = worth_telling((kept, past, elsewhere, beyond, young, long_ago, aboard), OWN, 20.0, 3000.0)
    assert [t.id for t in told] == [1, 3]


@dataclass
class _Thing:
    lat_deg: float
    lon_deg: float
    words: str
    confidence: float | None = None


class _Knowledge:
    def __init__(self, east_m: float, north_m: float) -> None:
        lat, lon = FRAME.to_geographic(east_m, north_m)
        self.thing = _Thing(float(lat), float(lon), "old barge, unlit, always there")

    def things_around(self, lat: float, lon: float, radius_m: float) -> tuple[_Thing, ...]:
        return (self.thing,)

    def keep_outs_around(self, lat: float, lon: float, radius_m: float) -> tuple[Any, ...]:
        return ()

    def usual_around(self, lat: float, lon: float, radius_m: float) -> tuple[Any, ...]:
        return ()


def test_local_knowledge_names_what_the_chart_does_not() -> None:
    judge = Judge(make_boat(skipper=Skipper()), FakeChart(), _Knowledge(500.0, 700.0))
    reading = judge.read(make_situation([make_track(1, 505.0, 702.0), make_track(2, -500.0, 700.0)]))
    told = {e.id: e for e in reading.echoes}
    assert told[1].kind == told[2].kind == "uncharted"
    assert "old barge" in told[1].why and "old barge" not in told[2].why
    assert told[1].confidence > told[2].confidence


@pytest.mark.parametrize("kind", ["anchorage", "way"])
def test_where_boats_usually_lie_or_run_they_are_expected(tmp_path: Path, kind: Literal["anchorage", "way"]) -> None:
    """Of two weak echoes alike, the one in such water is the surer; the other is told as without it."""
    knowledge = Knowledge(tmp_path / "own.gpkg")
    lat, lon = FRAME.to_geographic(np.array([400.0, 600.0]), np.array([600.0, 800.0]))
    box = shapely.box(lon[0], lat[0], lon[1], lat[1])
    # Twenty times what is expected anywhere.
    knowledge.put_usual(box, kind, f"{kind} of the tests", per_km2=1e6 * 20 * UNCHARTED_PER_M2, seen_ns=0)
    velocity = 0.0 if kind == "anchorage" else 3.0

    def told(known: Knowledge | None) -> dict[int, Any]:
        judge = Judge(make_boat(skipper=Skipper()), FakeChart(), known)
        for turn in range(12):
            now, after_s = T0 + round(2.5e9 * turn), 2.5 * turn
            tracks = [
                make_track(
                    k, x, 640.0 + velocity * after_s, vn=velocity, n_hits=8, n_scans=10, strength_db=14.0,
                    time_ns=now, last_plot_ns=now, started_ns=T0 - 25 * 10**9,
                )
                for k, x in ((1, 500.0), (2, -500.0))
            ]  # fmt: skip
            reading = judge.read(make_situation(tracks, time_ns=now))
        return {e.id: e for e in reading.echoes}

    with_it, without = told(knowledge), told(None)
    assert without[1].kind == with_it[1].kind == ("uncharted" if kind == "anchorage" else "vessel")
    # Odds grow by the density's factor where one rival stands against it.
    assert with_it[1].confidence > without[1].confidence + 0.02
    assert with_it[2].confidence == pytest.approx(without[2].confidence)
    assert ("anchorage of the tests" in with_it[1].why) == (kind == "anchorage")
    assert "of the tests" not in with_it[2].why
