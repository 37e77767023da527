"""A watch begun anew after one that died: settings, answers, tracks, and the sentence that ended it."""

from __future__ import annotations

import asyncio
import os
import signal
import threading
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest
from helm_made import MadeSource

from moonless.boat.file import default_boat
from moonless.chart.local_knowledge.file import write_contents
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.helm.process.events import Answer, Notice
from moonless.helm.process.keeper import Keeper
from moonless.helm.process.remembered import Remembered
from moonless.helm.process.requests import (
    Acknowledge,
    GoOn,
    RouteRequest,
    SetBowOffset,
    SetSight,
)
from moonless.helm.process.worker import Left
from moonless.helm.process.worker_process import WorkerProcess
from moonless.reading.types import Alert
from moonless.units import kn_to_mps
from moonless.watch.live.in_hand import InHand
from moonless.watch.live.watch import LiveWatch
from moonless.watch.types import LinkNow
from moonless.wire.links import parse_link


@dataclass(frozen=True)
class DiesOn:
    """Takes sentences in hand and is killed on a bad one, as a codec that reads past its memory is."""

    in_hand: InHand
    sentences: tuple[bytes, ...]
    aside: tuple[bytes, ...] = ()

    def ready(self) -> DiesOn:
        return self

    def going_on(self, left: Left) -> DiesOn:
        return replace(self, aside=left.aside)

    def run(self, pipe: Connection) -> None:
        for sentence in self.sentences:
            if sentence not in self.aside:
                self.in_hand.take_up(sentence)
                if b"BAD" in sentence:
                    os.kill(os.getpid(), signal.SIGKILL)
                self.in_hand.put_down()
        asked = [pipe.recv().request for _ in range(2)]
        pipe.send(Notice(" ".join(type(one).__name__ for one in asked)))


def test_a_sentence_that_ends_a_watch_is_put_aside_and_told() -> None:
    in_hand = InHand()
    job = DiesOn(in_hand, (b"$GOOD,1", b"$BAD,2", b"$GOOD,3"))
    source = WorkerProcess("live", job, {}, job, in_hand)
    source.do(3, SetSight("in sight"))

    async def go() -> list[Any]:
        return [event async for event in source.events()]

    events = asyncio.run(go())
    told = [e.text for e in events if isinstance(e, LinkNow) and e.link == "sentence"]
    assert told == ["a sentence that ended the watch is put aside: '$BAD,2'"]
    # The second watch reads past it, and is asked to go on with what was set.
    assert [e.text for e in events if isinstance(e, Notice)] == ["GoOn SetSight"]


def test_what_was_set_and_answered_is_asked_of_the_next_watch() -> None:
    one, turn = Remembered(), MadeSource().turn()
    turn = replace(turn.reading, alerts=(Alert("echo 3", 3, "unacknowledged", "x", False),))
    one.told(turn)
    one.asked(SetSight("in sight"))
    one.asked(SetSight("not in sight"))
    one.asked(SetBowOffset(1.5))
    one.asked(Acknowledge("echo 3"))
    one.asked(RouteRequest("save", 4, ((1.0, 2.0), (1.1, 2.0)), "home", follow=True))
    asked = [each.request for each in one.anew()]
    go_on = asked[0]
    assert isinstance(go_on, GoOn) and go_on.answered == {"echo 3": 3}
    assert [former.id for former in go_on.former] == [echo.id for echo in turn.echoes]
    for former, echo in zip(go_on.former, turn.echoes, strict=True):
        assert (former.lat_deg, former.lon_deg) == (echo.lat, echo.lon)
        assert (former.east**2 + former.north**2) ** 0.5 == pytest.approx(
            0.0 if echo.cog_deg is None else kn_to_mps(echo.sog_kn)
        )
    assert asked[1:] == [SetSight("not in sight"), SetBowOffset(1.5), RouteRequest("follow", 4, name="home")]


def test_a_reading_without_echoes_leaves_the_tracks_as_they_were() -> None:
    one, reading = Remembered(), MadeSource().turn().reading
    assert reading.echoes
    one.told(reading)
    one.told(replace(reading, echoes=()))
    assert isinstance(asked := one.anew()[0].request, GoOn) and len(asked.former) == len(reading.echoes)


def _watch(in_hand: InHand, aside: tuple[bytes, ...] = ()) -> tuple[LiveWatch, list[bytes], list[bytes]]:
    """Return a watch, the sentences that its chain is fed, and what was in hand at each."""
    watch = LiveWatch(
        default_boat(), None, None, radar=None, nmea=[parse_link("udp://127.0.0.1:9001")], on_event=lambda _: None,
        in_hand=in_hand, aside=aside,
    )  # fmt: skip
    fed: list[bytes] = []
    noted: list[bytes] = []

    def feed(data: bytes, received_ns: int, **_: Any) -> list[Any]:
        fed.append(data)
        noted.append(in_hand.read())
        return []

    watch.chain.feed_nmea = feed  # type: ignore[method-assign, assignment]
    return watch, fed, noted


def test_each_sentence_is_noted_while_it_is_worked_on_however_the_link_cuts_it() -> None:
    in_hand = InHand()
    watch, fed, noted = _watch(in_hand)
    for data in (b"$A,1*00\r\n$B,", b"2*00\r\n$C", b",3*00\r\n"):
        watch.receive(1, data, watch.now_ns(), is_datagram=False)
        watch.work_once(0.0)
    assert fed == noted == [b"$A,1*00\r\n", b"$B,2*00\r\n", b"$C,3*00\r\n"]
    assert in_hand.read() == b""


def test_what_ended_a_watch_is_passed_over_and_nothing_else() -> None:
    watch, fed, _ = _watch(InHand(), aside=(b"$B,2*00",))
    watch.receive(1, b"$A,1*00\r\n$B,2*00\r\n$C,3*00\r\n", watch.now_ns(), is_datagram=False)
    watch.receive(1, b"$B,2*00\r\n", watch.now_ns(), is_datagram=True)
    watch.work_once(0.0)
    assert fed == [b"$A,1*00\r\n", b"$C,3*00\r\n"]


def test_a_slow_card_holds_up_no_turn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is written while the test holds it up; who asked goes on at once, and is answered when it is kept."""
    goes_on, answered = threading.Event(), threading.Event()
    answers: list[Any] = []
    write = write_contents

    def slow(*args: Any) -> None:
        assert goes_on.wait(60.0)
        write(*args)

    def send(event: Any) -> None:
        answers.append(event)
        answered.set()

    monkeypatch.setattr("moonless.chart.local_knowledge.knowledge.write_contents", slow)
    known = Knowledge.open(tmp_path / "known.gpkg")
    keeper = Keeper(send)
    keeper.keep(5, "kept in mind: pile", lambda: known.add(50.0, -5.0, "pile", seen_ns=10**18))
    assert answers == [] and known.things == ()  # nothing is known that is not kept
    goes_on.set()
    assert answered.wait(60.0)
    assert answers == [Answer(5, "kept in mind: pile")]
    assert [thing.words for thing in known.things] == ["pile"]


def test_a_card_that_takes_nothing_does_not_fill_the_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("moonless.helm.process.keeper.MOST_WAITING", 2)
    goes_on = threading.Event()
    answers: list[Any] = []
    keeper = Keeper(answers.append)
    for _ in range(5):
        keeper.keep(1, "kept", lambda: goes_on.wait(60.0))
    assert [one.line for one in answers][:1] == ["not kept: the disk does not take what waits for it already"]
    goes_on.set()
