"""One time line of three clocks: which clock is believed, to both sides of every limit its rules state."""

from __future__ import annotations

import pytest

from moonless.units import NS_PER_S
from moonless.watch.instruments.timebase import ClockDifference, TimeBase

T0 = 1_900_000_000 * NS_PER_S


def _ns(seconds: float) -> int:
    return round(seconds * NS_PER_S)


@pytest.mark.parametrize(("off_s", "taken_s"), [(1.9, 0.0), (2.1, 2.1), (-1.9, 0.0), (-2.1, -2.1), (3600.0, 3600.0)])
def test_a_clock_within_two_seconds_is_right(off_s: float, taken_s: float) -> None:
    times = TimeBase()
    assert times.said(T0, T0 + _ns(off_s)) == ("moved" if abs(taken_s) > 1.5 else "same")
    assert times.utc(T0 + 5) == T0 + 5 + _ns(taken_s)


def test_of_ten_differences_the_one_received_soonest_counts() -> None:
    """A sentence comes late and never early: the largest of what was said less what was received."""
    clock = ClockDifference(3)
    assert clock.last_ns is None and clock.ns == 0
    for off in (10.0, 10.4, 9.9, 10.1):
        clock.take(_ns(off))
    assert clock.ns == _ns(10.4) and clock.last_ns == _ns(10.1)
    for k in range(9):
        clock.take(_ns(9.5))
        assert clock.ns == _ns(10.4 if k < 7 else 10.1)
    clock.take(_ns(9.5))
    assert clock.ns == _ns(9.5)


def test_a_jump_is_followed_when_three_words_agree_with_one_another() -> None:
    times = TimeBase()
    times.said(T0, T0)
    assert [times.said(T0, T0 + _ns(off)) for off in (1.4, 3.0, 30.0, 30.5, 31.9, 30.0)] == [
        "same", "odd", "odd", "odd", "jumped", "odd",
    ]  # fmt: skip
    assert times.utc(T0) == T0 + _ns(31.9)
    # One wrong word between right ones changes nothing.
    times = TimeBase()
    told = [times.said(T0, T0 + _ns(off)) for off in (0.0, 50.0, 0.0, 50.0, 0.1, 50.0)]
    assert told == ["same", "odd", "same", "odd", "same", "odd"] and times.utc(T0) == T0


def test_a_computer_whose_clock_goes_back_is_seen() -> None:
    times = TimeBase()
    assert [times.received(T0 + _ns(s)) for s in (0.0, 5.0, 3.6, 2.0, 9.0)] == [False, False, False, True, False]


def _records(times: TimeBase, at_s: float, behind_s: float, n: int = 1) -> tuple[str, list[float]]:
    news, out = times.radar(T0 + _ns(at_s), [T0 + _ns(at_s - behind_s)] * n)
    return news, [round((t - T0) / NS_PER_S, 3) for t in out]


def test_a_radar_whose_clock_was_never_right_is_moved_to_receipt() -> None:
    times = TimeBase()
    assert _records(times, 0.0, 1000.0) == ("same", [0.0])
    assert _records(times, 2.0, 1000.4) == ("same", [2.0])
    # The least late of the last is nearest to the truth: the largest difference is taken, and held.
    assert _records(times, 4.0, 1000.1) == ("same", [4.3])
    assert times.radar_offset_ns == _ns(1000.4)


@pytest.mark.parametrize(("behind_s", "news"), [(1.9, "same"), (2.1, "late"), (3.4, "late"), (-2.1, "same")])
def test_a_radar_that_agreed_ten_times_and_falls_behind_comes_late(behind_s: float, news: str) -> None:
    times = TimeBase()
    for k in range(10):
        assert _records(times, float(k), 0.6 if behind_s < 3.0 else 1.95) == (
            "same",
            [pytest.approx(k - (0.6 if behind_s < 3.0 else 1.95))],
        )
    if behind_s < 0.0:
        _records(times, 10.0, -0.8)
    # It is not made to look fresh.
    assert _records(times, 10.0, behind_s) == (news, [pytest.approx(10.0 - behind_s)])
    # One that had not agreed so often is moved.
    new = TimeBase()
    for k in range(8):
        _records(new, float(k), 1.0)
    assert _records(new, 10.0, 2.2) == ("same", [10.0])


def test_a_radar_clock_that_is_set_jumps_after_forty_records_and_odd_ones_stand_by_the_last_good() -> None:
    times = TimeBase()
    for k in range(12):
        _records(times, 0.1 * k, 0.2)
    for k in range(39):
        assert _records(times, 2.0, -500.0) == ("same", [pytest.approx(1.8)]) and times.odd_records == k + 1
    assert _records(times, 2.0, -500.0) == ("jumped", [2.0])
    # Behind by less than a minute it is late, however suddenly; by more, its clock was set.
    for behind, news in ((59.0, "late"), (61.0, "jumped")):
        times = TimeBase()
        for k in range(12):
            _records(times, 0.1 * k, 0.2)
        told = [_records(times, 2.0, behind)[0] for _ in range(40)]
        assert told[:39] == ["same"] * 39 and told[39] == news
