"""Whether a track moves, and whether many drift as one: against normal and beta densities, lines and means by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import T0, S, make_track
from scipy import stats

from moonless.frames import LocalFrame
from moonless.reading.identify.motion import Motion
from moonless.reading.identify.past.drift import FieldDrift
from moonless.reading.identify.past.patches import looks_of_patches
from moonless.track.types import AisTarget

ONE = np.array([4])


def _run(places: np.ndarray, step_s: float, *, sigma: float = 6.0, tracked: float = 0.5, fresh: Any = None) -> float:
    """Return what is said of a track after it was at these places, a turn each."""
    motion, p = Motion(), math.nan
    for k, at in enumerate(places):
        seen = np.array([True if fresh is None else fresh[k]])
        now = T0 + round(k * step_s * S)
        p = float(
            motion.p_moving(now, ONE, at.reshape(1, 2), np.array([sigma]), np.array([tracked]), seen, (0.0, 0.0))[0]
        )
    return p


def _said(slope: np.ndarray, places: np.ndarray, t: np.ndarray, sigma: float, tracked: float) -> float:
    """The slope is normal about nought for both, wider for what moves; of the log odds 0.65, of the tracker's 0.35."""
    n, total = len(t), float(((t - t.mean()) ** 2).sum())
    fitted = places.mean(axis=0) + np.outer(t - t.mean(), slope)
    left = math.sqrt(float(((places - fitted) ** 2).sum()) / (2.0 * (n - 2)))
    # Three neighbouring turns count as one.
    variance = max(sigma, left) ** 2 * 3.0 / total
    moving, still = (float(stats.norm.logpdf(slope, 0.0, math.sqrt(v + variance)).sum()) for v in (16.0, 0.0144))
    odds = 0.65 * min(max(moving - still, -5.0), 5.0)
    odds += 0.35 * min(max(math.log(tracked / (1.0 - tracked)), -5.0), 5.0)
    return 1.0 / (1.0 + math.exp(-odds))


@pytest.mark.parametrize("velocity", [(0.0, 0.0), (0.3, -0.1), (-0.2, 0.5), (0.6, 0.6), (3.0, -4.0)])
@pytest.mark.parametrize(("sigma", "tracked"), [(6.0, 0.5), (3.0, 0.2), (15.0, 0.95)])
def test_a_line_through_its_places_says_whether_it_moves(
    velocity: tuple[float, float], sigma: float, tracked: float
) -> None:
    t = 2.5 * np.arange(20)
    places = np.array([300.0, -200.0]) + np.outer(t, velocity)
    assert _run(places, 2.5, sigma=sigma, tracked=tracked) == pytest.approx(
        _said(np.array(velocity), places, t, sigma, tracked), abs=1e-6
    )


def test_a_track_that_wanders_more_than_promised_is_less_sure_to_move() -> None:
    rng = np.random.default_rng(7)
    t = 3.0 * np.arange(24)
    places = np.outer(t, (0.5, -0.2)) + rng.normal(0.0, 14.0, (24, 2))
    slope = np.array([stats.linregress(t, places[:, k]).slope for k in range(2)])
    assert _run(places, 3.0) == pytest.approx(_said(slope, places, t, 6.0, 0.5), abs=1e-6)


def test_what_was_seen_in_the_last_75_seconds_counts_and_what_was_not_seen_does_not() -> None:
    # It lay for two minutes, then went: of 40 turns three seconds apart the last 26 stand.
    t = 3.0 * np.arange(40)
    places = np.zeros((40, 2))
    places[14:, 0] = 0.4 * (t[14:] - t[14])
    assert _run(places, 3.0) == pytest.approx(_said(np.array([0.4, 0.0]), places[14:], t[14:], 6.0, 0.5), abs=1e-6)
    # Coasted turns are no evidence, whatever place they say.
    fresh = [k % 3 != 1 for k in range(20)]
    t = 2.5 * np.arange(20)
    places = np.outer(t, (0.0, 0.4))
    seen = places[fresh]
    places[[not f for f in fresh]] = 900.0
    assert _run(places, 2.5, fresh=fresh) == pytest.approx(
        _said(np.array([0.0, 0.4]), seen, t[fresh], 6.0, 0.5), abs=1e-6
    )


