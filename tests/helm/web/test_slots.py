"""What waits for a client: skipping, bounds, order."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from moonless.helm.web.slots import CallQueue, LatestSlot


def test_a_slow_client_gets_the_newest_only() -> None:
    slot: LatestSlot[int] = LatestSlot()
    for picture in range(5):
        slot.put(picture)
    assert slot.take() == 4
    assert slot.take() is None
    assert slot.skipped == 4


def test_calls_go_by_urgency_then_age() -> None:
    calls = CallQueue()
    for number, urgency in enumerate([1, 3, 4, 3]):
        calls.put({"number": number, "urgency": urgency})
    order = []
    while (call := calls.take()) is not None:
        order.append(call["number"])
    assert order == [2, 1, 3, 0]


@given(st.lists(st.integers(1, 4), max_size=80))
def test_the_queue_is_bounded_and_keeps_the_most_urgent(urgencies: list[int]) -> None:
    calls = CallQueue(limit=8)
    for urgency in urgencies:
        calls.put({"urgency": urgency})
    assert len(calls) == min(len(urgencies), 8)
    kept = []
    while (call := calls.take()) is not None:
        kept.append(call["urgency"])
    assert kept == sorted(urgencies, reverse=True)[:8]
