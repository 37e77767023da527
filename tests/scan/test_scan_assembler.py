"""Scans from spokes: whatever their number, order, duplicates or gaps."""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.scan.assembler import ScanAssembler
from moonless.scan.pose import PoseSample, PoseSeries
from moonless.scan.types import Scan, ScanErrors, Spoke
from moonless.units import NS_PER_S

ERRORS = ScanErrors(math.radians(4.0), 30.0, 0.005, 5.0)
T0 = 1_800_000_000 * NS_PER_S
PERIOD_S = 2.5
N_CELL = 6


def _poses(heading_rad: float = 0.3, turn_rate: float = 0.0) -> PoseSeries:
    poses = PoseSeries()
    for i in range(200):
        t = T0 + i * NS_PER_S // 10
        poses.add(PoseSample(t, 10.0, 20.0, (heading_rad + turn_rate * i / 10) % TAU, 0.0, 0.0))
    return poses


def _spoke(i: int, n: int, *, sense: int = 1, shift: float = 0.0, cell_m: float = 7.5, first_m: float = 0.0) -> Spoke:
    """The i-th spoke since the beginning.  Its cells carry its number, so that a test can tell where it went."""
    centre = sense * i * TAU / n + shift
    half = sense * 0.5 * TAU / n
    echo = np.full(N_CELL, 1 + (i % n) % 200, dtype=np.uint8)
    echo[0] = 1 + (i // n) % 200
    time_ns = T0 + round(i * PERIOD_S / n * NS_PER_S)
    return Spoke(time_ns, (centre - half) % TAU, (centre + half) % TAU, first_m, cell_m, echo, 255, i)


def _scans(assembler: ScanAssembler, spokes: Iterable[Spoke], poses: PoseSeries, flush: bool = True) -> list[Scan]:
    out = [scan for spoke in spokes if (scan := assembler.add(spoke, poses)) is not None]
    last = assembler.flush(poses) if flush else None
    return out + ([last] if last is not None else [])


@given(
    n=st.integers(40, 700),
    sense=st.sampled_from([1, -1]),
    shift=st.floats(0, TAU),
    turns=st.integers(1, 3),
)
@settings(max_examples=25, deadline=None)
def test_whole_turns_come_out_whole(n: int, sense: int, shift: float, turns: int) -> None:
    scans = _scans(ScanAssembler(ERRORS), (_spoke(i, n, sense=sense, shift=shift) for i in range(turns * n)), _poses())
    assert len(scans) == turns
    for number, scan in enumerate(scans):
        assert (scan.n_spoke, scan.n_cell, scan.number) == (n, N_CELL, number)
        assert scan.is_whole
        assert set(scan.echo[:, 0].tolist()) == {1 + number}
        # Every row shows the spoke that looked there, at the time it did.
        which = np.rint((scan.azimuth_rel_rad - shift) * sense * n / TAU).astype(int) % n
        np.testing.assert_array_equal(scan.echo[:, 1], 1 + which % 200)
        expected_ns = T0 + np.round((which + number * n) * PERIOD_S / n * NS_PER_S)
        np.testing.assert_allclose(scan.time_ns, expected_ns, atol=2e5)
        # The rows look where the radar's own spokes did, to within a step of rounding.
        off = np.mod(scan.azimuth_rel_rad - sense * which * TAU / n - shift + math.pi, TAU) - math.pi
        assert np.abs(off).max() < 1e-6


def test_a_whole_turn_is_handed_on_with_its_last_spoke() -> None:
    assembler, poses = ScanAssembler(ERRORS), _poses()
    n = 360
    done = [i for i in range(3 * n) if assembler.add(_spoke(i, n), poses) is not None]
    # The first turn's length is only known once it has come round.
    assert done[0] < n + 12
    assert done[1:] == [2 * n - 1, 3 * n - 1]


@given(st.data())
@settings(max_examples=25, deadline=None)
def test_lost_spokes_are_said_to_be_lost(data: st.DataObject) -> None:
    n = 200
    lost = data.draw(st.sets(st.integers(1, n - 1), max_size=60))
    spokes = [_spoke(i, n) for i in range(2 * n) if i not in lost]
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert len(scans) == 2
    first, second = scans
    assert first.n_spoke == second.n_spoke == n
    assert set(np.flatnonzero(~first.is_received).tolist()) == lost
    assert not first.echo[~first.is_received].any()
    assert second.is_whole
    assert first.received_fraction == pytest.approx(1 - len(lost) / n)
    # Times of lost rows lie on the line between the others.
    np.testing.assert_allclose(first.time_ns, T0 + np.arange(n) * PERIOD_S / n * NS_PER_S, atol=2 * PERIOD_S / n * 1e9)


@given(st.data())
@settings(max_examples=25, deadline=None)
def test_disorder_and_duplicates_change_nothing(data: st.DataObject) -> None:
    n = 180
    order = list(range(3 * n))
    for _ in range(data.draw(st.integers(0, 30))):
        i = data.draw(st.integers(1, len(order) - 4))
        j = i + data.draw(st.integers(1, 3))
        order[i], order[j] = order[j], order[i]
    for _ in range(data.draw(st.integers(0, 20))):
        i = data.draw(st.integers(0, len(order) - 4))
        order.insert(i + data.draw(st.integers(1, 3)), order[i])
    scans = _scans(ScanAssembler(ERRORS), [_spoke(i, n) for i in order], _poses())
    whole = [scan for scan in scans if scan.received_fraction > 0.5]
    assert len(whole) == 3
    for scan in whole:
        assert scan.n_spoke == n
        # A late duplicate across the seam can take at most a few rows of its neighbour turn.
        assert scan.received_fraction > 0.95
    straight = _scans(ScanAssembler(ERRORS), [_spoke(i, n) for i in range(3 * n)], _poses())
    np.testing.assert_array_equal(whole[1].echo[20:-20], straight[1].echo[20:-20])


@given(st.lists(st.tuples(st.floats(0, TAU), st.floats(-0.1, 3.0)), max_size=300), st.sampled_from(["bow", "true"]))
@settings(max_examples=60, deadline=None)
def test_any_order_of_angles_and_times_is_survived(moves: list[tuple[float, float]], angle_from: str) -> None:
    assembler = ScanAssembler(ERRORS, angle_from=angle_from)  # type: ignore[arg-type]
    poses = _poses()
    t = T0
    for azimuth, wait in moves:
        t += round(wait * 0.02 * NS_PER_S)
        scan = assembler.add(Spoke(t, azimuth, azimuth, 0.0, 5.0, np.ones(4, np.uint8), 255, 0), poses)
        assert scan is None or scan.n_spoke >= 8
    assembler.flush(poses)


def test_uneven_turning_loses_no_row() -> None:
    rng = np.random.default_rng(5)
    n = 720
    jitter = rng.uniform(-0.2, 0.2, 3 * n) * TAU / n
    spokes = [
        Spoke(T0 + i * 3_000_000, (i * TAU / n + jitter[i]) % TAU, (i * TAU / n + jitter[i]) % TAU, 0.0, 5.0,
              np.ones(4, np.uint8), 255, i)
        for i in range(3 * n)
    ]  # fmt: skip
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert len(scans) == 3
    assert all(scan.n_spoke == n and scan.is_whole for scan in scans[1:])


def test_counts_that_do_not_divide_the_circle_are_learnt_exactly() -> None:
    # 1440 spokes of a 16-bit angle step by 45 or 46; a median would give 1456 or 1424.
    n = 1440
    spokes = []
    for i in range(2 * n):
        lsb = round(i * 65536 / n) % 65536
        spokes.append(
            Spoke(T0 + i * 1_700_000, lsb * TAU / 65536, lsb * TAU / 65536, 0, 5, np.ones(4, np.uint8), 255, i)
        )
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert [scan.n_spoke for scan in scans] == [n, n]
    assert all(scan.is_whole for scan in scans)


def test_range_change_begins_a_new_scan() -> None:
    n = 180
    spokes = [_spoke(i, n) for i in range(n + 60)] + [_spoke(i, n, cell_m=15.0) for i in range(n + 60, 3 * n)]
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert [scan.cell_m for scan in scans] == [7.5, 7.5, 15.0, 15.0]
    assert np.count_nonzero(scans[1].is_received) == 60
    assert scans[2].is_whole


def test_long_spokes_in_several_messages_are_put_together() -> None:
    n = 90
    spokes = []
    for i in range(2 * n):
        near = _spoke(i, n)
        spokes += [near, _spoke(i, n, first_m=N_CELL * near.cell_m)]
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert len(scans) == 2
    for scan in scans:
        assert (scan.n_spoke, scan.n_cell) == (n, 2 * N_CELL)
        assert scan.is_whole
        np.testing.assert_array_equal(scan.echo[:, 1], scan.echo[:, N_CELL + 1])


@pytest.mark.parametrize("sense", [1, -1])
def test_sector_to_and_fro(sense: int) -> None:
    n, half = 720, 90
    angles = [*range(-half, half), *range(half, -half, -1), *range(-half, half)]
    spokes = [_spoke(a, n, sense=sense) for a in angles]
    spokes = [
        Spoke(T0 + i * 3_000_000, s.azimuth_start_rad, s.azimuth_end_rad, 0.0, 7.5, s.echo, 255, i)
        for i, s in enumerate(spokes)
    ]
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert len(scans) == 3
    for scan in scans:
        assert scan.n_spoke == n
        assert not scan.is_whole
        got = np.flatnonzero(scan.is_received)
        away = np.minimum(got, n - got)
        assert away.max() <= half + 1
        assert got.size > 2 * half - 15


def test_blanked_sector_wider_than_half_a_turn() -> None:
    # The antenna turns on, but for 220 degrees nothing is sent: the angle alone would look like a step back.
    n = 360
    spokes = [_spoke(i, n) for i in range(n)] + [_spoke(i, n) for i in range(n, 4 * n) if i % n < 140]
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert [int(np.count_nonzero(s.is_received)) for s in scans] == [360, 140, 140, 140]


def test_a_pause_ends_the_turn() -> None:
    assembler, poses = ScanAssembler(ERRORS), _poses()
    n = 180
    for i in range(n + 40):
        assembler.add(_spoke(i, n), poses)
    last_ns = _spoke(n + 39, n).time_ns
    assert assembler.tick(last_ns + NS_PER_S, poses) is None
    scan = assembler.tick(last_ns + 6 * NS_PER_S, poses)
    assert scan is not None
    assert np.count_nonzero(scan.is_received) == 40
    assert assembler.tick(last_ns + 60 * NS_PER_S, poses) is None


def test_clock_going_back_begins_afresh() -> None:
    n = 180
    spokes = [_spoke(i, n) for i in range(n + 50)] + [_spoke(i, n) for i in range(n)]
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert [int(np.count_nonzero(s.is_received)) for s in scans] == [180, 50, 180]


def test_offsets_of_the_boat_file_are_applied() -> None:
    n = 360
    assembler = ScanAssembler(ERRORS, bow_offset_rad=math.radians(2.4), range_offset_m=-12.0)
    (scan,) = _scans(assembler, [_spoke(i, n) for i in range(n)], _poses())
    assert scan.first_cell_m == -12.0
    # The spoke that said 0 degrees looked to 2.4 degrees.
    row = int(np.flatnonzero(scan.echo[:, 1] == 1)[0])
    assert math.degrees(scan.azimuth_rel_rad[row]) == pytest.approx(2.4, abs=1e-6)


@pytest.mark.parametrize("turn_rate", [0.0, 0.1])
def test_true_angles_are_turned_to_the_bow(turn_rate: float) -> None:
    n, heading = 720, 1.0
    poses = _poses(heading, turn_rate)
    spokes = []
    for i in range(3 * n):
        s = _spoke(i, n)
        true = i * TAU / n + heading + turn_rate * (s.time_ns - T0) / NS_PER_S
        spokes.append(Spoke(s.time_ns, true % TAU, true % TAU, 0.0, 7.5, s.echo, 255, i))
    scans = _scans(ScanAssembler(ERRORS, angle_from="true"), spokes, poses)
    assert len(scans) == 3
    for scan in scans:
        assert scan.n_spoke == n
        which = np.rint(scan.azimuth_rel_rad * n / TAU).astype(int) % n
        seen = scan.is_received
        assert seen.mean() > 0.99
        np.testing.assert_array_equal(scan.echo[seen, 1], 1 + which[seen] % 200)
    assert scans[0].heading_true_rad[0] == pytest.approx(heading, abs=0.02)


def test_true_angles_without_heading_are_not_guessed() -> None:
    assembler = ScanAssembler(ERRORS, angle_from="true")
    poses = PoseSeries()
    assert _scans(assembler, [_spoke(i, 180) for i in range(400)], poses) == []
    assert assembler.counts.no_heading == 400


def test_unknown_position_is_nan_not_zero() -> None:
    (scan,) = _scans(ScanAssembler(ERRORS), [_spoke(i, 180) for i in range(180)], PoseSeries())
    assert np.isnan(scan.lat_deg).all()
    assert np.isnan(scan.heading_true_rad).all()
    assert np.isinf(scan.pose_age).all()


def test_wide_counts_stay_wide() -> None:
    spokes = [
        Spoke(T0 + i * 1_000_000, i * TAU / 90, i * TAU / 90, 0.0, 5.0, np.full(3, 4000, np.uint16), 65535, i)
        for i in range(90)
    ]
    (scan,) = _scans(ScanAssembler(ERRORS), spokes, _poses())
    assert scan.echo.dtype == np.uint16
    assert scan.echo.max() == 4000


def test_positions_are_the_radar_antennas() -> None:
    heading = math.radians(90.0)
    assembler = ScanAssembler(ERRORS, antenna_forward_m=3.0, antenna_starboard_m=1.0)
    (scan,) = _scans(assembler, [_spoke(i, 180) for i in range(180)], _poses(heading))
    # Ahead is east, starboard is south.
    east, north = LocalFrame(10.0, 20.0).to_plane(scan.lat_deg, scan.lon_deg)
    np.testing.assert_allclose(east, 3.0, atol=1e-3)
    np.testing.assert_allclose(north, -1.0, atol=1e-3)


@given(per_turn=st.floats(100.0, 500.0), jitter=st.floats(0.0, 0.15), seed=st.integers(0, 99))
@settings(max_examples=30, deadline=None)
def test_spokes_that_do_not_fit_the_turn_make_steady_scans(per_turn: float, jitter: float, seed: int) -> None:
    """Pulses and rotation are not in step: no turn has the spokes of the last, nor at the same angles."""
    rng = np.random.default_rng(seed)
    step = TAU / per_turn
    spokes = []
    for i in range(int(5 * per_turn)):
        lsb = round((i + rng.uniform(-jitter, jitter)) * step / TAU * 65536) % 65536
        azimuth = lsb * TAU / 65536
        echo = np.full(4, 1 + i % 250, np.uint8)
        spokes.append(Spoke(T0 + round(i * PERIOD_S / per_turn * NS_PER_S), azimuth, azimuth, 0.0, 5.0, echo, 255, i))
    scans = _scans(ScanAssembler(ERRORS), spokes, _poses(), flush=False)
    assert len(scans) in (4, 5)
    assert len({scan.n_spoke for scan in scans}) == 1
    assert abs(scans[0].n_spoke - per_turn) < max(1.0, 0.006 * per_turn)
    # The odd row at the seam, where one turn's spokes end half a row before the next one's begin.
    assert all(np.count_nonzero(~scan.is_received) <= 1 for scan in scans)
    for earlier, later in pairwise(scans):
        assert later.time_ns.min() > earlier.time_ns.min()
        assert abs((later.end_ns - earlier.end_ns) / NS_PER_S - PERIOD_S) < 0.1
