"""How many of each kind are to be expected, echo by echo, worked by hand from the table of `docs/judgement.md`, 3.

One echo stands in open water; what is other about it is named in each row.  Probabilities are densities over their
sum, so the density of any kind is its probability over that of a kind whose density the row leaves as it was.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, FakeChart, make_boat, make_mark, make_track
from scipy import stats

from moonless.reading.chart_around import Place, lay_out
from moonless.reading.identify.evidence import Evidence, gather
from moonless.reading.identify.explain import KINDS, Explained, explain
from moonless.reading.identify.reported import PoseSigma
from moonless.reading.identify.strength import mark_strength_speaks, section_speaks, weak_for_its_length
from moonless.reading.own import OwnPlane

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 0.0)
OPEN = lay_out(FakeChart(), FRAME, 0.0, 0.0, 5000.0)


def _evidence(n: int = 1, **changes: Any) -> Evidence:
    """An echo a kilometre off that stands still by seven to three, hit in nine of ten turns; its strength not known."""
    tracks = tuple(make_track(k + 1, 600.0 + 400.0 * k, 800.0) for k in range(n))
    base = gather(tracks, OWN, None, make_boat(), PoseSigma(0.0, 0.0))
    plain: dict[str, Any] = {
        "p_moving": 0.3, "hit_share": 0.9, "rcs_db": math.nan, "clutter_density": 1e-7, "goes_as_ghost": 1.0,
        "multiple_density": 0.0, "afloat": 1.0, "answered": 0.0, "with_boat": 0.0, "field_density": 0.0,
        "roamed_m": 0.0, "shore_distance_m": math.inf, "bridge_distance_m": math.inf, "sigma_m": 10.0,
        "lobe_density": 0.0,
    }  # fmt: skip
    arrays: dict[str, Any] = {name: np.full(n, value, dtype=np.float64) for name, value in plain.items()}
    for name, value in changes.items():
        if name == "known":
            arrays[name] = replace(base.known, **{k: np.full(n, v) for k, v in value.items()})
        elif np.ndim(value) == 0 and name not in ("beam_rad", "rcs_sigma_db"):
            arrays[name] = np.full(n, value)
        else:
            arrays[name] = value
    return replace(base, **arrays)


def _share(evidence: Evidence, kind: str, over: str, place: Place | None = OPEN) -> float:
    told = explain(evidence, place, None)[0].probability
    return float(told[KINDS.index(kind)] / told[KINDS.index(over)])  # type: ignore[arg-type]


HOPS = 1.0 / (1.0 + math.exp((0.9 - 0.53) / 0.04))  # a record of nine in ten looks like hopping by so little
STILL_UNCHARTED = 3e-6 * 0.7
# It has come nowhere yet and hardly goes: a quarter for each doubt.
DOUBTS = 0.25 * 0.25
MOVING_VESSEL = 3e-6 * 0.3 * (1.0 - HOPS) * DOUBTS


def _bell(rcs_db: float, middle_db: float, sigma_db: float) -> float:
    """A normal density over a flat one of 60 dB."""
    return 60.0 * float(stats.norm.pdf(rcs_db, middle_db, sigma_db))


CREST = 0.85 * _bell(-22.0, -22.0, 9.0) + 0.15 * _bell(-22.0, 0.0, 8.0)
WEAK_HULL = _bell(3.0, 3.0, 10.0) * math.exp(-0.5 * (10.462 / 25.0) ** 2) * math.exp(-2.0)
SHORT = {"hit_share": 0.53}  # half of the way to hopping

# what is other, a kind, its density, another kind, its density
ROWS: list[tuple[str, dict[str, Any], str, float, str, float]] = [
    ("as it is", {}, "vessel", MOVING_VESSEL, "uncharted", STILL_UNCHARTED),
    ("clutter by its record", {}, "clutter", 1e-7, "uncharted", STILL_UNCHARTED),
    ("false: hardly", {}, "false", 1e-9, "uncharted", STILL_UNCHARTED),
    ("it moves for certain", {"p_moving": 1.0}, "vessel", MOVING_VESSEL * 0.98 / 0.3, "uncharted", 3e-6 * 0.02),
    ("it lies for certain", {"p_moving": 0.0}, "vessel", 3e-6 * 0.02 * (1.0 - HOPS) * DOUBTS, "uncharted", 3e-6 * 0.98),
    ("boats anchor here", {"known": {"anchored_density": 5e-6}}, "uncharted", 8e-6 * 0.7, "clutter", 1e-7),
    ("it was named", {"known": {"named_density": 5e-6}}, "uncharted", 8e-6 * 0.7, "clutter", 1e-7),
    ("boats run here", {"known": {"on_way_density": 5e-6}}, "vessel", MOVING_VESSEL * 8.0 / 3.0, "clutter", 1e-7),
    ("inside land", {"afloat": 0.1}, "uncharted", 0.1 * STILL_UNCHARTED, "vessel", 0.1 * MOVING_VESSEL),
    ("named on land", {"afloat": 0.1, "known": {"named_density": 5e-6}}, "uncharted", 5.3e-6 * 0.7, "clutter", 1e-8),
    ("half hopping", SHORT, "vessel", 3e-6 * 0.3 * 0.5 * DOUBTS, "uncharted", STILL_UNCHARTED),
    ("half hopping, as clutter", SHORT, "clutter", 3e-6 * 0.5 * 0.3, "uncharted", STILL_UNCHARTED),
    ("hops", {"hit_share": 0.3}, "vessel", 3e-6 * 0.3 * 0.05 * DOUBTS, "uncharted", STILL_UNCHARTED),
    ("AIS", {"ais_vessel": True}, "vessel", 1.0, "uncharted", STILL_UNCHARTED),
    ("a field drifts", {"field_density": 4e-6, "afloat": 0.5}, "clutter", 2e-6, "uncharted", 0.5 * STILL_UNCHARTED),
    ("wash", {"with_boat": 0.2}, "clutter", 2e-4, "uncharted", STILL_UNCHARTED),
    ("a ghost", {"is_ghost": True}, "false", 2e-4 * (1.0 - HOPS) + 1e-6 * HOPS, "uncharted", STILL_UNCHARTED),
    ("a ghost by chance", {"is_ghost": True, **SHORT}, "false", 1.005e-4, "uncharted", STILL_UNCHARTED),
    ("goes ill as one", {"is_ghost": True, "goes_as_ghost": 0.01}, "false", 2e-6, "uncharted", STILL_UNCHARTED),
    ("a ghost's place", {"multiple_density": 4e-6}, "false", 4e-6, "uncharted", STILL_UNCHARTED),
    ("a side lobe's", {"lobe_density": 4e-6}, "false", 4e-6, "uncharted", STILL_UNCHARTED),
    ("over land", {"multiple_density": 4e-6, "afloat": 0.3}, "false", 1.2e-6, "uncharted", 0.3 * STILL_UNCHARTED),
    ("far inland", {"multiple_density": 4e-6, "afloat": 1e-3}, "false", 8e-8, "uncharted", 1e-3 * STILL_UNCHARTED),
    # A strength as of a boat's middle, of a crest 22 dB under 1 m2, of a log; and of a ship, which rules nothing out.
    ("a boat's strength", {"rcs_db": 3.0}, "uncharted", STILL_UNCHARTED * _bell(3.0, 3.0, 10.0), "false", 1e-9),
    ("a log's", {"rcs_db": -7.0}, "uncharted", STILL_UNCHARTED * _bell(-7.0, 3.0, 10.0), "false", 1e-9),
    ("a crest's", {"rcs_db": -22.0}, "clutter", 1e-7 * CREST, "false", 1e-9),
    # 60 m and more beyond what the beam makes of a point (0.07 of 1000 m): e for 30 m, a fifth at the least.
    ("45 m beyond the beam", {"length_m": 115.0}, "uncharted", STILL_UNCHARTED, "clutter", 1e-7),
    ("90 m beyond it", {"length_m": 160.0}, "uncharted", STILL_UNCHARTED * math.exp(-1.0), "clutter", 1e-7),
    ("270 m beyond it", {"length_m": 340.0}, "uncharted", STILL_UNCHARTED * 0.2, "clutter", 1e-7),
    ("longer than it is away", {"length_m": 1580.0}, "uncharted", STILL_UNCHARTED * 0.2 * 0.05, "clutter", 1e-7),
    ("not quite", {"length_m": 1560.0}, "uncharted", STILL_UNCHARTED * 0.2, "clutter", 1e-7),
    # 100 m of hull answer with 4 + 32 lg(100 / 9) = 37.46 dB; 12 less may be, and 12 more are two sigma.
    ("too weak for a hull", {"length_m": 170.0, "rcs_db": 13.462}, "vessel", MOVING_VESSEL * WEAK_HULL, "false", 1e-9),
]  # fmt: skip


@pytest.mark.parametrize(("why", "changed", "kind", "density", "over", "of_other"), ROWS, ids=[r[0] for r in ROWS])
def test_densities(why: str, changed: dict[str, Any], kind: str, density: float, over: str, of_other: float) -> None:
    assert _share(_evidence(**changed), kind, over) == pytest.approx(density / of_other, rel=2e-3)


@pytest.mark.parametrize(
    ("of", "roamed_m", "left"),
    [
        ({}, 30.0, 1.0), ({}, 20.0, 0.625), ({}, 10.0, 0.25), ({"velocity_east": 1.0}, 30.0, 0.625),
        ({"velocity_east": 0.5}, 30.0, 0.25), ({"n_hits": 9}, 30.0, 1.0), ({"n_hits": 5}, 30.0, 0.4),
        ({"n_hits": 3}, 30.0, 0.25), ({"covariance": np.diag([1.0, 1.0, 2.25, 2.25])}, 30.0, 0.625),
        ({"covariance": np.diag([1.0, 1.0, 1.0, 7.0])}, 5.0, 0.0625),
    ],
)  # fmt: skip
def test_a_hull_under_way_has_come_some_way_long_enough_at_a_velocity_that_is_known(
    of: dict[str, Any], roamed_m: float, left: float
) -> None:
    """A quarter is left below the first figure and all past the second, in line between: 10 and 30 m, 0.5 and 1.5 m/s,
    4 and 9 hits, 2 and 1 m/s of each axis's sigma, root mean square."""
    evidence = _evidence(roamed_m=roamed_m)
    goes = replace(evidence.tracks[0], **{"velocity_east": 2.0, "velocity_north": 0.0, **of})
    want = 3e-6 * 0.3 * (1.0 - HOPS) * left
    got = _share(replace(evidence, tracks=(goes,)), "vessel", "uncharted")
    assert got == pytest.approx(want / STILL_UNCHARTED, rel=2e-3)