@pytest.mark.parametrize(
    ("turns", "step_s", "speaks"), [(6, 3.0, True), (5, 4.0, False), (7, 2.4, False), (7, 2.5, True)]
)
def test_a_short_past_leaves_it_to_the_tracker(turns: int, step_s: float, speaks: bool) -> None:
    """Six turns over fifteen seconds."""
    p = _run(np.outer(step_s * np.arange(turns), (3.0, 4.0)), step_s, tracked=0.3)
    assert (p == pytest.approx(0.3)) is not speaks


def test_tracks_keep_their_past_when_their_rows_change_and_when_the_plane_moves() -> None:
    motion = Motion()
    old, new = LocalFrame(10.0, -150.0), LocalFrame(10.03, -149.96)
    motion.enter(old)
    way = {3: (0.0, 1.5), 8: (0.0, 0.0), 5: (-1.5, 0.0)}
    said: dict[int, float] = {}
    for k in range(20):
        ids = np.array([3, 8, 5] if k % 2 else [5, 3, 8])
        at = np.array([(100.0 * i + 2.5 * k * way[i][0], 2.5 * k * way[i][1]) for i in ids])
        if k >= 12:
            motion.enter(new)
            at = np.column_stack(new.to_plane(*old.to_geographic(at[:, 0], at[:, 1])))
        p = motion.p_moving(
            T0 + round(2.5 * k * S), ids, at, np.full(3, 4.0), np.full(3, 0.5), np.full(3, True), (0.0, 0.0)
        )
        said = dict(zip(ids.tolist(), p.tolist(), strict=True))
    assert said[3] == pytest.approx(said[5], abs=1e-3) and said[3] > 0.9 and said[8] < 0.1
    roamed = motion.roamed_m(np.array([8, 5, 99]))
    # Twenty places: from the mean of the first six to that of the last six lie fourteen turns.
    assert roamed == pytest.approx([0.0, 14.0 * 2.5 * 1.5, 0.0], abs=0.05)


def test_how_far_it_has_come_is_from_the_first_third_to_the_last() -> None:
    motion = Motion()
    places = np.array(
        [(0.0, 0.0), (4.0, 0.0), (900.0, 900.0), (-900.0, 0.0), (30.0, 40.0), (34.0, 40.0), (500.0, 500.0)]
    )
    for k, at in enumerate(places):
        motion.p_moving(T0 + k * S, ONE, at[None], np.ones(1), np.array([0.5]), np.array([k != 6]), (0.0, 0.0))
        if k == 1:
            assert motion.roamed_m(ONE) == pytest.approx([0.0])
    assert motion.roamed_m(ONE) == pytest.approx([50.0])


INTERVAL_M = 75_000.0


