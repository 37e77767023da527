"""What the tracker learns, against counts by hand, the mean of a chi-square, and a rotation that was put in."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from moonless.frames import LocalFrame
from moonless.track.learnt.clutter_density import ClutterDensity
from moonless.track.learnt.noise_scale import NoiseScale
from moonless.track.learnt.turn_rotation import TurnRotation, _agreed, turned
from moonless.track.measurements import Measured
from moonless.track.settings import TrackerSettings

SETTINGS = TrackerSettings()


def _plots(places: Any, strength: Any = 20.0, own: tuple[float, float] = (0.0, 0.0)) -> Measured:
    at = np.asarray(places, dtype=float).reshape(-1, 2)
    n = len(at)
    rel = at - np.array(own)
    return Measured(
        np.arange(n), at, np.zeros((n, 2, 2)), np.zeros((n, 2, 3)), np.zeros(n), np.hypot(rel[:, 0], rel[:, 1]),
        np.arctan2(rel[:, 0], rel[:, 1]), np.tile(own, (n, 1)).astype(float),
        np.broadcast_to(strength, (n,)).astype(float),
    )  # fmt: skip


def _learn(density: ClutterDensity, places: Any, false: Any = 1.0, owner: Any = -1, strength: Any = 20.0) -> None:
    got = _plots(places, strength)
    n = len(got)
    density.learn(got, np.broadcast_to(false, (n,)).astype(float), np.broadcast_to(owner, (n,)).astype(np.int64))


def test_false_plots_are_counted_within_reach_and_as_strong_and_fade() -> None:
    """130 m about a plot, or 0.15 of its range; those up to 6 dB weaker; a twentieth fades with each turn."""
    d = ClutterDensity(SETTINGS)
    _learn(d, [(300.0, 0.0), (300.0, 129.0), (300.0, -131.0), (429.0, 0.0), (171.0, 1.0), (160.0, 0.0)])
    assert d.count(_plots([(300.0, 0.0)]))[0] == pytest.approx(4.0)
    # At 2000 m the reach is 300 m: what is 299 m off counts, what is 301 does not.
    e = ClutterDensity(SETTINGS)
    _learn(e, [(0.0, 2299.0), (0.0, 1699.0), (-299.0, 2000.0)])
    assert e.count(_plots([(0.0, 2000.0)]))[0] == pytest.approx(2.0)
    # Asked about a plot of 25.9 dB those of 20 count, of 26.1 they do not.
    assert d.count(_plots([(300.0, 0.0)], 25.9))[0] == pytest.approx(4.0)
    assert d.count(_plots([(300.0, 0.0)], 26.1))[0] == pytest.approx(0.0)
    for turn in range(1, 4):
        _learn(d, [(-4000.0, 0.0)])
        assert d.count(_plots([(300.0, 0.0)]))[0] == pytest.approx(4.0 * 0.95**turn)
    # A share that is false counts by that share; next to none is not kept.
    f = ClutterDensity(SETTINGS)
    _learn(f, [(0.0, 300.0), (0.0, 310.0)], [0.5, 0.01])
    assert f.count(_plots([(0.0, 300.0)]))[0] == pytest.approx(0.5)
    for _ in range(100):
        _learn(f, [(-4000.0, 0.0)])
    assert f.count(_plots([(0.0, 300.0)]))[0] == 0.0


def test_a_places_density_is_a_gamma_mean_of_count_and_prior() -> None:
    """(1 + count) / (1 / prior + area x turns), prior 2e-6 a square metre and turn; turns fade too."""
    d = ClutterDensity(SETTINGS)
    got = _plots([(0.0, 300.0), (0.0, 2000.0)])
    assert d.density(got, np.array([0.0, 3.0])) == pytest.approx([2e-6, 8e-6])
    _learn(d, [(9000.0, 0.0)])
    _learn(d, [(9000.0, 0.0)])
    for reach, k in ((130.0, 0), (300.0, 1)):
        want = (1.0 + 2.0) / (1.0 / 2e-6 + math.pi * reach**2 * 1.95)
        assert d.density(got, np.array([2.0, 2.0]))[k] == pytest.approx(want)


def test_plots_of_a_track_that_is_confirmed_were_no_clutter() -> None:
    d = ClutterDensity(SETTINGS)
    _learn(d, [(0.0, 300.0), (0.0, 310.0), (0.0, 320.0)], owner=[4, -1, 7])
    d.release(np.array([7, 9]))
    assert d.count(_plots([(0.0, 300.0)]))[0] == pytest.approx(2.0)
    d.release(np.array([4]))
    assert d.count(_plots([(0.0, 300.0)]))[0] == pytest.approx(1.0)


def test_plots_stay_where_they_were_over_the_ground_when_the_plane_moves() -> None:
    old, new = LocalFrame(10.0, -150.0), LocalFrame(10.02, -149.97)
    d = ClutterDensity(SETTINGS)
    _learn(d, [(500.0, 300.0)])
    d.reframe(old, new)
    east, north = new.to_plane(*old.to_geographic(500.0, 300.0))
    assert d.count(_plots([(float(east), float(north))], own=(float(east) - 100.0, float(north))))[0] == pytest.approx(
        1.0
    )
    assert d.count(_plots([(500.0, 300.0)]))[0] == 0.0


class _Store:
    """What is asked of the tracks."""

    def __init__(self, n: int, **of: Any) -> None:
        plain: dict[str, Any] = {"confirmed": True, "exists": 0.99, "n_hits": 9, "misses": 0, "still": 1.0}
        for name, value in {**plain, **of}.items():
            setattr(self, name, np.broadcast_to(value, (n,)))
        self.mu = np.zeros((n, 4))
        self.mu[:, 0] = self.still  # type: ignore[attr-defined]
        self.x = np.zeros((n, 4, 8))
        self._n = n

    def __len__(self) -> int:
        return self._n


def _taught(
    surprise: Any, share: Any = 0.9, taken: Any = None, scale: NoiseScale | None = None, **of: Any
) -> NoiseScale:
    scale = scale or NoiseScale(SETTINGS)
    n = len(np.atleast_1d(surprise))
    store: Any = _Store(n, **of)
    scale.learn(
        store, np.atleast_1d(surprise).astype(float), np.broadcast_to(share, (n,)).astype(float),
        np.arange(n) if taken is None else np.asarray(taken),
    )  # fmt: skip
    return scale


def test_plots_that_scatter_as_promised_teach_nothing_on_the_mean() -> None:
    """The squared distance is chi-square of two: cut at nine its half has a mean of 1 - exp(-4.5) = 0.989."""
    assert 1.0 - math.exp(-4.5) == pytest.approx(0.989, abs=5e-4)
    mean = stats.chi2(2).expect(lambda x: np.minimum(x, 9.0)) / 2.0
    assert mean == pytest.approx(0.989, abs=5e-4)
    scale = _taught(np.full(6, 2.0 * 0.989))
    assert scale.scale == pytest.approx(1.0, abs=1e-6)


def test_plots_that_scatter_more_raise_the_noise_the_first_ones_most() -> None:
    """The sum of (half the square - 0.989) over ten promised and those seen, three times a turn's own at the least."""
    scale = _taught([6.0])
    want = math.exp((3.0 - 0.989) / 11.0)
    assert scale.scale == pytest.approx(want)
    _taught([6.0], scale=scale)
    want *= math.exp((3.0 - 0.989) / 12.0)
    assert scale.scale == pytest.approx(want)
    # A stranger teaches as nine would; 40 at once weigh as 120, for they have one turn's errors.
    assert _taught([500.0]).scale == pytest.approx(math.exp((4.5 - 0.989) / 11.0))
    assert _taught(np.full(40, 6.0)).scale == pytest.approx(math.exp(40 * 2.011 / 120.0))
    # Sixty are remembered at the most.
    many = NoiseScale(SETTINGS)
    for _ in range(30):
        _taught(np.full(3, 2.0 * 0.989), scale=many)
    _taught([6.0], scale=many)
    assert many.scale == pytest.approx(math.exp(2.011 / 70.0), rel=1e-6)


