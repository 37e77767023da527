"""The pace of a played story, and what a failing chain does to it: nothing but a word on the screens."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from math import radians
from typing import Any, Literal

import pytest
from helm_made import START_NS, MadeSource

from moonless.helm.process.events import Answer, SourceState, TrialNow
from moonless.helm.process.handler import MOST_TRIALS, RequestHandler
from moonless.helm.process.play_jobs import _replay_slices
from moonless.helm.process.player import PacedPlayer, Piece, Slice
from moonless.helm.process.requests import (
    Acknowledge,
    Asked,
    EndTrial,
    JumpTo,
    KeepInMind,
    SeenByEye,
    SetSight,
    SourceRequest,
    StartAgain,
    ToldByDay,
    TryManoeuvre,
)
from moonless.reading.situation import OwnState
from moonless.watch.pipeline.chain import Given
from moonless.watch.pipeline.replay import Fed
from moonless.watch.types import LinkNow, Turn


class Done(Exception):
    """Ends a story that would play for ever."""


class FakePipe:
    """Takes what is sent; ends the story once it stands at its end."""

    def __init__(self, *asked: Asked) -> None:
        self.sent: list[Any] = []
        self._asked = list(asked)

    def send(self, event: Any) -> None:
        self.sent.append(event)
        if isinstance(event, SourceState) and event.paused:
            raise Done

    def poll(self, _: float) -> bool:
        return bool(self._asked)

    def recv(self) -> Asked:
        return self._asked.pop(0)


class FakeChain:
    """Gives a made turn for radar bytes, and fails on b"bad"."""

    def __init__(self) -> None:
        self.given = Given()
        self.acknowledged: list[str] = []
        self.fed: list[bytes] = []
        self.shown: list[bool] = []

    def feed_radar(self, data: bytes, received_ns: int, *, is_datagram: bool) -> list[Turn]:
        if data == b"bad":
            raise RuntimeError("a kernel tripped")
        self.fed.append(data)
        return [MadeSource().turn()]

    def feed_nmea(self, data: bytes, received_ns: int, *, link: str, is_datagram: bool) -> list[Turn]:
        self.fed.append(data)
        return []

    def tick(self, now_ns: int) -> list[Turn]:
        return []

    def hand_on_spokes(self, is_on: bool) -> None:
        self.shown.append(is_on)

    def own(self, received_ns: int) -> OwnState:
        return OwnState(None, None, None, None, None)

    def acknowledge(self, key: str) -> None:
        self.acknowledged.append(key)


def slices(*data: bytes) -> Iterator[Slice]:
    for i, one in enumerate(data):
        yield START_NS + i * 1_000_000, [Piece("radar", one)]


def by_screen(request: SourceRequest, asker: int = 3) -> Asked:
    return Asked(asker, request)


def play(pipe: FakePipe, chain: FakeChain, *data: bytes) -> None:
    with pytest.raises(Done):
        PacedPlayer(pipe, 16.0, "the story").play(slices(*data), chain, RequestHandler(chain, None, pipe.send))  # type: ignore[arg-type]


def test_a_failing_turn_is_said_and_the_story_goes_on() -> None:
    pipe, chain = FakePipe(), FakeChain()
    play(pipe, chain, b"one", b"bad", b"two")
    assert chain.fed == [b"one", b"two"]
    links = [event for event in pipe.sent if isinstance(event, LinkNow)]
    assert [link.state for link in links] == ["lost", "open"]
    assert "a kernel tripped" in links[0].text
    assert sum(isinstance(event, Turn) for event in pipe.sent) == 2


def test_the_end_is_said_and_stands_still() -> None:
    pipe = FakePipe()
    play(pipe, FakeChain(), b"one")
    assert isinstance(pipe.sent[-1], SourceState) and pipe.sent[-1].paused
    assert any("has ended" in getattr(event, "text", "") for event in pipe.sent)


def test_what_comes_before_a_place_is_read_and_not_told() -> None:
    """Of the two turns before the third the last is told, once, so that a screen that stands has a picture."""
    pipe, chain = FakePipe(), FakeChain()
    with pytest.raises(Done):
        PacedPlayer(pipe, 16.0, "the recording", can_jump=True).play(
            slices(b"1", b"2", b"3", b"4"), chain, RequestHandler(chain, None, pipe.send), START_NS + 2_000_000
        )  # type: ignore[arg-type]
    assert chain.fed == [b"1", b"2", b"3", b"4"]
    assert sum(isinstance(event, Turn) for event in pipe.sent) == 3
    told = [event for event in pipe.sent if isinstance(event, SourceState)]
    assert told[0].restarted and told[0].time_ns is None
    assert told[1].time_ns == START_NS + 2_000_000, "where it stands is said with the first that is told"


def test_a_jump_ends_the_playing_where_it_may_be_and_is_refused_elsewhere() -> None:
    chain = FakeChain()
    pipe = FakePipe(by_screen(JumpTo(START_NS + 7)))
    player = PacedPlayer(pipe, 16.0, "the recording", can_jump=True)
    player.play(slices(b"1", b"2"), chain, RequestHandler(chain, None, pipe.send))  # type: ignore[arg-type]
    assert player.jump_ns == START_NS + 7 and chain.fed == []
    again = FakePipe(by_screen(StartAgain()))
    player._pipe = again  # type: ignore[assignment]
    player.play(slices(b"1"), chain, RequestHandler(chain, None, again.send))  # type: ignore[arg-type]
    assert player.jump_ns is None
    story = FakePipe(by_screen(JumpTo(START_NS)))
    play(story, chain, b"1")
    assert any(isinstance(event, Answer) and "cannot do that" in event.line for event in story.sent)


def test_a_call_is_acknowledged_turns_after_it_was_told() -> None:
    chain = FakeChain()
    pipe = FakePipe()
    kept: list[str] = []
    handler = RequestHandler(chain, None, pipe.send, record_answer=kept.append)
    turn = MadeSource().turn()
    handler.saw(turn)
    said = turn.reading.calls[1]
    assert handler.take(by_screen(Acknowledge(said.key)))
    assert chain.acknowledged == [said.key] == kept


def test_what_moves_is_noted_but_not_kept() -> None:
    pipe = FakePipe()
    handler = RequestHandler(FakeChain(), None, pipe.send)
    handler.saw(MadeSource().turn())
    assert handler.take(by_screen(SeenByEye(9, "boat")))
    assert isinstance(pipe.sent[-1], Answer) and pipe.sent[-1].asker == 3 and "not kept" in pipe.sent[-1].line
    assert handler.take(by_screen(KeepInMind(12345, "")))
    assert "no longer there" in pipe.sent[-1].line


def test_what_the_eye_saw_goes_into_the_run_with_what_the_reading_had_there() -> None:
    kept: list[Any] = []
    turn = MadeSource().turn()
    echo = next(e for e in turn.reading.echoes if e.id == 9)
    handler = RequestHandler(FakeChain(), None, FakePipe().send, kept.append)
    handler.saw(turn)
    assert handler.take(by_screen(SeenByEye(9, "boat")))
    assert handler.take(by_screen(ToldByDay(9, "a vessel or boat")))
    assert handler.take(by_screen(SeenByEye(12345, "boat"))), "an echo that is gone is answered, not kept"
    assert [one["what"] for one in kept] == ["boat", "a vessel or boat"]
    assert {name: kept[0][name] for name in ("echo", "lat", "lon", "is", "charted")} == {
        "echo": 9, "lat": echo.lat, "lon": echo.lon, "is": echo.kind, "charted": False,
    }  # fmt: skip


def test_no_reading_without_a_scan_is_told_while_kernels_are_compiled() -> None:
    turn = MadeSource().turn()
    blind = replace(turn, scan=None)

    class Warm(FakeChain):
        def feed_radar(self, data: bytes, received_ns: int, *, is_datagram: bool) -> list[Turn]:
            return [turn if data == b"whole" else blind]

    pipe = FakePipe()
    compiling = iter([True, True, False])
    with pytest.raises(Done):
        PacedPlayer(pipe, 16.0, "the story", lambda: next(compiling)).play(  # type: ignore[arg-type]
            slices(b"", b"", b""), Warm(), RequestHandler(Warm(), None, pipe.send)
        )
    assert sum(isinstance(event, Turn) for event in pipe.sent) == 1


class Trying(FakeChain):
    """A chain that says what was tried; each trial waits for leave where ``goes_on`` is not set."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[tuple[Any, ...]] = []
        self.goes_on = threading.Event()
        self.goes_on.set()

    def try_manoeuvre(self, *of: Any) -> str:
        self.asked.append(of)
        assert self.goes_on.wait(60.0)
        return f"No trial: {of[0]}"


