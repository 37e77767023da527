"""Missing marks, the radar's performance, dangers ahead, what opens, and the fix without a receiver."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, RADAR, T0, FakeChart, S, make_boat, make_mark, make_situation
from scipy import stats

from moonless.chart.types import Feature
from moonless.reading.alerts.candidates import Wheel, of_dangers
from moonless.reading.collision.charted_dangers import ahead, check_sounder, lay_out_dangers
from moonless.reading.identify.mark_watch import Lookout
from moonless.reading.identify.missing import MissingWatch
from moonless.reading.identify.performance import KIND_SIGMA_DB, Performance
from moonless.reading.judge import Judge
from moonless.reading.own import OwnPlane
from moonless.reading.registration.radar_fix import CarriedOn
from moonless.reading.registration.registrar import Registrar
from moonless.reading.types import Fault
from moonless.reading.visibility.opening import next_opening
from moonless.reading.visibility.seeing import P_TURN_HELD, curve_for
from moonless.sight.along import corners, sight_along
from moonless.sight.edges import edges_of

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)


def _turns(watch: MissingWatch, p: float, looked: bool, seen: bool, n: int) -> Any:
    for _ in range(n):
        (account,) = watch.look([("c", "1")], np.array([p]), np.array([looked]), np.array([seen]))
    return account


def test_a_mark_that_should_show_and_does_not_is_missing_after_some_looks() -> None:
    watch = MissingWatch()
    assert not _turns(watch, 0.95, True, False, 4).is_missing
    assert _turns(watch, 0.95, True, False, 8).is_missing
    assert not _turns(watch, 0.95, False, True, 3).is_missing


def test_what_is_not_looked_at_or_hardly_shows_is_never_missing() -> None:
    assert not _turns(MissingWatch(), 0.95, False, False, 200).is_missing
    assert not _turns(MissingWatch(), 0.3, True, False, 200).is_missing


def test_held_is_three_of_five_turns_nine_times_in_ten() -> None:
    # Binomial, elementary: P(at least 3 of 5) = 0.9.
    assert stats.binom.sf(2, 5, P_TURN_HELD) == pytest.approx(0.9, abs=1e-3)


def test_larger_things_and_better_radar_are_seen_further() -> None:
    curve = curve_for(RADAR, 5556.0, 1.0, 0.3)
    ranges = [curve.held_to_m(s, 0.0, 20.0) for s in (0.5, 2.5, 10.0)]
    assert ranges == sorted(ranges)  # type: ignore[type-var]
    assert curve.held_to_m(2.5, -6.0, 20.0) < curve.held_to_m(2.5, 0.0, 20.0)  # type: ignore[operator]


@pytest.mark.parametrize("loss_db", [0.0, 6.0])
def test_performance_is_found_from_marks_that_fluctuate(loss_db: float) -> None:
    rng = np.random.default_rng(4)
    marks = tuple(make_mark(100.0 * k, 800.0, str(k)) for k in range(6))
    place: Any = SimpleNamespace(marks=marks)
    snr = np.full(6, 10.0**2.8)
    outlook: Any = SimpleNamespace(mark_snr=snr, mark_p=np.ones(6), mark_merged=np.zeros(6, dtype=bool))
    looked: Any = SimpleNamespace(looked=np.zeros(6, dtype=bool), alone=np.ones(6, dtype=bool))
    kinds = rng.normal(0.0, KIND_SIGMA_DB, 6)
    performance = Performance(RADAR)
    for _ in range(40):
        power = 10.0 ** ((28.0 - loss_db + kinds) / 10.0) * rng.exponential(1.0, 6)
        strength = 10.0 * np.log10(1.0 + power)
        plots: Any = SimpleNamespace(strength_db=strength, is_clipped=np.zeros(6, dtype=bool))
        picture: Any = SimpleNamespace(plots=_Sized(plots), db_per_count=None)
        evidence: Any = SimpleNamespace(tracks=[SimpleNamespace(last_plot=k) for k in range(6)], level_db=strength)
        explained: Any = [SimpleNamespace(mark=k, confidence=0.95) for k in range(6)]
        performance.take_in(place, outlook, looked, np.zeros(6), evidence, explained, picture, 3.0)
    assert performance.offset_db == pytest.approx(-loss_db + kinds.mean(), abs=2.0)
    assert 0.5 < performance.sigma_db < 2.5


def _one_turn(performance: Performance, level_db: float, alone: bool = True, **picture: Any) -> None:
    place: Any = SimpleNamespace(marks=(make_mark(0.0, 800.0, "1"),))
    outlook: Any = SimpleNamespace(mark_snr=np.array([1e3]), mark_p=np.ones(1), mark_merged=np.zeros(1, dtype=bool))
    looked: Any = SimpleNamespace(looked=np.zeros(1, dtype=bool), alone=np.array([alone]))
    plots: Any = SimpleNamespace(
        strength_db=np.ones(1), is_clipped=np.zeros(1, dtype=bool), peak_count=np.array([110.0])
    )
    values: dict[str, Any] = {"plots": _Sized(plots), "db_per_count": None, "db_per_count_sigma": None} | picture
    evidence: Any = SimpleNamespace(tracks=[SimpleNamespace(last_plot=0)], level_db=np.array([level_db]))
    explained: Any = [SimpleNamespace(mark=0, confidence=0.95)]
    seen: Any = SimpleNamespace(**values)
    performance.take_in(place, outlook, looked, np.zeros(1), evidence, explained, seen, 3.0, 1024)


def test_a_mark_beside_something_else_is_no_test_target() -> None:
    performance = Performance(RADAR)
    before = performance.offset_db, performance.sigma_db
    _one_turn(performance, 20.0, alone=False)
    assert (performance.offset_db, performance.sigma_db) == pytest.approx(before)
    _one_turn(performance, 20.0)
    assert performance.offset_db < before[0] - 0.5


def test_an_unsure_curve_widens_what_is_said_of_the_radar() -> None:
    # 90 counts over the noise at a third of a decibel: 30 dB, known to a tenth.
    sure, unsure = Performance(RADAR), Performance(RADAR)
    for _ in range(30):
        _one_turn(sure, 0.0, db_per_count=1 / 3, noise_counts=20.0, db_per_count_sigma=0.0)
        _one_turn(unsure, 0.0, db_per_count=1 / 3, noise_counts=20.0, db_per_count_sigma=1 / 30)
    assert unsure.offset_db == pytest.approx(sure.offset_db)
    assert unsure.sigma_db == pytest.approx(math.hypot(sure.sigma_db, 3.0), abs=0.15)


def test_the_strongest_spoke_of_a_weak_echo_passes_its_mean_by_more() -> None:
    performance = Performance(RADAR)
    above = performance._peak_over_mean_db(np.array([10.0, 1000.0]), 50.0, 1024)
    assert above[0] > above[1] > 0.0
    assert performance._peak_over_mean_db(np.array([10.0]), 50.0, None) == pytest.approx([0.0])


class _Sized:
    def __init__(self, plots: Any) -> None:
        self.__dict__.update(plots.__dict__)

    def __len__(self) -> int:
        return len(self.strength_db)


def _feature(obj: str, shape: Any, **attributes: Any) -> Feature:
    return Feature(obj, "TEST", obj, shape, attributes, 10_000)


def test_dangers_ahead_by_draught_tide_and_margin() -> None:
    chart = FakeChart(
        depths=(
            _feature("DEPARE", shapely.box(-500, -500, 500, 300), DRVAL1=5.0),
            _feature("DEPARE", shapely.box(-500, 300, 500, 600), DRVAL1=1.0),
            _feature("UWTROC", shapely.Point(3.0, 200.0)),
            _feature("LNDARE", shapely.box(-500, 600, 500, 900)),
        )
    )
    dangers = lay_out_dangers(chart)
    boat = make_boat()
    found = {d.danger.kind: d for d in ahead(dangers, boat, OWN, 0.0, 1000.0, 10.0, 0.0)}
    # 0.9 m draught, 0.5 m margin and 0.3 m squat at 5 m/s: one metre is too little without tide, enough with 0.8 m.
    assert found["shoal"].distance_m == pytest.approx(300.0, abs=1.0)
    assert found["rock"].distance_m == pytest.approx(200.0, abs=1.0) and found["rock"].danger.depth_m is None
    assert found["land"].distance_m == pytest.approx(600.0, abs=1.0)
    with_tide = {d.danger.kind for d in ahead(dangers, boat, OWN, 0.0, 1000.0, 10.0, 0.8)}
    assert "shoal" not in with_tide and "rock" in with_tide
    assert ahead(dangers, boat, OWN, math.pi / 2, 400.0, 10.0, 0.0) == ()


def test_a_structure_beside_the_way_is_not_shouted() -> None:
    wheel = Wheel(OWN, make_boat())  # 3 m beam, 5 m/s

    def urgency(*structures: Feature) -> int:
        dangers = lay_out_dangers(FakeChart(depths=structures))
        found = ahead(dangers, make_boat(), OWN, 0.0, 600.0, 9.5, 0.0, 2.0)
        return max(m.urgency for m in of_dangers(wheel, found, 0.0, 0.0))

    beside = _feature("SLCONS", shapely.box(6.0, 80.0, 9.0, 90.0))
    ahead_of_her = _feature("SLCONS", shapely.box(-2.0, 100.0, 3.0, 110.0))
    assert urgency(beside) == 2
    assert urgency(ahead_of_her) == 4
    # The one in the way is told although one beside it is nearer.
    assert urgency(beside, ahead_of_her) == 4 and urgency(ahead_of_her, beside) == 4


def test_the_chart_ends_is_a_danger() -> None:
    found = ahead(lay_out_dangers(FakeChart()), make_boat(), OWN, 0.0, 30_000.0, 10.0, None)
    assert [d.danger.kind for d in found] == ["chart ends"]


def test_covered_water_without_a_depth_is_unsurveyed_not_deep() -> None:
    dangers = lay_out_dangers(FakeChart(bare=(shapely.box(-500.0, 400.0, 500.0, 900.0),)))
    found = {d.danger.kind: d for d in ahead(dangers, make_boat(), OWN, 0.0, 1000.0, 10.0, 0.0)}
    assert set(found) == {"unsurveyed"}
    assert found["unsurveyed"].distance_m == pytest.approx(400.0, abs=2.0)
    assert ahead(dangers, make_boat(), OWN, math.pi, 1000.0, 10.0, 0.0) == ()


def test_sounder_against_chart() -> None:
    dangers = lay_out_dangers(FakeChart(depths=(_feature("DEPARE", shapely.box(-500, -500, 500, 500), DRVAL1=5.0),)))
    assert check_sounder(dangers, OWN, 6.0, 0.5, 5.0).agrees  # type: ignore[union-attr]
    assert not check_sounder(dangers, OWN, 2.0, 0.5, 5.0).agrees  # type: ignore[union-attr]
    assert check_sounder(dangers, OWN, None, 0.5, 5.0) is None
    assert check_sounder(dangers, OWN, 6.0, None, 5.0) is None


def test_the_water_behind_a_point_opens_where_geometry_says() -> None:
    # A point to port, its tip 400 m ahead and 100 m off; behind it water that opens as the tip is passed.
    edges = edges_of(shapely.box(-2000.0, 300.0, -100.0, 400.0))
    judge = Judge(make_boat(), FakeChart(land=shapely.MultiPolygon([shapely.box(-2000.0, 300.0, -100.0, 400.0)])))
    reading = judge.read(make_situation())
    assert reading.hidden is not None
    from moonless.reading.visibility.raster import behind_first_land, blank
    from moonless.sight.lines import crossings

    ranges, counts = crossings(edges, 0.0, 0.0, 3000.0)
    water = blank(ranges, counts, 3000.0, False)
    water.hide(behind_first_land(water.land), "land")
    opening = next_opening(edges, OWN, water.intervals(), 3000.0)
    assert opening is not None
    # Seen from the course at the moment of opening, the line to the water clears the tip.
    at = np.array([0.0, 5.0 * opening.in_s])
    line = shapely.LineString([at, (opening.east_m, opening.north_m)])
    assert not line.intersects(shapely.box(-2000.0, 300.0, -102.0, 400.0))
    assert opening.distance_then_m == pytest.approx(line.length, abs=1.0)


def test_a_silent_receiver_withdraws_and_says_where_she_is() -> None:
    chart = FakeChart(land=shapely.MultiPolygon([shapely.box(-100.0, 900.0, 100.0, 950.0)]))
    judge = Judge(make_boat(), chart)
    judge.read(make_situation())
    fault = Fault("position", "silent", T0)
    silent = make_situation(time_ns=T0 + 4 * S, faults=(fault,))
    reading = judge.read(silent)
    assert reading.own.lat is None and reading.echoes == () and reading.hidden is None
    assert reading.registration.sigma_m is not None and reading.registration.east_m is None
    said = " ".join(call.say for call in reading.calls)
    # 4 s at 5 m/s north of 10 north: a hundredth of a minute.
    assert "heading and last speed alone" in said and "10 00.011 north" in said


def test_carried_on_by_heading_and_speed() -> None:
    own = OwnPlane(FRAME, 0.0, 0.0, 0.0, math.radians(10.0), 5.0)
    carried = CarriedOn(make_boat(), Registrar(make_boat()).now, own, T0)
    # She turns east; the leeway of ten degrees goes with her.
    at = carried.carry(T0 + 10 * S, math.pi / 2, None)
    assert (at.east_m, at.north_m) == pytest.approx((50 * math.cos(math.radians(10)), -50 * math.sin(math.radians(10))))


def test_marks_that_the_beam_cannot_part_are_not_looked_for() -> None:
    lookout = Lookout(make_boat())
    scan: Any = SimpleNamespace(errors=SimpleNamespace(beam_rad=0.07, pulse_m=40.0))
    # Two abreast 90 m apart and one far off: at 2000 m the beam is 140 m wide, at 1000 m 70 m.
    rel = np.array([[-45.0, 2000.0], [45.0, 2000.0], [800.0, 2000.0]])
    sure = np.ones(3)
    far = lookout._unparted(rel, np.hypot(*rel.T), sure, scan)
    near = lookout._unparted(rel - [0.0, 1000.0], np.hypot(*(rel - [0.0, 1000.0]).T), sure, scan)
    assert far.tolist() == [True, True, False]
    assert not near.any()
    # One that would not show anyway covers nothing.
    faint = lookout._unparted(rel, np.hypot(*rel.T), np.array([1.0, 0.1, 1.0]), scan)
    assert faint.tolist() == [False, True, False]


def test_on_a_route_the_water_round_the_turn_opens() -> None:
    # A wall to starboard ends 500 m ahead; the route turns east past its end, and only there what it hides opens close
    # on the new leg's bow.  On the present course, north, the same water opens too, but not ahead of the new leg.
    wall = shapely.box(100.0, -2000.0, 140.0, 500.0)
    edges = edges_of(wall)
    from moonless.reading.visibility.raster import behind_first_land, blank
    from moonless.sight.lines import crossings

    ranges, counts = crossings(edges, 0.0, 0.0, 3000.0)
    water = blank(ranges, counts, 3000.0, False)
    water.hide(behind_first_land(water.land), "land")
    held = next_opening(edges, OWN, water.intervals(), 3000.0)
    way = np.array([[0.0, 600.0], [3000.0, 600.0]])
    turned = next_opening(edges, OWN, water.intervals(), 3000.0, way)
    assert held is not None and turned is not None
    # Westward there is nothing hidden, so a route that turns away from the wall opens nothing forward of its beam once
    # it has turned; before that it opens what the course opens.
    away = next_opening(edges, OWN, water.intervals(), 3000.0, np.array([[0.0, 50.0], [-3000.0, 50.0]]))
    assert away is None
    # Forward of the beam on her leg at that moment: north up to the turn, east after it.
    run_m = turned.in_s * 5.0
    course = 0.0 if run_m < 600.0 else np.pi / 2
    assert np.cos(turned.bearing_then_rad - course) > 0.0
    # The line of sight from the route's own place clears the wall.
    at = np.array([max(0.0, run_m - 600.0), min(run_m, 600.0)])
    sight = shapely.LineString([at, (turned.east_m, turned.north_m)])
    assert not shapely.intersects(sight, wall.buffer(-1.0))


def test_a_corner_is_where_the_range_of_land_leaps() -> None:
    edges = edges_of(shapely.box(-2000.0, 300.0, -100.0, 400.0))
    [first] = sight_along(edges, np.array([[0.0, 0.0]]), 3000.0)
    found = corners(first, 3000.0, 1200.0, 250.0)
    # The end of the wall is seen from its near corner to its far one at (-100, 400): there the range leaps.  A bearing
    # is half a degree, which is 15 m along a face seen so aslant.
    assert [corner.distance_m for corner in found] == pytest.approx([np.hypot(100.0, 400.0)], abs=15.0)
    assert math.degrees(found[0].bearing_rad) == pytest.approx(346.0, abs=0.5)
    # Nothing of an edge out of reach is looked at.
    [none] = sight_along(edges, np.array([[0.0, 9000.0]]), 3000.0)
    assert np.isinf(none).all()