def test_noise_is_never_believed_less_than_promised_nor_sixteen_times_more() -> None:
    scale = NoiseScale(SETTINGS)
    for _ in range(20):
        _taught([0.0], scale=scale)
    assert scale.scale == 1.0
    for _ in range(400):
        _taught(np.full(8, 9.0), scale=scale)
    assert scale.scale == 16.0


@pytest.mark.parametrize(
    ("of", "more", "teaches"),
    [
        ({}, {}, True), ({"confirmed": False, "exists": 0.91}, {}, True),
        ({"confirmed": False, "exists": 0.89}, {}, False),
        ({"n_hits": 4}, {}, True), ({"n_hits": 3}, {}, False), ({}, {"share": 0.79}, False),
        ({}, {"share": 0.81}, True),
        ({}, {"taken": [-1]}, False), ({"exists": 0.1}, {}, True),
    ],
)  # fmt: skip
def test_which_plots_teach(of: dict[str, Any], more: dict[str, Any], teaches: bool) -> None:
    assert (_taught([6.0], **more, **of).scale > 1.0) is teaches


def test_a_plots_share_is_that_of_the_plot_and_its_surprise_that_of_the_track() -> None:
    # Track 0 took plot 1, track 1 took plot 0, which is shared.
    scale = _taught([6.0, 4.0], share=[0.5, 0.9], taken=[1, 0])
    assert scale.scale == pytest.approx(math.exp(2.011 / 11.0))