def _hop_share(answered: float, hit: float, hits: float) -> float:
    """The binomial likelihood of so many hits at the ground's share over that at their own; half of them count."""
    n = 0.5 * hits / hit
    if hit <= answered:
        return answered
    at = n * hit * math.log(answered) + n * (1.0 - hit) * math.log(1.0 - answered)
    own = n * hit * math.log(hit) + n * (1.0 - hit) * math.log(1.0 - hit)
    return answered * math.exp((at - own) * hit)


@pytest.mark.parametrize(("answered", "hit"), [(0.9, 0.9), (0.8, 0.9), (0.5, 0.9), (0.7, 0.6), (0.99, 0.99)])
def test_what_hops_over_ground_that_answers_anyway_is_clutter(answered: float, hit: float) -> None:
    evidence = _evidence(answered=answered, hit_share=hit, clutter_density=0.0, p_moving=0.8)
    hits = min(evidence.tracks[0].n_hits, 20)
    hops = 1.0 / (1.0 + math.exp((hit - 0.53) / 0.04))
    by_ground = 1e-4 * 0.8 * _hop_share(min(answered, 0.95), min(hit, 0.95), hits)
    want = max(by_ground, 3e-6 * hops * 0.8)
    assert _share(evidence, "clutter", "uncharted") == pytest.approx(want / (3e-6 * 0.2), rel=1e-3)


