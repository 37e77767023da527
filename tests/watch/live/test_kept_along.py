"""States kept along a recording: gone back to, the same is told as when it was played through."""

from __future__ import annotations

from typing import Any

import pytest
from bench.faults.arrivals import Arrival, demo_run

from moonless.boat.file import read_boat
from moonless.chart.library import Chart
from moonless.scene.story import demo_boat, demo_chart
from moonless.units import NS_PER_S
from moonless.watch.live.kept_along import EVERY_NS, KeptAlong
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import Turn

UNTIL_S = 46.0


def feed(chain: Chain, one: Arrival) -> list[Turn]:
    if one.link == 0:
        return chain.feed_radar(one.data, one.time_ns, is_datagram=True)
    return chain.feed_nmea(one.data, one.time_ns)


@pytest.fixture(scope="module")
def played() -> tuple[Chart, list[Arrival], KeptAlong, list[Turn]]:
    """The demo played through, its states kept on the way, and what was told."""
    arrivals = list(demo_run(UNTIL_S))
    chart = Chart.open([demo_chart()])
    chain, kept = Chain(read_boat(demo_boat()), chart), KeptAlong({"chart": chart})
    told: list[Turn] = []
    for one in arrivals:
        turns = feed(chain, one)
        if turns:
            kept.after(chain, one.time_ns)
        told += turns
    return chart, arrivals, kept, told


def test_gone_back_to_the_same_is_told(played: Any) -> None:
    _, arrivals, kept, told = played
    to_ns = arrivals[0].time_ns + 25 * NS_PER_S
    found = kept.latest(0, to_ns)
    assert found is not None
    at_ns, chain = found
    assert to_ns - EVERY_NS - 4 * NS_PER_S < at_ns <= to_ns
    again = [turn for one in arrivals if one.time_ns > at_ns for turn in feed(chain, one)]
    rest = told[-len(again) :]
    assert len(again) >= 6 and sum(len(turn.reading.echoes) for turn in again) > 30
    assert [turn.reading.as_dict() for turn in again] == [turn.reading.as_dict() for turn in rest]


def test_of_a_place_that_was_not_played_there_is_no_state(played: Any) -> None:
    _, arrivals, kept, _ = played
    begins = arrivals[0].time_ns
    assert kept.latest(0, begins - 1) is None
    assert kept.latest(begins + 3600 * NS_PER_S, begins + 7200 * NS_PER_S) is None


def test_a_chart_that_is_gone_is_done_without(played: Any) -> None:
    chart, arrivals, kept, _ = played
    kept._apart = {"chart": None}
    try:
        assert kept.latest(0, arrivals[-1].time_ns) is None
    finally:
        kept._apart = {"chart": chart}


def test_states_are_kept_apart_and_within_bounds() -> None:
    chain = Chain(read_boat(demo_boat()))
    kept = KeptAlong({})
    for second in range(100):
        kept.after(chain, second * NS_PER_S)
    assert len(kept) == 10, "one each ten seconds"
    kept.after(chain, 43 * NS_PER_S)
    assert len(kept) == 10
    few = KeptAlong({}, most_bytes=1)
    for second in range(0, 200, 10):
        few.after(chain, second * NS_PER_S)
        if found := few.latest(0, 10**18):  # packed by a thread of its own: waited for
            assert found[0] == second * NS_PER_S
    assert len(few) <= 3
    assert few.latest(0, 0) is not None, "the ends stay: what is let go of leaves the smallest gap"
