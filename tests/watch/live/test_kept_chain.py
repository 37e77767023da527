"""A chain's state kept and taken up: the watch that goes on tells what the one that died would have told."""

from __future__ import annotations

from typing import Any

import pytest
from bench.faults.arrivals import Arrival, demo_run

from moonless.boat.file import default_boat, read_boat
from moonless.chart.library import Chart
from moonless.scene.story import demo_boat, demo_chart
from moonless.track.types import Former
from moonless.units import NS_PER_S
from moonless.watch.live import kept_chain
from moonless.watch.live.kept_chain import Keeping, take_up_chain
from moonless.watch.live.watch import LiveWatch
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import ChainKept, Turn
from moonless.wire.links import parse_link

KEPT_S, GAP_S, UNTIL_S = 20.0, 4.0, 32.0


def feed(chain: Chain, arrivals: list[Arrival]) -> list[Turn]:
    turns: list[Turn] = []
    for one in arrivals:
        if one.link == 0:
            turns += chain.feed_radar(one.data, one.time_ns, is_datagram=True)
        else:
            turns += chain.feed_nmea(one.data, one.time_ns)
    return turns


@pytest.fixture(scope="module")
def run() -> tuple[Chart, Chain, ChainKept, list[Turn], list[Arrival]]:
    """The demo for a while, its state kept, what the same chain tells after it, and what comes in meanwhile."""
    arrivals = list(demo_run(UNTIL_S))
    began = arrivals[0].time_ns
    at = next(k for k, one in enumerate(arrivals) if one.time_ns - began > KEPT_S * NS_PER_S)
    chart = Chart.open([demo_chart()])
    chain = Chain(read_boat(demo_boat()), chart)
    feed(chain, arrivals[:at])
    kept = Keeping({"chart": chart}).keep(chain)
    return chart, chain, kept, feed(chain, arrivals[at:]), arrivals[at:]


def test_the_next_watch_tells_what_the_one_before_would_have(run: Any) -> None:
    chart, _, kept, told, rest = run
    again = feed(take_up_chain(kept, {"chart": chart}), rest)
    assert len(told) >= 4 and sum(len(turn.reading.echoes) for turn in told) > 20
    assert [turn.reading.as_dict() for turn in again] == [turn.reading.as_dict() for turn in told]


def test_after_a_gap_the_echoes_have_their_numbers_and_kinds(run: Any) -> None:
    """The bytes of some seconds went with the process that died."""
    chart, _, kept, told, rest = run
    began = rest[0].time_ns
    late = [one for one in rest if one.time_ns - began > GAP_S * NS_PER_S]
    turns = [t for t in feed(take_up_chain(kept, {"chart": chart}), late) if t.reading.echoes]
    before = [t for t in told if t.reading.echoes]
    assert turns[0].reading.time_ns - late[0].time_ns < 6 * NS_PER_S
    steady = {(e.id, e.kind) for e in before[-1].reading.echoes} & {(e.id, e.kind) for e in before[0].reading.echoes}
    same = steady & {(e.id, e.kind) for e in turns[-1].reading.echoes}
    assert len(steady) >= 8 and len(same) >= len(steady) - 1


def test_what_the_chart_is_laid_out_into_is_written_once(run: Any) -> None:
    chart, chain, _, _, _ = run
    keeping = Keeping({"chart": chart})
    first, second = keeping.keep(chain), keeping.keep(chain)
    assert first.layout is not None and second.layout is None
    assert second.after(first).layout is first.layout
    assert take_up_chain(second.after(first), {"chart": chart}).counts.turns == chain.counts.turns
    with pytest.raises(IndexError):
        take_up_chain(second, {"chart": chart})


def test_a_state_without_its_chart_is_refused(run: Any) -> None:
    _, _, kept, _, _ = run
    with pytest.raises(KeyError, match="no chart any more"):
        take_up_chain(kept, {"chart": None})


def test_numbers_given_after_the_state_was_kept_are_given_to_nobody_else(run: Any) -> None:
    chart, _, kept, _, rest = run
    chain = take_up_chain(kept, {"chart": chart})
    known = {e.id for t in feed(chain, rest[: len(rest) // 4]) for e in t.reading.echoes}
    chain = take_up_chain(kept, {"chart": chart})
    chain.take_up((Former(5000, rest[0].time_ns, 0.0, 0.0, 0.0, 0.0),), {})
    later = {e.id for t in feed(chain, rest) for e in t.reading.echoes}
    assert known and later and all(number in known or number > 5000 for number in later - set(range(200)))


def _live(events: list[Any], **more: Any) -> LiveWatch:
    return LiveWatch(
        default_boat(), None, None, radar=parse_link("udp://127.0.0.1:9000"), nmea=[], on_event=events.append, **more
    )


def test_a_state_that_cannot_be_used_is_told_and_done_without() -> None:
    events: list[Any] = []
    watch = _live(events, kept=ChainKept(b"no state at all", None))
    assert [e.link for e in events] == ["state"] and "begins anew" in events[0].text
    assert watch.chain.counts.turns == 0


def test_a_state_that_cannot_be_written_ends_no_watch(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_chain, "MOST_BYTES", 1000)
    keeping = Keeping({})
    with pytest.raises(OverflowError):
        keeping.keep(Chain(default_boat()))
    assert keeping.after_turn(Chain(default_boat())) is None
    # It is not tried again and again.
    monkeypatch.setattr(kept_chain, "MOST_BYTES", 10**8)
    assert keeping.after_turn(Chain(default_boat())) is None