@pytest.mark.parametrize("distance_m", [0.0, 15.0, 40.0])
@pytest.mark.parametrize("still", [0.7, 0.02])
def test_a_shore_answers_once_in_ninety_metres_and_a_bridge_in_thirty(distance_m: float, still: float) -> None:
    """A line's density across it is normal; a quarter of a beam is its smear along the bearing circle."""
    moving = 1.0 - still
    near = {"p_moving": moving, "sigma_m": 12.0, "beam_rad": 0.04, "hit_share": 1.0}
    evidence = _evidence(**near, shore_distance_m=distance_m)
    sigma = math.hypot(12.0, 0.25 * 0.04 * 1000.0)
    want = float(stats.norm.pdf(distance_m, 0.0, sigma)) / 90.0 * still
    assert _share(evidence, "shore", "uncharted") == pytest.approx(want / (3e-6 * still), rel=1e-3)
    evidence = _evidence(**near, bridge_distance_m=distance_m)
    want = float(stats.norm.pdf(distance_m, 0.0, 12.0)) / 30.0 * still
    assert _share(evidence, "bridge", "uncharted") == pytest.approx(want / (3e-6 * still), rel=1e-3)


def test_what_hops_along_a_shore_is_taken_for_still_there() -> None:
    """By one and a half times the square of the turns it was missed; well inside land by how deep it lies."""
    by_shore = float(stats.norm.pdf(0.0, 0.0, math.hypot(10.0, 0.25 * 0.07 * 1000.0))) / 90.0
    for changed, still in (({"hit_share": 0.5}, 1.5 * 0.25), ({"afloat": 0.3, "hit_share": 1.0}, 0.7)):
        evidence = _evidence(p_moving=0.9, shore_distance_m=0.0, **changed)
        afloat = changed.get("afloat", 1.0)
        assert _share(evidence, "shore", "uncharted") == pytest.approx(by_shore * still / (3e-7 * afloat), rel=1e-3)