def test_turned_back_is_about_the_boat_and_clockwise_lessened() -> None:
    got = _plots([(300.0, 700.0), (-500.0, 200.0)], own=(100.0, 50.0))
    back = turned(got, math.radians(3.0))
    rel, before = back.place_m - back.own_m, got.place_m - got.own_m
    assert np.hypot(*rel.T) == pytest.approx(np.hypot(*before.T))
    assert np.degrees(np.arctan2(*before.T) - np.arctan2(*rel.T)) == pytest.approx([3.0, 3.0])
    assert np.degrees(got.bearing_rad - back.bearing_rad) == pytest.approx([3.0, 3.0])
    assert turned(got, 0.0) is got


def _world(n: int = 40, **of: Any) -> tuple[Any, np.ndarray]:
    """Still things all round, 350 to 2500 m off; the boat is not at the plane's middle."""
    rng = np.random.default_rng(8)
    away, azimuth = rng.uniform(350.0, 2500.0, n), np.linspace(0.0, math.tau, n, endpoint=False) + 0.01
    at = np.column_stack([away * np.sin(azimuth), away * np.cos(azimuth)]) + np.array([400.0, -900.0])
    store: Any = _Store(n, **of)
    store.x[:, 0, :2] = at
    return store, at


def _turn(at: np.ndarray, by_deg: float, own: tuple[float, float] = (400.0, -900.0)) -> Measured:
    """The same things, a turn of which lies clockwise by so much."""
    return turned(_plots(at, own=own), -math.radians(by_deg))


def test_a_turn_that_lies_askew_is_turned_back() -> None:
    """By turns of one degree either way: after some, all but what the estimate itself doubts is taken out."""
    store, at = _world()
    rotation = TurnRotation()
    for k in range(12):
        askew = 1.0 if k % 2 else -1.0
        got = rotation.less_it(_turn(at, askew), store)
    # Its variance is then about one square degree, less 0.3 squared; the estimate's 0.1 squared over forty.
    off = np.degrees(got.bearing_rad - _plots(at, own=(400.0, -900.0)).bearing_rad)
    assert np.abs(off).max() < 0.03
    assert math.degrees(math.sqrt(rotation.variance)) == pytest.approx(1.0, abs=0.06)
    assert abs(math.degrees(rotation.lasting)) < 0.05