def until(is_so: Callable[[], bool]) -> None:
    """Wait for another thread."""
    for _ in range(6000):
        if is_so():
            return
        threading.Event().wait(0.01)
    raise AssertionError("it has not come to that")


def test_a_trial_is_told_at_once_and_with_each_turn_until_it_is_put_down() -> None:
    chain, pipe = Trying(), FakePipe()
    handler = RequestHandler(chain, None, pipe.send)  # type: ignore[arg-type]
    turn = MadeSource().turn()
    handler.saw(turn)
    assert pipe.sent == []
    handler.take(by_screen(TryManoeuvre(90.0, None, 10.0)))
    until(lambda: len(pipe.sent) == 1)
    assert isinstance(pipe.sent[-1], TrialNow) and "No trial: 1.57" in pipe.sent[-1].body["say"]
    later = replace(turn, reading=replace(turn.reading, time_ns=turn.reading.time_ns + 4_000_000_000))
    handler.saw(later)
    until(lambda: len(pipe.sent) == 2)
    # The delay runs down with the turns.
    assert chain.asked == [(pytest.approx(1.5707963), None, 10.0), (pytest.approx(1.5707963), None, 6.0)]
    handler.take(by_screen(EndTrial()))
    assert pipe.sent[-1] == TrialNow(3, None)
    handler.saw(later)
    handler.take(by_screen(TryManoeuvre(180.0, None, 0.0), 4))
    until(lambda: pipe.sent[-1].asker == 4)
    assert len(pipe.sent) == 4  # nothing more of the one that was put down