def test_where_no_chart_is_a_piece_of_a_long_echo_is_shore_unless_it_goes() -> None:
    plain = {"of_shore": True, "p_moving": 0.8, "hit_share": 1.0}
    over = 3e-6 * 0.2
    for changed, want in (
        ({}, 1e-4 * 0.2),
        ({"of_shore": False}, 0.0),
        # It wanders, by up to 30 m and half a beam: by half.
        ({"roamed_m": 60.0}, 1e-4 * 0.5),
        ({"roamed_m": 66.0}, 1e-4 * 0.2),
        ({"hit_share": 0.5}, 1e-4 * 1.5 * 0.25),
        ({"answered": 1.0}, 1e-4 * 0.2 + 1e-4 * 0.8 * 0.95),
    ):
        share = _share(_evidence(**{**plain, **changed}), "shore", "uncharted", None)
        assert share == pytest.approx(want / over, rel=2e-3), changed


MARK_SIGMA_M = 20.0


def _marked(evidence: Evidence, *marks: tuple[float, float], floating: bool = False, **more: Any) -> list[Explained]:
    """The boat stands at ``evidence.own_en``, and all that is named from her is moved along."""
    own = evidence.own_en
    evidence = replace(evidence, position_en=evidence.position_en + own)
    chart = FakeChart(
        marks=tuple(make_mark(at[0] + own[0], at[1] + own[1], str(k), floating=floating) for k, at in enumerate(marks)),
        sigma_m=20.0,
    )
    place = lay_out(chart, FRAME, float(own[0]), float(own[1]), 5000.0)
    assert place is not None and np.all(place.mark_sigma_m == MARK_SIGMA_M)
    return explain(evidence, place, more.pop("p_detect", None), **more)


def _odds(told: Explained) -> float:
    return float(told.probability[KINDS.index("charted")] / told.probability[KINDS.index("uncharted")])


COVARIANCE = np.array([[[64.0, 20.0], [20.0, 36.0]]])
AT = np.array([600.0, 800.0])


@pytest.mark.parametrize("off", [(0.0, 0.0), (25.0, -10.0), (-30.0, 40.0)])
@pytest.mark.parametrize("floating", [False, True])
def test_a_mark_is_there_but_for_accidents(off: tuple[float, float], floating: bool) -> None:
    """Normal by both spreads, the chart's (20 m) and a buoy's swing (12 m) each way beside the track's own."""
    evidence = _evidence(covariance=COVARIANCE)
    mark = AT - np.array(off)
    spread = COVARIANCE[0] + (400.0 + (144.0 if floating else 0.0)) * np.eye(2)
    there = float(stats.multivariate_normal([0.0, 0.0], spread).pdf(off))
    told = _marked(evidence, tuple(mark), floating=floating)[0]
    assert _odds(told) == pytest.approx(0.97 * there / 3e-6, rel=1e-3)
    assert told.kind == "charted" and told.mark == 0 and told.offset_m == pytest.approx(math.hypot(*off), abs=1e-6)
    # That the model gives it a chance of a half or of next to none counts, no less than a fifth.
    for p, counts in ((0.5, 0.5), (0.05, 0.2)):
        less = _marked(evidence, tuple(mark), floating=floating, p_detect=np.array([p]))[0]
        assert _odds(less) == pytest.approx(counts * _odds(told), rel=1e-3)
    # 25 m beyond what the beam makes of a point are a mark's; past them e for each 15 m, a fifth at the least.
    for length_m, counts in ((95.0, 1.0), (110.0, math.exp(-1.0)), (125.0, 0.2)):
        longer = _marked(_evidence(covariance=COVARIANCE, length_m=length_m), tuple(mark), floating=floating)[0]
        assert _odds(longer) == pytest.approx(counts * _odds(told), rel=1e-3)