@pytest.mark.parametrize("turn", [0.0, 2.0, 4.5])
@pytest.mark.parametrize("turns_at", [None, 12])
def test_what_is_heard_a_pulse_late_keeps_its_bearing_and_its_range_less_the_boats_way(
    turn: float, turns_at: int | None
) -> None:
    """Its own place fits without a rest; the vessel's line leaves what a fit by least squares leaves."""
    n, step = 24, 2.5
    sigma = 20.0
    motion = Motion()
    truly = (INTERVAL_M + 2000.0) * np.array([math.sin(turn + 1.0), math.cos(turn + 1.0)])
    own, course = np.array([0.0, 0.0]), turn
    owns, plots = [], []
    for k in range(n):
        rel = truly - own
        far = float(np.hypot(*rel))
        plots.append(own + (far - INTERVAL_M) * rel / far)
        owns.append(own.copy())
        at = plots[-1][None]
        motion.p_moving(
            T0 + round(k * step * S), ONE, at, np.array([sigma]), np.array([0.5]), np.array([True]), tuple(own), at
        )
        if turns_at is not None and k >= turns_at:
            course = turn + 1.2
        own = own + step * 5.0 * np.array([math.sin(course), math.cos(course)])
    t, at = step * np.arange(n), np.array(plots)
    slope = np.array([stats.linregress(t, at[:, k]).slope for k in range(2)])
    off = at - at.mean(axis=0) - np.outer(t - t.mean(), slope)
    toward = (at - np.array(owns)).mean(axis=0)
    unit = toward / np.hypot(*toward)
    side = np.array([unit[1], -unit[0]])
    steady = float(((off @ unit) ** 2).mean()) / 12.0**2 + float(((off @ side) ** 2).mean()) / sigma**2
    spread = max(0.5**2, sigma**2 * 3.0 / float(((t - t.mean()) ** 2).sum()))
    straight = min(3.0, math.log(16.0 / spread) + 0.5 * float(slope @ slope) / 16.0)
    want = straight + min(0.5 * (n / 3.0) * steady, 4.0)
    got = float(motion.late_log_odds(ONE, INTERVAL_M, np.array([sigma]))[0])
    assert got == pytest.approx(want, abs=0.05)
    assert (got > 4.0) is (turns_at is not None)
    assert motion.late_log_odds(np.array([77]), INTERVAL_M, np.array([sigma]))[0] == 0.0


# --- fields that drift ----------------------------------------------------------------------------------------------

N_PATCH, GOES = 12, (3.0, -2.0)