def test_what_lasts_is_not_taken_out() -> None:
    store, at = _world()
    rotation = TurnRotation()
    steps = []
    for _ in range(200):
        got = rotation.less_it(_turn(at, 2.0), store)
        steps.append(rotation.lasting)
    # A fiftieth of what is left comes with each turn: 1 - 0.98^k.
    assert np.degrees(steps[0]) == pytest.approx(0.04, abs=2e-3)
    assert np.degrees(steps[99]) == pytest.approx(2.0 * (1.0 - 0.98**100), rel=0.02)
    off = np.degrees(got.bearing_rad - _plots(at, own=(400.0, -900.0)).bearing_rad)
    assert off == pytest.approx(2.0, abs=0.06)


def test_a_small_jitter_is_left_alone() -> None:
    store, at = _world()
    rotation = TurnRotation()
    for k in range(12):
        plain = _turn(at, 0.25 if k % 2 else -0.25)
        assert rotation.less_it(plain, store) is plain
    assert rotation.variance == pytest.approx(math.radians(0.25) ** 2, rel=0.1)


@pytest.mark.parametrize(
    ("of", "is_asked"),
    [
        ({}, True), ({"confirmed": False}, False), ({"still": 0.69}, False), ({"still": 0.71}, True),
        ({"n_hits": 4}, False),
        ({"n_hits": 5}, True), ({"misses": 2}, True), ({"misses": 3}, False),
    ],
)  # fmt: skip
def test_who_bears_witness(of: dict[str, Any], is_asked: bool) -> None:
    store, at = _world(**of)
    rotation = TurnRotation()
    rotation.less_it(_turn(at, 1.0), store)
    assert (rotation.variance > 0.0) is is_asked


@pytest.mark.parametrize(("n", "near", "is_enough"), [(8, False, True), (7, False, False), (40, True, False)])
def test_how_many_must_agree(n: int, near: bool, is_enough: bool) -> None:
    """Eight at the least, none nearer than 300 m."""
    store, at = _world(n)
    if near:
        rel = at - np.array([400.0, -900.0])
        at = np.array([400.0, -900.0]) + 290.0 * rel / np.hypot(*rel.T)[:, None]
        store.x[:, 0, :2] = at
    rotation = TurnRotation()
    rotation.less_it(_turn(at, 1.0), store)
    assert (rotation.variance > 0.0) is is_enough


def test_votes_agree_about_their_mode() -> None:
    """Three in five of those asked within three quarters of a degree of the commonest; what is told is their mean."""
    rng = np.random.default_rng(1)
    votes = np.radians(np.concatenate([rng.normal(1.2, 0.2, 30), rng.uniform(-3.0, 0.2, 12)]))
    told = _agreed(votes, 42)
    assert told is not None
    agree = votes[np.abs(votes - math.radians(1.2)) < math.radians(0.7)]
    assert math.degrees(told[0]) == pytest.approx(1.2, abs=0.08)
    assert told[1] == pytest.approx(float(agree.var()) / agree.size, rel=0.25)
    assert _agreed(votes, 51) is None and _agreed(votes[:7], 7) is None
    # No surer than its own steps of a tenth of a degree, over so many.
    same = _agreed(np.full(20, math.radians(-0.8)), 20)
    assert same is not None and math.degrees(same[0]) == pytest.approx(-0.8)
    assert same[1] == pytest.approx(math.radians(0.1) ** 2 / 20.0)


def test_plots_that_are_others_do_not_vote() -> None:
    """Farther off in bearing than 3 degrees or in range than 25 m: of another thing."""
    store, at = _world()
    own = np.array([400.0, -900.0])
    rel = at - own
    outward = own + rel * (1.0 + 26.0 / np.hypot(*rel.T))[:, None]
    rotation = TurnRotation()
    plain = _turn(outward, 1.0)
    assert rotation.less_it(plain, store) is plain and rotation.variance == 0.0
    plain = _turn(at, 3.2)
    assert rotation.less_it(plain, store) is plain and rotation.variance == 0.0
    inward = own + rel * (1.0 - 24.0 / np.hypot(*rel.T))[:, None]
    rotation.less_it(_turn(inward, 1.0), store)
    assert rotation.variance > 0.0
    empty = replace(_plots(np.zeros((0, 2))), own_m=np.zeros((0, 2)))
    assert rotation.less_it(empty, store) is empty