def test_every_screen_has_a_trial_of_its_own_and_the_watch_is_not_flooded() -> None:
    chain, pipe = Trying(), FakePipe()
    handler = RequestHandler(chain, None, pipe.send)  # type: ignore[arg-type]
    turn = MadeSource().turn()
    handler.saw(turn)
    for screen in range(1, MOST_TRIALS + 2):
        for course in (10.0, 20.0):
            handler.take(by_screen(TryManoeuvre(course, None, 0.0), screen))
    # One each, its last; the one that tried longest ago has made room.
    newest = f"No trial: {radians(20.0)}"
    until(lambda: {e.asker for e in pipe.sent if e.body == {"say": newest}} >= set(range(2, MOST_TRIALS + 2)))
    assert TrialNow(1, None) in pipe.sent


def test_hundreds_of_trials_a_second_hold_up_nobody_and_the_newest_is_answered() -> None:
    chain, pipe = Trying(), FakePipe()
    handler = RequestHandler(chain, None, pipe.send)  # type: ignore[arg-type]
    handler.saw(MadeSource().turn())
    chain.goes_on.clear()
    for k in range(300):
        handler.take(by_screen(TryManoeuvre(float(k), None, 0.0)))  # comes back though not one is worked out
    handler.saw(MadeSource().turn())
    chain.goes_on.set()
    until(lambda: bool(pipe.sent))
    assert pipe.sent[-1] == TrialNow(3, {"say": f"No trial: {radians(299.0)}"})
    assert len(chain.asked) <= 3  # the one in hand, the newest, and once more with the turn


def test_a_trial_that_fails_costs_itself_alone() -> None:
    class Failing(Trying):
        def try_manoeuvre(self, *of: Any) -> str:
            if len(self.asked) == 0:
                self.asked.append(of)
                raise ZeroDivisionError
            return super().try_manoeuvre(*of)

    pipe = FakePipe()
    handler = RequestHandler(Failing(), None, pipe.send)  # type: ignore[arg-type]
    handler.saw(MadeSource().turn())
    handler.take(by_screen(TryManoeuvre(1.0, None, 0.0)))
    until(lambda: len(pipe.sent) == 1)
    handler.take(by_screen(TryManoeuvre(2.0, None, 0.0)))
    until(lambda: len(pipe.sent) == 2)
    assert [event.body["say"] for event in pipe.sent] == [
        "No trial: it could not be worked out.", f"No trial: {radians(2.0)}"
    ]  # fmt: skip


def test_the_turns_still_ahead_reach_the_chain() -> None:
    chain = FakeChain()
    handler = RequestHandler(chain, None, lambda _: None)
    route = [[10.0, -30.0, "a"], [10.1, -30.0, "b"], [10.1, -29.9, "c"]]
    handler.follow({"route": route, "legs": [], "now": {"leg": 2}})
    assert chain.given.way == ((10.1, -29.9),)
    handler.follow({"route": route, "legs": [], "now": {"leg": 1}})
    assert chain.given.way == ((10.1, -30.0), (10.1, -29.9))
    # Off the route, or none followed: the present course is held.
    handler.follow({"route": route, "legs": [], "now": None})
    assert chain.given.way == ()


def test_the_sight_switch_reaches_the_chain() -> None:
    chain = FakeChain()
    assert RequestHandler(chain, None, lambda _: None).take(by_screen(SetSight("radar only")))
    assert chain.given.sight == "radar only"


def test_radar_blocks_of_a_slice_are_taken_in_together_and_a_cut_one_alone() -> None:
    """Blocks of category 240 begin with their category and their length, two octets (ASTERIX part 1)."""

    def fed(ms: int, data: bytes, kind: Literal["radar", "nmea"] = "radar") -> Fed:
        return Fed(START_NS + ms * 1_000_000, kind, data, "0", kind == "radar", 0.0)

    whole, cut = b"\xf0\x00\x06abc", b"\xf0\x00\x09ab"

    class Played:
        def feeds(self) -> Iterator[Fed]:
            yield from (fed(0, whole), fed(1, whole), fed(2, b"$GPHDT", "nmea"), fed(3, whole), fed(4, cut))
            yield from (fed(5, whole), fed(6, whole), fed(90, whole))

    got = [[piece.data for piece in pieces] for _, pieces in _replay_slices(Played())]  # type: ignore[arg-type]
    assert got[0] == [2 * whole, b"$GPHDT", whole, cut, 2 * whole]
    assert [data for pieces in got[1:] for data in pieces] == [whole]