def test_past_four_sigmas_it_is_not_that_mark() -> None:
    sigma = math.sqrt(400.0 + 25.0)
    evidence = _evidence(covariance=25.0 * np.eye(2)[None])
    assert _odds(_marked(evidence, (600.0 + 3.9 * sigma, 800.0))[0]) > 1e-5
    far = _marked(evidence, (600.0, 800.0 + 4.1 * sigma))[0]
    assert _odds(far) < 1e-5 and far.mark is None


def test_a_strength_speaks_for_a_mark_by_how_near_it_is_to_what_it_should_have() -> None:
    """Normal about the model's (7 dB), over a broad bell of anything's (18 dB, 12 either way); 0.15 to 3."""
    level = 14.0
    evidence = _evidence(level_db=level)
    plain = _odds(_marked(evidence, (600.0, 800.0))[0])
    for mark_db in (14.0, 20.0, 2.0, 28.0, 40.0, math.nan):
        told = _odds(_marked(evidence, (600.0, 800.0), mark_db=np.array([mark_db]))[0])
        # Heights of the bells against each other: each is over its own spread.
        ratio = float(stats.norm.pdf(level, mark_db, 7.0) / stats.norm.pdf(level, 18.0, 12.0))
        want = 1.0 if math.isnan(mark_db) else min(max(ratio, 0.15), 3.0)
        assert told / plain == pytest.approx(want, rel=1e-3), mark_db
    assert mark_strength_speaks(np.array([18.0]), np.array([18.0, 60.0]))[0] == pytest.approx([12.0 / 7.0, 0.15])


def test_a_buoy_that_is_gone_from_its_place_may_be_the_still_echo_beside_it() -> None:
    """Dragged by 60 m, one sigma each axis; found so nine times in ten that it is gone, from 0.35 on; a pile never."""
    evidence = _evidence(covariance=25.0 * np.eye(2)[None])
    mark = (600.0 + 90.0, 800.0 - 80.0)
    spread = float(stats.multivariate_normal([0.0, 0.0], 3600.0 * np.eye(2)).pdf((90.0, -80.0)))
    told = _marked(evidence, mark, floating=True, gone=np.array([0.8]))[0]
    assert _odds(told) == pytest.approx(0.9 * 0.8 * spread / 3e-6, rel=1e-3)
    assert _odds(_marked(evidence, mark, floating=True, gone=np.array([0.34]))[0]) < 0.01
    assert _odds(_marked(evidence, mark, floating=False, gone=np.array([0.8]))[0]) < 0.01


@pytest.mark.parametrize("own", [(0.0, 0.0), (-4000.0, 300.0), (700.0, -6000.0)])
def test_two_marks_in_one_beam_stretch_each_others_place_and_may_wander_between(own: tuple[float, float]) -> None:
    """40 m apart at a kilometre, where the beam is 50 m wide: half of the way, 20 m, one sigma more, along it only."""
    beam = {"covariance": 25.0 * np.eye(2)[None], "beam_rad": 0.05, "p_moving": 0.98, "own_en": np.array(own)}
    # The second mark stands 40 m to the north-east of the first; the echo 10 m past the first, away from it.
    along = np.array([0.6, 0.8])
    first = AT + 10.0 * along
    second = first + 40.0 * along
    cov = 425.0 * np.eye(2) + 400.0 * np.outer(along, along)
    near = float(stats.multivariate_normal([0.0, 0.0], cov).pdf(-10.0 * along))
    # It seems to move, by 0.98; the echo of a group wanders, and keeps within 40 m: by 0.3, e for each half of it more.
    for roamed, wanders in ((0.0, 0.3), (40.0, 0.3), (60.0, 0.3 * math.exp(-1.0))):
        told = _marked(_evidence(**beam, roamed_m=roamed), tuple(first), tuple(second))[0]
        assert told.mark == 0
        assert _odds(told) == pytest.approx(0.97 * near * wanders / (3e-6 * 0.02), rel=1e-3), roamed
    # Alone it does neither: the beam parts what is 51.5 m apart where the nearer of them stands, at 1010 m.
    alone = _marked(_evidence(**beam), tuple(first), tuple(first + 51.5 * along))[0]
    plain = float(stats.multivariate_normal([0.0, 0.0], 425.0 * np.eye(2)).pdf(-10.0 * along))
    assert _odds(alone) == pytest.approx(0.97 * plain * 0.02 / (3e-6 * 0.02), rel=1e-3)


