"""Registration finds heading bias and position offset, and says when it cannot."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from reading_edges import near_edge
from reading_fakes import FRAME, T0, S, make_boat

from moonless.reading.own import OwnPlane
from moonless.reading.registration.matching import Expected, turned_back
from moonless.reading.registration.observations import Sightings
from moonless.reading.registration.registrar import Registrar
from moonless.reading.situation import BearingByMotion
from moonless.sight.edges import edges_of

LAND = shapely.MultiPolygon(
    [
        shapely.Polygon(
            [(-2000, 700), (-900, 900), (-300, 1400), (200, 1100), (700, 1500), (700, 2500), (-2000, 2500)]
        ),
        shapely.Polygon([(900, -400), (1600, -700), (1700, 200), (1100, 100)]),
        shapely.Polygon([(-1400, -900), (-1000, -1300), (-700, -800), (-1100, -600)]),
    ]
)
EDGES = edges_of(LAND)


def _sightings(bias: float, offset: np.ndarray, rng: np.random.Generator, noise_m: float = 8.0) -> Sightings:
    edge, _ = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    keep = rng.choice(len(edge), 200, replace=False)
    truth = edge[keep] + rng.normal(0.0, noise_m, (200, 2))
    none = np.zeros((0, 2))
    # The boat is at the origin; it says it is at ``offset`` and its compass reads ``bias`` too much.
    return Sightings(
        turned_back(truth, -bias), np.broadcast_to(offset, truth.shape), none, none, np.zeros(0), np.zeros(0)
    )


@pytest.mark.parametrize(("bias_deg", "east", "north"), [(2.0, 0, 0), (0, 25.0, 0), (-3.0, -15.0, 20.0), (0, 0, 0)])
def test_bias_and_offset_are_found_with_the_contracts_sign(bias_deg: float, east: float, north: float) -> None:
    rng = np.random.default_rng(1)
    registrar = Registrar(make_boat())
    offset = np.array([east, north])
    for turn in range(8):
        at = registrar.now.state[1:]
        # The expected edge is drawn from where the boat is thought to be.
        here = offset - at
        edge, normal = near_edge(EDGES, float(here[0]), float(here[1]), 5000.0, 0.07)
        expected = Expected(edge, normal, np.zeros((0, 2)), np.zeros(0))
        now = registrar.update(T0 + turn * 2 * S, _sightings(math.radians(bias_deg), offset, rng), expected)
    assert now.is_known
    assert math.degrees(now.heading_bias) == pytest.approx(bias_deg, abs=0.3)
    assert now.state[1] == pytest.approx(east, abs=10.0)
    assert now.state[2] == pytest.approx(north, abs=10.0)
    assert now.fits is not None and now.fits > 0.8


def test_a_bearing_is_belied_by_own_motion_past_both_doubts() -> None:
    """Own figure: 2.5 sigmas of both and 0.3 degrees; nothing is belied by what is not known."""
    rng = np.random.default_rng(4)
    registrar = Registrar(make_boat())
    for turn in range(8):
        here = -registrar.now.state[1:]
        edge, normal = near_edge(EDGES, float(here[0]), float(here[1]), 5000.0, 0.07)
        expected = Expected(edge, normal, np.zeros((0, 2)), np.zeros(0))
        now = registrar.update(T0 + turn * 2 * S, _sightings(math.radians(-3.0), np.zeros(2), rng), expected)
    assert now.is_known

    def by(bias_deg: float, sigma_deg: float) -> BearingByMotion:
        return BearingByMotion(math.radians(bias_deg), math.radians(sigma_deg))

    assert now.is_belied_by(by(0.0, 0.8))
    assert now.is_belied_by(by(-6.0, 0.8))
    assert not now.is_belied_by(by(-3.0, 0.8))
    assert not now.is_belied_by(by(0.0, 1.6))
    assert not now.is_belied_by(None)
    assert not replace(now, is_known=False).is_belied_by(by(0.0, 0.8))


@pytest.mark.parametrize("n_mark", [0, 1, 2])
def test_one_well_charted_mark_takes_no_word_from_the_shore(n_mark: int) -> None:
    """Two hundred shore points that fit are believed with a beacon among them as without."""
    rng, bias, offset = np.random.default_rng(1), math.radians(2.0), np.array([15.0, -10.0])
    registrar, marks = Registrar(make_boat()), np.array([[300.0, 400.0], [-350.0, -200.0]])[:n_mark]
    for turn in range(10):
        here = offset - registrar.now.state[1:]
        edge, normal = near_edge(EDGES, float(here[0]), float(here[1]), 5000.0, 0.07)
        plots = turned_back(marks, -bias) + rng.normal(0.0, 3.0, marks.shape)
        seen = replace(
            _sightings(bias, offset, rng), plot_rel=plots, plot_own=np.broadcast_to(offset, marks.shape),
            plot_range_sigma=np.full(n_mark, 6.0), plot_azimuth_sigma=np.full(n_mark, 0.008),
        )  # fmt: skip
        now = registrar.update(T0 + turn * 2 * S, seen, Expected(edge, normal, marks, np.full(n_mark, 5.0)))
    assert now.is_known and math.degrees(now.heading_bias) == pytest.approx(2.0, abs=0.2)
    assert now.state[1:] == pytest.approx(offset, abs=3.0)
    assert now.n_used > 150


def test_putting_right_undoes_the_error() -> None:
    registrar = Registrar(make_boat())
    now = registrar.now
    known = type(now)(np.array([math.radians(2.0), 10.0, -5.0]), np.eye(3) * 1e-4, True, 1.0, 9)
    own = OwnPlane(FRAME, 10.0, -5.0, math.radians(92.0), None, None)
    right = known.put_right(own)
    assert (right.east_m, right.north_m) == pytest.approx((0.0, 0.0))
    assert right.heading_rad == pytest.approx(math.radians(90.0))
    # A thing 1000 m off, 30 degrees true, was seen at 32 degrees from the reported place.
    b = math.radians(32.0)
    seen = np.array([[1000 * math.sin(b), 1000 * math.cos(b)]])
    b = math.radians(30.0)
    placed = known.place(seen, np.array([[own.east_m, own.north_m]]))[0]
    assert placed == pytest.approx([1000 * math.sin(b), 1000 * math.cos(b)], abs=1e-6)


def test_open_water_says_nothing() -> None:
    registrar = Registrar(make_boat())
    none = np.zeros((0, 2))
    empty = Sightings(none, none, none, none, np.zeros(0), np.zeros(0))
    now = registrar.update(T0, empty, Expected(none, none, none, np.zeros(0)))
    assert not now.is_known and now.fits is None


def test_what_explains_little_is_not_believed_however_sure_of_itself() -> None:
    """A coast turned about the boat: a fit finds something here and there, and must not be told."""
    edge, normal = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    expected = Expected(edge, normal, np.zeros((0, 2)), np.zeros(0))
    for turned in (0.5, 1.0, 2.0, 3.0, 4.0, 5.0):
        rng = np.random.default_rng(12)
        registrar = Registrar(make_boat())
        for turn in range(20):
            seen = _sightings(turned, np.array([30.0, -20.0]), rng)
            now = registrar.update(T0 + turn * 2 * S, seen, expected)
            assert not now.is_known and now.correction is None


def test_what_explains_nothing_any_more_is_given_up() -> None:
    rng = np.random.default_rng(13)
    edge, normal = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    expected = Expected(edge, normal, np.zeros((0, 2)), np.zeros(0))
    registrar = Registrar(make_boat())
    for turn in range(10):
        now = registrar.update(T0 + turn * 2 * S, _sightings(0.02, np.zeros(2), rng), expected)
    assert now.is_known and now.taken_out[0] == pytest.approx(0.02, abs=0.005)
    for turn in range(10, 50):
        now = registrar.update(T0 + turn * 2 * S, _sightings(2.0, np.zeros(2), rng), expected)
    assert not now.is_known and now.agrees is False
    assert now.taken_out == pytest.approx(0.0)


def test_a_place_that_is_carried_on_is_not_given_up_for_one_reported() -> None:
    """Without a receiver there is none: its offset stays what it was."""
    rng = np.random.default_rng(13)
    edge, normal = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    expected = Expected(edge, normal, np.zeros((0, 2)), np.zeros(0))
    registrar = Registrar(make_boat())
    for turn in range(10):
        registrar.update(T0 + turn * 2 * S, _sightings(0.02, np.array([20.0, 10.0]), rng), expected)
    for turn in range(10, 50):
        now = registrar.update(T0 + turn * 2 * S, _sightings(2.0, np.zeros(2), rng), expected, 2.0, 20.0)
    assert now.agrees is False and now.correction is not None
    assert now.state[1:] == pytest.approx([20.0, 10.0], abs=8.0)


def test_it_begins_from_a_far_place_only_where_the_coast_fits_closely() -> None:
    rng = np.random.default_rng(14)
    offset = np.array([120.0, -100.0])
    edge, normal = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    expected = Expected(edge, normal, np.zeros((0, 2)), np.zeros(0))
    seen = _sightings(math.radians(-3.0), offset, rng)
    guess = np.array([math.radians(-2.0), 100.0, -80.0])
    registrar = Registrar(make_boat())
    assert registrar.begin_from(T0, seen, expected, np.array([math.radians(40.0), 100.0, 300.0])) is None
    begun = registrar.begin_from(T0, seen, expected, guess)
    assert begun is None  # not believed yet, but begun
    assert registrar.now.fits is not None and registrar.now.fits >= 0.6
    for turn in range(1, 6):
        seen = _sightings(math.radians(-3.0), offset, rng)
        now = registrar.update(T0 + turn * 2 * S, seen, expected)
    assert now.is_known
    assert math.degrees(now.heading_bias) == pytest.approx(-3.0, abs=0.3)
    assert now.state[1:] == pytest.approx(offset, abs=8.0)


def test_a_straight_shore_fixes_no_position_along_it() -> None:
    rng = np.random.default_rng(2)
    edges = edges_of(shapely.box(-9000.0, 800.0, 9000.0, 3000.0))
    edge, normal = near_edge(edges, 0.0, 0.0, 3000.0, 0.07)
    registrar = Registrar(make_boat())
    keep = rng.choice(len(edge), 200, replace=False)
    none = np.zeros((0, 2))
    seen = Sightings(edge[keep], np.zeros((200, 2)), none, none, np.zeros(0), np.zeros(0))
    for turn in range(10):
        now = registrar.update(T0 + turn * S, seen, Expected(edge, normal, none, np.zeros(0)))
    assert not now.is_known


def test_agreement_is_not_lost_by_a_turn_and_is_lost_by_many() -> None:
    rng = np.random.default_rng(6)
    edge, normal = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    expected = Expected(edge, normal, np.zeros((0, 2)), np.zeros(0))
    registrar = Registrar(make_boat())
    turn = 0

    def told(is_good: bool) -> bool | None:
        nonlocal turn
        turn += 1
        seen = _sightings(0.0, np.zeros(2), rng)
        if not is_good:
            # A shower: echo where the chart has nothing.
            none = np.zeros((0, 2))
            shower = rng.uniform(-1.0, 1.0, (200, 2)) * [250.0, 150.0] + [0.0, -2000.0]
            seen = Sightings(shower, np.zeros((200, 2)), none, none, np.zeros(0), np.zeros(0))
        return registrar.update(T0 + turn * 2 * S, seen, expected).agrees

    assert [told(True) for _ in range(6)][-1] is True
    assert told(False) is True and told(False) is True
    assert [told(False) for _ in range(12)][-1] is False
    assert told(True) is False
    assert [told(True) for _ in range(12)][-1] is True


def test_marks_that_stand_where_they_should_speak_for_agreement() -> None:
    """Few shore sightings that fit nothing, but every beacon at its place: radar and chart agree."""
    rng = np.random.default_rng(7)
    edge, normal = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    marks = rng.uniform(-1500.0, 1500.0, (8, 2))
    stray = rng.uniform(-100.0, 100.0, (24, 2)) + np.array([0.0, -2500.0])
    for there in (marks, marks + np.array([300.0, -250.0])):
        registrar = Registrar(make_boat())
        for turn in range(12):
            seen = Sightings(stray, np.zeros((24, 2)), there, np.zeros((8, 2)), np.full(8, 5.0), np.full(8, 0.01))
            agrees = registrar.update(T0 + turn * S, seen, Expected(edge, normal, marks, np.full(8, 10.0))).agrees
        assert agrees is (there is marks)


@pytest.mark.parametrize("is_shore_seen", [True, False])
def test_shore_without_a_charted_one_and_a_charted_one_without_shore_are_no_fault(is_shore_seen: bool) -> None:
    """Marks alone on one side, shore alone on the other: nothing fits, nothing is known, and the watch goes on."""
    rng = np.random.default_rng(2)
    edge, normal = near_edge(EDGES, 0.0, 0.0, 5000.0, 0.07)
    none, marks = np.zeros((0, 2)), np.array([[400.0, 300.0], [-500.0, 200.0], [-100.0, -600.0]])
    shore = edge[:40] if is_shore_seen else none
    plots = none if is_shore_seen else rng.uniform(-900.0, 900.0, (8, 2))
    seen = Sightings(
        shore, np.zeros_like(shore), plots, np.zeros_like(plots), np.full(len(plots), 5.0), np.full(len(plots), 0.01)
    )
    expected = Expected(none, none, marks, np.ones(3)) if is_shore_seen else Expected(edge, normal, none, np.zeros(0))
    registrar = Registrar(make_boat())
    for turn in range(6):
        now = registrar.update(T0 + turn * 2 * S, seen, expected)
    assert not now.is_known and np.isfinite(now.state).all()