def _patches(velocity: tuple[float, float] = GOES, apart_m: float = 400.0, **of: Any) -> list[Any]:
    """Patches of a shower on a grid, three to a row, each hit in twelve of twenty turns."""
    values: dict[str, Any] = {
        "n_hits": 12, "n_scans": 20, "misses_in_a_row": 0, "covariance": np.diag([100.0, 100.0, 0.25, 0.25]), **of,
    }  # fmt: skip
    return [make_track(k, 700.0 + apart_m * (k % 3), apart_m * (k // 3), *velocity, **values) for k in range(N_PATCH)]


def _densities(
    tracks: list[Any], turns: int = 12, ashore: Any = None, own: tuple[float, float] = (0.0, 0.0)
) -> np.ndarray:
    field = FieldDrift()
    out = np.zeros(len(tracks))
    for _ in range(turns):
        out = field.density(tuple(tracks), own, np.zeros(len(tracks), dtype=np.bool_) if ashore is None else ashore)
    return out


def _ratio(velocity: tuple[float, float], off: tuple[float, float] = (0.0, 0.0)) -> float:
    """A patch's velocity is normal about the field's (0.7 m/s), a boat's about nought (6 m/s); its own 0.5 beside."""
    narrow, wide = math.sqrt(0.25 + 0.7**2), math.sqrt(0.25 + 36.0)
    return math.exp(float(stats.norm.logpdf(off, 0.0, narrow).sum() - stats.norm.logpdf(velocity, 0.0, wide).sum()))


def _boat(velocity: tuple[float, float]) -> float:
    """Four boats in five go at 6 m/s each axis, one in five at 15."""
    slow, fast = (float(stats.norm.pdf(velocity, 0.0, math.sqrt(0.25 + v**2)).prod()) for v in (6.0, 15.0))
    return 0.8 * slow + 0.2 * fast


def _goes(velocity: tuple[float, float], off: tuple[float, float]) -> float:
    """Seven patches in ten go with the field, three hop at 4 m/s each axis about it; no more than sixty to one."""
    narrow, hops = (float(stats.norm.pdf(off, 0.0, math.sqrt(0.25 + v**2)).prod()) for v in (0.7, 4.0))
    return min((0.7 * narrow + 0.3 * hops) / _boat(velocity), 60.0)


HITS = 12.5 / 21.0
PATCH, BOAT = (float(stats.beta(*of).pdf(HITS)) for of in ((4.5, 3.0), (9.0, 1.5)))


def _look(others: float) -> float:
    """Twelve hits in twenty turns, 25 dB, no length: by what is expected and by ``others`` patches just like it."""
    hits = (others * float(stats.norm.pdf(0.0, 0.0, 0.05)) + 4.0 * PATCH) / (others + 4.0) / BOAT
    strength = others * float(stats.norm.pdf(0.0, 0.0, 6.0)) + 20.0 * float(stats.norm.pdf(25.0, 20.0, 8.0))
    length = (others + 20.0 * 0.65) / (others + 20.0) / 0.65
    return min(hits, 20.0) * min(60.0 * strength / (others + 20.0), 3.0) * length


@pytest.mark.parametrize(
    ("turns", "own"), [(3, (0.0, 0.0)), (12, (0.0, 0.0)), (40, (0.0, 0.0)), (12, (-2400.0, 900.0))]
)
def test_patches_that_go_as_one_are_a_field(turns: int, own: tuple[float, float]) -> None:
    ratio = _goes(GOES, (0.0, 0.0))
    share = 0.2 * _ratio(GOES) / (0.2 * _ratio(GOES) + 0.8)
    sure = float(stats.norm.pdf((0.0, 0.0), 0.0, math.sqrt(0.25 + 0.49)).prod()) / _boat(GOES)
    # Each stands in a square of its own and is a witness; four fifths of what was is kept, a turn.
    witnesses = N_PATCH * share * (1.0 - 0.8**turns)
    is_field = 1.0 / (1.0 + math.exp(-(witnesses - 4.0) / 0.5))
    # Nothing is learnt from eight or fewer, who may be boats in company; all from sixteen.
    learnt = (N_PATCH - 1) * (0.2 * sure / (0.2 * sure + 0.8)) * min(max((witnesses - 8.0) / 8.0, 0.0), 1.0)
    assert (learnt > 0.0) == (turns > 3)
    tracks = _patches()
    got = _densities(tracks, turns, own=own)
    at = np.array([(t.east_m, t.north_m) for t in tracks])
    for k in range(N_PATCH):
        reach = max(500.0, 0.3 * math.dist(at[k], own))
        apart = np.hypot(*(at - at[k]).T)
        others = share * np.count_nonzero((apart > 150.0) & (apart <= reach))
        assert got[k] == pytest.approx(is_field * others / (math.pi * reach**2) * ratio * _look(learnt), rel=1e-3)


def test_one_that_goes_otherwise_is_none_of_it_and_pieces_of_one_hull_are_one_witness() -> None:
    tracks = _patches()
    other = make_track(
        99, 900.0, 600.0, -11.0, 9.0, covariance=np.diag([100.0, 100.0, 0.25, 0.25]), n_hits=12, n_scans=20
    )
    got = _densities([*tracks, other])
    assert got[-1] < 1e-3 * got[4]
    # Within 150 m of each other they share a velocity: three pieces are no field.
    close = _densities(_patches(apart_m=25.0))
    assert close.max() < 1e-3 * got[4]


@pytest.mark.parametrize(
    ("of", "velocity"),
    [
        ({"n_hits": 2}, GOES), ({}, (1.0, -1.0)), ({"covariance": np.diag([100.0, 100.0, 9.0, 9.0])}, GOES),
        ({"ais": AisTarget(1, T0, 10.0, -150.0)}, GOES),
    ],
    ids=["hit twice", "as slow as the ground", "its speed hardly known", "named by AIS"],
)  # fmt: skip
def test_who_is_not_asked(of: dict[str, Any], velocity: tuple[float, float]) -> None:
    assert not _densities(_patches(velocity, **of)).any()


def test_what_lies_at_land_is_not_asked() -> None:
    ashore = np.zeros(N_PATCH, dtype=np.bool_)
    ashore[:6] = True
    got, whole = _densities(_patches(), ashore=ashore), _densities(_patches())
    assert not got[:6].any() and 0.0 < got[10] < whole[10]


def test_a_field_that_goes_another_way_begins_anew() -> None:
    field = FieldDrift()
    none = np.zeros(N_PATCH, dtype=np.bool_)
    for _ in range(30):
        field.density(tuple(_patches()), (0.0, 0.0), none)
    before = field._witnesses
    field.density(tuple(_patches((-3.0, 2.0))), (0.0, 0.0), none)
    share = 0.2 * _ratio(GOES) / (0.2 * _ratio(GOES) + 0.8)
    assert field._witnesses == pytest.approx(0.8 * 0.8 * before + 0.2 * N_PATCH * share, rel=1e-3)


def test_a_record_of_hits_speaks_by_two_beta_laws() -> None:
    for hits, turns in ((3, 12), (12, 20), (19, 20), (0, 60)):
        share = min(max((hits + 0.5) / (turns + 1.0), 0.02), 0.98)
        track = make_track(1, 0.0, 0.0, n_hits=hits, n_scans=turns, misses_in_a_row=0, strength_db=20.0)
        want = min(float(stats.beta(4.5, 3.0).pdf(share) / stats.beta(9.0, 1.5).pdf(share)), 20.0)
        # 20 dB is where most patches are: normal, 8 dB, over sixty of a boat's; no length says nothing.
        want *= 60.0 * float(stats.norm.pdf(0.0, 0.0, 8.0))
        assert looks_of_patches([track], np.zeros(1))[0] == pytest.approx(want)


def test_a_strength_that_is_not_known_says_nothing_and_teaches_nothing() -> None:
    """As of another radar's targets."""
    known, unknown = (
        make_track(k, 0.0, 0.0, n_hits=12, n_scans=20, misses_in_a_row=0, strength_db=level)
        for k, level in ((1, 8.0), (2, math.nan))
    )
    got, member = looks_of_patches([known, unknown, known], np.array([0.0, 1.0, 1.0])), np.array([0.0, 1.0])
    alone = looks_of_patches([known, known], member)
    # It has the others' record: what is left of the first is what its strength says, by one other and not by two.
    says = (float(stats.norm.pdf(8.0, 8.0, 6.0)) + 20.0 * float(stats.norm.pdf(8.0, 20.0, 8.0))) / 21.0 * 60.0
    assert np.isfinite(got).all() and got[0] / got[1] == pytest.approx(_look_less(2.0) * says / _look_less(1.0))
    assert alone[0] == pytest.approx(_look_less(1.0) * says)


def _look_less(others: float) -> float:
    """What a record of twelve hits in twenty and no length say, by ``others`` just like it."""
    hits = (others * float(stats.norm.pdf(0.0, 0.0, 0.05)) + 4.0 * PATCH) / (others + 4.0) / BOAT
    return hits * (others + 20.0 * 0.65) / (others + 20.0) / 0.65


def test_how_patches_look_is_learnt_from_the_others() -> None:
    """Kernels of 0.05 and 6 dB about each other member, lengths by their count; four, twenty and twenty expected."""
    other = make_track(2, 0.0, 0.0, n_hits=17, n_scans=20, misses_in_a_row=0, strength_db=30.0, length_m=90.0)
    one = make_track(1, 0.0, 0.0, n_hits=18, n_scans=20, misses_in_a_row=0, strength_db=33.0, length_m=130.0)
    a, b = 18.5 / 21.0, 17.5 / 21.0
    w = 0.8
    kernel = float(stats.norm.pdf(a, b, 0.05)) / float(stats.norm.cdf((1.0 - a) / 0.05))
    hits = (w * kernel + 4.0 * stats.beta(4.5, 3.0).pdf(a)) / (w + 4.0) / stats.beta(9.0, 1.5).pdf(a)
    strength = (w * stats.norm.pdf(3.0, 0.0, 6.0) + 20.0 * stats.norm.pdf(33.0, 20.0, 8.0)) / (w + 20.0)
    for length_m, length in ((130.0, 20.0 / (w + 20.0)), (100.0, (w + 20.0 * 0.09) / (w + 20.0) / 0.09)):
        track = replace(one, length_m=length_m)
        got = looks_of_patches([track, other], np.array([0.5, w]))[0]
        assert got == pytest.approx(float(hits) * 60.0 * float(strength) * length)


