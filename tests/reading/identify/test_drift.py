"""Fields that drift: a shower's patches share one velocity over the water, boats in company are hit in each turn."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import RADAR, FakeChart, make_boat, make_situation, make_track

from moonless.reading.identify.explain import VESSEL_PER_M2
from moonless.reading.identify.past.drift import FieldDrift
from moonless.reading.identify.stage import ASHORE_M
from moonless.reading.judge import Judge

WIND = (5.0, -4.5)
TURNS = 12


def _after_turns(tracks: tuple[Any, ...], ashore: np.ndarray | None = None) -> np.ndarray:
    drift = FieldDrift()
    land = np.zeros(len(tracks), dtype=np.bool_) if ashore is None else ashore
    for _ in range(TURNS):
        out = drift.density(tracks, (0.0, 0.0), land)
    return np.asarray(out)


def _group(
    n: int, velocity: tuple[float, float], hits: int, scans: int, spread_m: float, turn: float = 0.0
) -> list[Any]:
    """``n`` tracks about 1 km off on the bearing ``turn``, no two of them nearer than a fifth of ``spread_m``."""
    rng = np.random.default_rng(3)
    places: list[np.ndarray] = []
    while len(places) < n:
        at = rng.uniform(-0.5, 0.5, 2) * spread_m
        if all(np.hypot(*(at - other)) > 0.2 * spread_m for other in places):
            places.append(at)
    middle = 1000.0 * np.array([math.sin(turn), math.cos(turn)])
    out = []
    for k, at in enumerate(places):
        speed = np.array(velocity) + rng.normal(0.0, 0.3, 2)
        out.append(make_track(k + 1, *(middle + at), *speed, n_hits=hits, n_scans=scans))
    return out


@pytest.mark.parametrize("turn", [0.0, 2.0, 4.0])
def test_patches_of_a_shower_are_likelier_clutter_than_boats_and_a_boat_among_them_is_not(turn: float) -> None:
    shower = _group(9, WIND, 12, 20, 1400.0, turn)
    boat = make_track(99, *(1000.0 * np.array([math.sin(turn), math.cos(turn)])), -6.0, 3.0, n_hits=19, n_scans=20)
    out = _after_turns((*shower, boat))
    near = out[:-1][out[:-1] > 3.0 * VESSEL_PER_M2]
    # But for one or two at the shower's edge, with none other near.
    assert len(near) >= 7
    assert out[-1] < 0.01 * VESSEL_PER_M2


def test_boats_in_company_are_no_field() -> None:
    two = _group(2, WIND, 19, 20, 600.0)
    assert np.all(_after_turns(tuple(two)) < 0.1 * VESSEL_PER_M2)
    # Nor are six, all hit in every turn, though they go one way for as long as they are watched.
    six = _group(6, WIND, 40, 40, 1400.0)
    assert np.all(_after_turns(tuple(six)) < VESSEL_PER_M2)


def test_a_squall_teaches_that_its_patches_answer_in_every_turn_and_a_convoy_does_not() -> None:
    """Twenty patches that are never missed are no boats; of seven boats nothing is learnt."""
    squall = _after_turns(tuple(_group(20, WIND, 40, 40, 2000.0)))
    assert np.mean(squall > 2.0 * VESSEL_PER_M2) >= 0.7
    convoy = _after_turns(tuple(_group(7, WIND, 40, 40, 1400.0)))
    assert np.all(convoy < VESSEL_PER_M2)


def test_what_lies_in_a_squall_and_looks_otherwise_is_no_patch_of_it() -> None:
    """Elementary: of echoes alike but for one thing, that which is like the others is likelier one of them."""
    patches = [replace(t, strength_db=18.0) for t in _group(20, WIND, 12, 18, 2000.0)]
    among = patches.pop(10)
    like = _after_turns((*patches, among))[-1]
    assert like > 3.0 * VESSEL_PER_M2
    # A ship's echo 37 dB stronger; one hit in each turn, where the patches are missed in a third of them.
    assert _after_turns((*patches, replace(among, strength_db=55.0)))[-1] < 0.1 * like
    assert _after_turns((*patches, replace(among, n_hits=40, n_scans=40)))[-1] < 0.1 * like
    # Two hundred metres long, where no patch is.
    assert _after_turns((*patches, replace(among, length_m=200.0)))[-1] < 0.8 * like


def test_what_hops_in_a_squall_goes_with_it_as_much_as_its_own_velocity_lets_it() -> None:
    patches = _group(20, WIND, 12, 18, 2000.0)
    among = patches.pop(10)

    def density(*more: float) -> float:
        other = replace(among, velocity_east=WIND[0] + more[0], velocity_north=WIND[1] + more[1])
        return float(_after_turns((*patches, other))[-1])

    # Four m/s off the field is hopping; seventeen off, three times its spread and more, is a way of its own.
    assert density(0.0, 0.0) > density(-3.0, 2.6) > 0.3 * VESSEL_PER_M2
    assert density(12.0, -12.0) < 0.5 * VESSEL_PER_M2 and density(-12.0, 12.0) < 0.1 * VESSEL_PER_M2


def test_what_lies_still_is_named_by_ais_or_lies_at_land_drifts_with_nobody() -> None:
    assert not _after_turns(tuple(_group(9, (0.1, 0.0), 12, 20, 1400.0))).any()
    shower = tuple(_group(9, WIND, 12, 20, 1400.0))
    assert not _after_turns(shower, np.ones(9, dtype=np.bool_)).any()
    assert not _after_turns(()).any()


def test_pieces_of_one_hull_are_one_witness() -> None:
    pieces = [make_track(k, 900.0 + 12.0 * k, 40.0, *WIND, n_hits=14, n_scans=20) for k in range(1, 8)]
    assert np.all(_after_turns(tuple(pieces)) < 0.1 * VESSEL_PER_M2)


def test_one_turn_alone_makes_no_field() -> None:
    shower = tuple(_group(9, WIND, 12, 20, 1400.0))
    first = FieldDrift().density(shower, (0.0, 0.0), np.zeros(9, dtype=np.bool_))
    later = _after_turns(shower)
    assert np.all(first[later > 0.0] < 0.3 * later[later > 0.0]) and np.count_nonzero(later) >= 7


def test_a_field_is_as_dense_wherever_the_world_lies() -> None:
    """Three kilometres off, where the reach grows with the range: moved with the boat, nothing changes."""
    tracks = _group(14, WIND, 9, 12, 900.0)
    far = [replace(t, east_m=t.east_m + 1500.0, north_m=t.north_m + 1500.0) for t in tracks]
    moved = [replace(t, east_m=t.east_m + 7000.0, north_m=t.north_m - 5000.0) for t in far]
    here, there = FieldDrift(), FieldDrift()
    land = np.zeros(len(tracks), dtype=np.bool_)
    for _ in range(TURNS):
        at_home = here.density(tuple(far), (0.0, 0.0), land)
        abroad = there.density(tuple(moved), (7000.0, -5000.0), land)
    assert at_home.max() > 0.0
    np.testing.assert_allclose(abroad, at_home, rtol=1e-6)


@pytest.mark.parametrize("turn", [0.0, 70.0, 190.0, 300.0])
def test_what_lies_within_half_a_beam_of_the_shore_is_no_part_of_a_field(
    turn: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a beam of 4 degrees at 2 500 m is 87 m; a coast across its bearing, seen from anywhere on any bearing."""
    own = np.array([-3000.0, 1700.0])
    way, side = (np.array([math.sin(a), math.cos(a)]) for a in (math.radians(turn), math.radians(turn) + 0.5 * math.pi))
    reach, half_beam_m = 2500.0, 0.5 * RADAR.beam_horizontal_rad * 2500.0
    corners = [own + (reach + a) * way + b * side for a, b in ((0, -900), (0, 900), (700, 900), (700, -900))]
    chart = FakeChart(land=shapely.MultiPolygon([shapely.Polygon(corners)]))
    # Before the coast by so much more or less than half a beam and what a coast is charted to.
    before = [half_beam_m + ASHORE_M + more for more in (-40.0, -15.0, 15.0, 40.0)]
    tracks = [make_track(k, *map(float, own + (reach - off) * way), 3.0, -2.0) for k, off in enumerate(before)]
    asked: list[np.ndarray] = []
    measured = FieldDrift.density

    def density(drift: Any, told: Any, here: Any, ashore: np.ndarray) -> np.ndarray:
        asked.append(ashore.copy())
        return np.asarray(measured(drift, told, here, ashore))

    monkeypatch.setattr(FieldDrift, "density", density)
    Judge(make_boat(), chart).read(make_situation(tracks, float(own[0]), float(own[1]), heading_rad=1.0))
    assert asked[0].tolist() == [True, True, False, False]
