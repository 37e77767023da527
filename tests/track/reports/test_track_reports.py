"""Which track a report goes to, when it is joined and parted, and what it tells the track; by geometry and scipy."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis
from scipy.stats import multivariate_normal
from track_world import FRAME, NS

from moonless.track.ais_association import Fusion, Report, distance, fold_in
from moonless.track.track_store import TrackStore
from moonless.track.types import AisTarget, RadarTarget

COURSES = [0.0, 1.0, 2.6, 4.4]
Vector = tuple[float, float]


def _store(*tracks: tuple[float, float, float, float], sigma_m: float = 5.0, sigma_v: float = 0.2) -> TrackStore:
    """Confirmed tracks at (east, north, velocity east, north), all models agreeing, with ids 11, 12, ..."""
    n = len(tracks)
    store = TrackStore.empty()
    made = {}
    for name in store.__dataclass_fields__:
        old = getattr(store, name)
        made[name] = np.zeros((n, *old.shape[1:]), dtype=old.dtype)
    made["x"][:, :, :4] = np.array(tracks)[:, None]
    made["p"][:] = np.diag([sigma_m**2] * 2 + [sigma_v**2] * 2 + [1e-4, 1e-6, 1.0, 1.0])
    made["mu"][:] = 0.25
    made["id"][:] = np.arange(11, 11 + n)
    made["confirmed"][:] = True
    return TrackStore(**made)


def _ais(mmsi: int, at_s: float, place: Vector, velocity: Vector | None = (0.0, 0.0), **more: object) -> AisTarget:
    lat, lon = FRAME.to_geographic(*place)
    cog = None if velocity is None else math.atan2(*velocity) % math.tau
    sog = None if velocity is None else math.hypot(*velocity)
    made = AisTarget(mmsi=mmsi, time_ns=round(at_s * NS), lat_deg=lat, lon_deg=lon, cog_rad=cog, sog=sog)
    return replace(made, **more) if more else made


def _joined(fusion: Fusion, targets: list[AisTarget]) -> dict[int, int]:
    """Return {MMSI: track}."""
    return {ais.mmsi: track for track, ais in fusion.ais_of(targets).items()}


def _told(store: TrackStore, targets: list[AisTarget], turns: int = 3, step_s: float = 10.0) -> dict[int, int]:
    """Report the same things anew on each turn; return who is joined to what."""
    fusion = Fusion(FRAME)
    for k in range(turns):
        now = [replace(t, time_ns=t.time_ns + round(k * step_s * NS)) for t in targets]
        fusion.update(round(k * step_s * NS), store, now, [])
    return _joined(fusion, targets)


def _turned(course: float, along: float, right: float) -> Vector:
    return along * math.sin(course) + right * math.cos(course), along * math.cos(course) - right * math.sin(course)


@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("right", [-7.0, 7.0])
@pytest.mark.parametrize("is_first", [True, False])
def test_of_two_near_tracks_a_report_goes_to_the_nearer(course: float, right: float, is_first: bool) -> None:
    """Two lie 24 m apart, the report between them, 5 m nearer to one: it could be of either."""
    way = _turned(course, 4.0, 0.0)
    places = [_turned(course, 700.0, -12.0), _turned(course, 700.0, 12.0)]
    order = places if is_first else places[::-1]
    near = 11 + order.index(places[0] if right < 0.0 else places[1])
    fusion = Fusion(FRAME)
    for k in range(3):
        store = _store(*((p[0] + way[0] * k, p[1] + way[1] * k, *way) for p in order))
        said = _turned(course, 700.0 + 4.0 * k, right)
        target = _ais(5, float(k), said, way)
        fusion.update(k * NS, store, [target], [])
    assert _joined(fusion, [target]) == {5: near}


@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("is_swapped", [False, True])
def test_two_reports_share_two_tracks_so_that_both_fit(course: float, is_swapped: bool) -> None:
    """Both reports are nearest to the same track; the one that has no other gets it."""
    tracks = [_turned(course, 0.0, 0.0), _turned(course, 0.0, 30.0)]
    reports = {1: _turned(course, 0.0, -12.0), 2: _turned(course, 0.0, 12.0)}
    if is_swapped:
        tracks = tracks[::-1]
    store = _store(*((*t, 0.0, 0.0) for t in tracks))
    said = [_ais(m, 0.0, p) for m, p in reports.items()]
    want = {1: 12 if is_swapped else 11, 2: 11 if is_swapped else 12}
    assert _told(store, said) == want and _told(store, said[::-1]) == want


def test_a_standing_match_is_kept_though_another_lies_nearer_by_now() -> None:
    fusion = Fusion(FRAME)
    for k in range(4):
        fusion.update(k * NS, _store((0.0, 0.0, 0.0, 0.0), (60.0, 0.0, 0.0, 0.0)), [_ais(5, float(k), (0.0, 0.0))], [])
    last = _ais(5, 4.0, (16.0, 0.0))
    fusion.update(4 * NS, _store((0.0, 0.0, 0.0, 0.0), (18.0, 0.0, 0.0, 0.0)), [last], [])
    assert _joined(fusion, [last]) == {5: 11}


def test_it_is_joined_by_the_second_report_or_by_four_turns_on_one() -> None:
    store, fusion = _store((0.0, 0.0, 0.0, 0.0)), Fusion(FRAME)
    for k in range(2):
        assert _joined(fusion, [_ais(5, 0.0, (0.0, 0.0))]) == {}
        fusion.update(k * NS, store, [_ais(5, float(k), (3.0, 3.0))], [])
    assert _joined(fusion, [_ais(5, 0.0, (0.0, 0.0))]) == {5: 11}
    # One report, and turns without a new one: a quarter each.
    store, fusion, one = _store((0.0, 0.0, 0.0, 0.0)), Fusion(FRAME), _ais(6, 0.0, (3.0, 3.0))
    joined = []
    for k in range(6):
        fusion.update(k * NS, store, [one], [])
        joined.append(_joined(fusion, [one]) == {6: 11})
    assert joined == [False, False, False, False, True, True]


@pytest.mark.parametrize(("n_agreed", "n_against"), [(2, 2), (4, 3), (6, 4), (12, 4)])
def test_it_is_parted_by_disagreement_that_outweighs_the_agreement(n_agreed: int, n_against: int) -> None:
    """Each report against it undoes one and a half for it, and no more than six are remembered."""
    store, fusion = _store((0.0, 0.0, 0.0, 0.0), sigma_m=5.0), Fusion(FRAME)
    for k in range(n_agreed):
        fusion.update(k * NS, store, [_ais(5, float(k), (0.0, 0.0))], [])
    for j in range(n_against):
        assert _joined(fusion, [_ais(5, 0.0, (0.0, 0.0))]) == {5: 11}
        k = n_agreed + j
        fusion.update(k * NS, _store((0.0, 0.0, 0.0, 0.0)), [_ais(5, float(k), (300.0, 0.0))], [])
    assert _joined(fusion, [_ais(5, 0.0, (0.0, 0.0))]) == {}


def test_a_match_ends_with_its_track() -> None:
    fusion = Fusion(FRAME)
    for k in range(3):
        fusion.update(k * NS, _store((0.0, 0.0, 0.0, 0.0)), [_ais(5, float(k), (0.0, 0.0))], [])
    gone = _store((0.0, 0.0, 0.0, 0.0), (0.0, 0.0, 0.0, 0.0))
    gone.keep(np.array([False, True]))
    last = _ais(5, 3.0, (0.0, 0.0))
    fusion.update(3 * NS, gone, [last], [])
    assert 11 not in _joined(fusion, [last]).values()


def test_only_confirmed_tracks_are_joined() -> None:
    store = _store((0.0, 0.0, 0.0, 0.0))
    store.confirmed[:] = False
    assert _told(store, [_ais(5, 0.0, (0.0, 0.0))]) == {}


@pytest.mark.parametrize("course", COURSES)
def test_a_report_is_carried_on_to_now_along_its_course(course: float) -> None:
    """Twenty seconds old at 6 m/s: 120 m farther on, give or take 0.4 m/s."""
    way = _turned(course, 6.0, 0.0)
    for along, is_joined in ((120.0, True), (0.0, False), (-120.0, False), (55.0, False)):
        store = _store((*_turned(course, along, 0.0), *way))
        fusion = Fusion(FRAME)
        for k in range(3):
            target = _ais(5, 980.0 + 0.001 * k, (0.0, 0.0), way)
            fusion.update(1000 * NS, store, [target], [])
        assert (_joined(fusion, [target]) == {5: 11}) is is_joined


@pytest.mark.parametrize(
    ("age_s", "off_m", "is_joined"),
    # Ten metres by AIS and five by radar, and 0.4 m/s of age: sigma 11.2, 13.7, 80.8; the gate is 18.5, 4.3 sigma.
    [(0.0, 46.0, True), (0.0, 50.0, False), (20.0, 57.0, True), (20.0, 61.0, False), (199.0, 330.0, True),
     (199.0, 360.0, False), (201.0, 0.0, False)],
)  # fmt: skip
def test_how_far_off_a_report_may_lie_by_its_age(age_s: float, off_m: float, is_joined: bool) -> None:
    for east, north in ((off_m, 0.0), (0.0, off_m)):
        fusion = Fusion(FRAME)
        for k in range(3):
            target = _ais(5, 1000.0 + 0.001 * k - age_s, (east, north))
            fusion.update(1000 * NS, _store((0.0, 0.0, 0.0, 0.0)), [target], [])
        assert (_joined(fusion, [target]) == {5: 11}) is is_joined


def test_without_a_motion_the_place_alone_is_asked_and_grows_doubtful_sooner() -> None:
    # Ten seconds at 3 m/s: sigma sqrt(125 + 16 + 900) = 32.3, gate 13.8, 3.7 sigma: 120 m.
    for off_m, velocity, is_joined in ((115.0, None, True), (125.0, None, False), (115.0, (0.0, 0.0), False)):
        for place in ((off_m, 0.0), (0.0, off_m)):
            store = _store((0.0, 0.0, 3.0, -4.0) if velocity is None else (0.0, 0.0, 0.0, 0.0))
            fusion = Fusion(FRAME)
            for k in range(3):
                target = _ais(5, 990.0 + 0.001 * k, place, velocity)
                fusion.update(1000 * NS, store, [target], [])
            assert (_joined(fusion, [target]) == {5: 11}) is is_joined
    # A speed without a course is no motion either, but for one that lies still.
    fast = replace(_ais(5, 0.0, (0.0, 0.0), None), sog=5.0)
    assert _told(_store((0.0, 0.0, 3.0, -4.0)), [fast]) == {5: 11}
    still = replace(fast, sog=0.05)
    assert _told(_store((0.0, 0.0, 3.0, -4.0)), [still]) == {} and _told(_store((0.0, 0.0, 0.2, 0.1)), [still]) == {
        5: 11
    }


@pytest.mark.parametrize(("off_by", "is_joined"), [(1.85, True), (1.98, False)])
def test_another_speed_is_another_vessel(off_by: float, is_joined: bool) -> None:
    # sigma sqrt(0.4^2 + 0.2^2) = 0.447; 4.3 of them are 1.92.
    for way in ((off_by, 0.0), (0.0, -off_by)):
        assert (
            _told(_store((0.0, 0.0, 0.0, 0.0)), [_ais(5, 0.0, (0.0, 0.0), way)], step_s=0.001) == {5: 11}
        ) is is_joined


def test_the_aerial_of_a_long_ship_may_stand_off_the_middle_of_her_echo() -> None:
    store = _store((0.0, 0.0, 0.0, 0.0))
    assert _told(store, [_ais(5, 0.0, (60.0, 0.0), length_m=200.0)]) == {5: 11}
    assert _told(store, [_ais(5, 0.0, (60.0, 0.0), length_m=20.0)]) == {}


def test_own_and_virtual_ones_and_places_that_are_none_are_left_out_and_an_aid_lies_still() -> None:
    store = _store((0.0, 0.0, 0.0, 0.0))
    assert _told(store, [_ais(5, 0.0, (0.0, 0.0), is_own=True)]) == {}
    assert _told(store, [_ais(5, 0.0, (0.0, 0.0), is_virtual_aid=True)]) == {}
    for change in ({"lat_deg": math.nan}, {"lon_deg": math.nan}):
        assert _told(store, [_ais(5, 0.0, (0.0, 0.0), **change)]) == {}
    assert _told(store, [_ais(5, 0.0, (0.0, 0.0), (9.0, 0.0), is_aid=True)]) == {5: 11}


def test_ais_and_another_radars_target_may_both_be_one_track() -> None:
    lat, lon = FRAME.to_geographic(4.0, 0.0)
    fusion, store = Fusion(FRAME), _store((0.0, 0.0, 0.0, 0.0), (500.0, 0.0, 0.0, 0.0))
    for k in range(3):
        other = RadarTarget("other", 3, k * NS, lat, lon, 0.0, 0.0, "T3")
        fusion.update(k * NS, store, [_ais(5, float(k), (0.0, 3.0))], [other])
    assert _joined(fusion, [_ais(5, 0.0, (0.0, 0.0))]) == {5: 11}
    assert {t: o.number for t, o in fusion.others_of([other]).items()} == {11: 3}


@pytest.mark.parametrize("offset", [(40.0, 0.0), (0.0, -60.0), (-30.0, 30.0)])
@pytest.mark.parametrize("is_chart_off", [True, False])
def test_the_vessels_tell_whether_the_chart_or_the_receiver_is_off(offset: Vector, is_chart_off: bool) -> None:
    """The own position was put right by an offset; where the chart is off, every AIS place is off by the same."""
    places = [(0.0, 800.0), (900.0, 0.0), (-700.0, -300.0)]
    fusion = Fusion(FRAME)
    said: list[AisTarget] = []
    for k in range(4):
        by = offset if is_chart_off else (0.0, 0.0)
        said = [_ais(m, 5.0 * k, (p[0] + by[0], p[1] + by[1])) for m, p in enumerate(places, 1)]
        fusion.update(round(5.0 * k * NS), _store(*((*p, 0.0, 0.0) for p in places)), said, [], np.array(offset))
    assert _joined(fusion, said) == {1: 11, 2: 12, 3: 13}
    # Off the other way they are nobody's.
    fusion = Fusion(FRAME)
    for k in range(4):
        said = [_ais(m, 5.0 * k, (p[0] - 2 * offset[0], p[1] - 2 * offset[1])) for m, p in enumerate(places, 1)]
        fusion.update(round(5.0 * k * NS), _store(*((*p, 0.0, 0.0) for p in places)), said, [], np.array(offset))
    assert _joined(fusion, said) == {}


def _report(state: np.ndarray, covariance: np.ndarray) -> Report:
    return Report("k", 0, state, covariance, _ais(5, 0.0, (0.0, 0.0)))


@pytest.mark.parametrize("n", [2, 4])
def test_the_distance_is_mahalanobis(n: int) -> None:
    rng = np.random.default_rng(n)
    a, b = rng.normal(size=(2, 4, 4))
    first, second = a @ a.T, b @ b.T
    state, mean = rng.normal(size=(2, 4))
    if n == 2:
        state[2:] = np.nan
    d2, gate = distance(_report(state, first), mean, second)
    both = np.linalg.inv((first + second)[:n, :n])
    assert d2 == pytest.approx(mahalanobis(state[:n], mean[:n], both) ** 2)
    assert gate == {2: 13.8, 4: 18.5}[n]  # chi-square, 99.9 %: 13.82 and 18.47


@pytest.mark.parametrize("n", [2, 4])
def test_what_a_report_tells_a_track_is_bayes(n: int) -> None:
    """Information adds up, and the models are weighed by how likely the report was to each."""
    rng = np.random.default_rng(10 + n)
    store = _store((0.0, 0.0, 1.0, 2.0), (900.0, 0.0, 0.0, 0.0))
    root = rng.normal(size=(4, 8, 8))
    store.p[0] = root @ np.swapaxes(root, 1, 2) + 0.5 * np.eye(8)
    store.x[0] += rng.normal(size=(4, 8))
    store.mu[0] = [0.1, 0.2, 0.3, 0.4]
    x, p, mu = store.x.copy(), store.p.copy(), store.mu.copy()
    noise = rng.normal(size=(4, 4))
    r, z = noise @ noise.T + np.eye(4), rng.normal(size=4) + x[0, 0, :4]
    if n == 2:
        z[2:] = np.nan
    fold_in(store, 0, z, r)
    h = np.eye(8)[:n]
    like = np.zeros(4)
    for m in range(4):
        told = h.T @ np.linalg.inv(r[:n, :n])
        cov = np.linalg.inv(np.linalg.inv(p[0, m]) + told @ h)
        want = cov @ (np.linalg.solve(p[0, m], x[0, m]) + told @ z[:n])
        assert np.allclose(store.p[0, m], cov, atol=1e-8) and np.allclose(store.x[0, m], want, atol=1e-8)
        like[m] = multivariate_normal(h @ x[0, m], h @ p[0, m] @ h.T + r[:n, :n]).pdf(z[:n])
    assert np.allclose(store.mu[0], mu[0] * like / (mu[0] @ like))
    assert np.array_equal(store.x[1], x[1]) and np.array_equal(store.p[1], p[1])


def test_a_report_is_folded_in_once() -> None:
    fusion, store, one = Fusion(FRAME), _store((0.0, 0.0, 0.0, 0.0)), _ais(5, 2.0, (6.0, 0.0))
    for k in range(2):
        fusion.update(k * NS, store, [_ais(5, float(k), (6.0, 0.0))], [])
    before = store.x[0, 0, 0]
    fusion.update(2 * NS, store, [one], [])
    moved = store.x[0, 0, 0]
    assert moved > before
    fusion.update(3 * NS, store, [one], [])
    assert store.x[0, 0, 0] == moved


def test_the_one_that_has_agreed_longer_is_hers_though_another_lies_nearer() -> None:
    places = [(1500.0, -1200.0, 0.0, 0.0), (1510.0, -1200.0, 0.0, 0.0)]
    for long_known in (0, 1):
        fusion = Fusion(FRAME)
        for k in range(6):
            store = _store(*places)
            store.confirmed[:] = k == 5
            store.keep(np.arange(2) == long_known if k < 3 else np.array([True, True]))
            last = _ais(5, float(k), (1510.0 - 10.0 * long_known, -1200.0))
            fusion.update(k * NS, store, [last], [])
        assert _joined(fusion, [last]) == {5: 11 + long_known}