def test_one_mark_is_one_echo_and_speaks_for_a_second_by_the_doubt_that_is_left() -> None:
    """Two echoes 30 m either side of a beacon: the nearer has it; the other by the chance that it is not she."""
    evidence = _evidence(
        2,
        covariance=np.repeat(25.0 * np.eye(2)[None], 2, axis=0),
        position_en=np.array([[600.0, 800.0], [645.0, 800.0]]),
    )
    told = _marked(evidence, (620.0, 800.0))
    on_line = float(stats.norm.pdf(0.0, 0.0, math.sqrt(425.0)))
    weights = [0.97 * 0.7 * on_line * float(stats.norm.pdf(d, 0.0, math.sqrt(425.0))) for d in (20.0, 25.0)]
    rivals = 3e-6 * 0.7 + MOVING_VESSEL + 1e-7 + 1e-9
    left = 1.0 - weights[0] / (weights[0] + rivals)
    assert told[0].mark == 0 and _odds(told[0]) == pytest.approx(weights[0] / (3e-6 * 0.7), rel=1e-3)
    assert _odds(told[1]) == pytest.approx(left * weights[1] / (3e-6 * 0.7), rel=1e-2)


def test_of_two_marks_and_two_echoes_each_has_its_own() -> None:
    evidence = _evidence(
        2,
        covariance=np.repeat(25.0 * np.eye(2)[None], 2, axis=0),
        position_en=np.array([[600.0, 800.0], [660.0, 800.0]]),
    )
    told = _marked(evidence, (650.0, 800.0), (595.0, 800.0))
    assert [t.mark for t in told] == [1, 0]
    assert [t.offset_m for t in told] == pytest.approx([5.0, 10.0])
    # Either would do better with the first mark; together they are likelier this way.
    told = _marked(evidence, (628.0, 800.0), (575.0, 800.0))
    assert [t.mark for t in told] == [1, 0]


def test_section_and_length_by_the_normal_law() -> None:
    no, yes = np.array([False]), np.array([True])
    for rcs, offset in ((-22.0, 0.0), (-10.0, 4.0), (0.0, 0.0), (20.0, 6.0)):
        thing, wave = (float(v[0]) for v in section_speaks(np.array([rcs]), offset, no))
        of_wave, of_stray = math.hypot(9.0, offset), math.hypot(8.0, offset)
        bells = 0.85 * stats.norm.pdf(rcs, -22.0, of_wave) + 0.15 * stats.norm.pdf(rcs, 0.0, of_stray)
        assert wave == pytest.approx(min(max(60.0 * float(bells), 0.01), 3.0))
        strong = math.exp(-0.5 * (max(rcs - 3.0, 0.0) / 25.0) ** 2)
        of_thing = math.hypot(10.0, offset)
        want = 60.0 * float(stats.norm.pdf(min(rcs, 3.0), 3.0, of_thing)) * strong
        assert thing == pytest.approx(min(max(want, 0.002), 3.0))
        # At the top of the scale: what is at least so much.
        thing, wave = (float(v[0]) for v in section_speaks(np.array([rcs]), offset, yes))
        at_least = 0.85 * stats.norm.sf(rcs, -22.0, of_wave) + 0.15 * stats.norm.sf(rcs, 0.0, of_stray)
        assert wave == pytest.approx(max(float(at_least), 0.01))
        assert thing == pytest.approx(max(float(stats.norm.sf(rcs, 3.0, of_thing)), 0.5 * strong))
    # 90 m: 4 + 32 dB; 12 less may be, and of what is short of that 6 dB are one sigma; 0.02 at the least.
    for rcs, offset, want in (
        (24.0, 0.0, 1.0),
        (18.0, 0.0, math.exp(-0.5)),
        (14.0, 8.0, math.exp(-0.5)),
        (-9.0, 0.0, 0.02),
    ):
        assert weak_for_its_length(np.array([90.0]), np.array([rcs]), offset, no)[0] == pytest.approx(want)
    assert weak_for_its_length(
        np.array([19.9, 20.1]), np.array([-30.0, -30.0]), 0.0, np.array([False, False])
    ).tolist() == [1.0, 0.02]
