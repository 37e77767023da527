"""One client's side, stepped without a network: order, acks, a slow client, a refused frame."""

from __future__ import annotations

import asyncio
from typing import Any

from helm_made import MadeSource

from moonless.helm.hub import Hub
from moonless.helm.process.events import Answer, ChartReady, Notice, Reply, SourceState, TrialNow
from moonless.helm.process.requests import EndTrial, Pause, RouteRequest, TryManoeuvre
from moonless.helm.web import protocol as p
from moonless.helm.web.session import UNDER_WAY, Session
from moonless.reading.types import Fault


class FakeSocket:
    """Holds what was sent; lets a test say what comes in, and can stall like a tablet asleep."""

    def __init__(self) -> None:
        self.sent: list[bytes] = []
        self.incoming: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self.may_send = asyncio.Event()
        self.may_send.set()
        self.closed_with: int | None = None

    async def send_bytes(self, data: bytes) -> None:
        await self.may_send.wait()
        self.sent.append(data)

    async def receive(self) -> dict[str, Any]:
        return await self.incoming.get()

    async def close(self, code: int, reason: str) -> None:
        self.closed_with = code

    def say(self, frame: bytes) -> None:
        self.incoming.put_nowait({"type": "websocket.receive", "bytes": frame})

    def kinds(self) -> list[int]:
        return [p.decode_head(frame)[0] for frame in self.sent]

    def bodies(self, kind: int) -> list[dict[str, Any]]:
        return [p.decode_json(frame) for frame in self.sent if p.decode_head(frame)[0] == kind]


async def settle() -> None:
    for _ in range(30):
        await asyncio.sleep(0)


async def begin(hub: Hub) -> tuple[FakeSocket, asyncio.Task[None]]:
    socket = FakeSocket()
    task = asyncio.create_task(Session().run(socket, hub))  # type: ignore[arg-type]
    await settle()
    return socket, task


async def end(socket: FakeSocket, task: asyncio.Task[None]) -> None:
    socket.may_send.set()
    socket.incoming.put_nowait({"type": "websocket.disconnect"})
    await task


def test_a_new_screen_gets_the_present_hello_first() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        hub.take(ChartReady("k", b"{}"))
        hub.take(source.pose())
        hub.take(source.batch(0))
        hub.take(source.turn())
        socket, task = await begin(hub)
        assert socket.kinds()[0] == p.HELLO
        assert {p.CHART, p.STATUS, p.POSE, p.READING, p.SPOKES} <= set(socket.kinds())
        assert socket.bodies(p.CHART)[-1]["url"] == "chart/k.json"
        await end(socket, task)
        assert len(hub.screens) == 0

    asyncio.run(go())


def test_a_client_that_does_not_acknowledge_gets_no_queue_of_the_past() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        socket, task = await begin(hub)
        for part in range(30):
            hub.take(source.batch(part))
            hub.take(source.turn())
            await settle()
        pictures = [k for k in socket.kinds() if k in (p.SPOKES, p.READING)]
        # One reading and one picture may go in the same breath, so one more than is allowed under way.
        assert len(pictures) <= UNDER_WAY + 1
        before = len(socket.sent)
        socket.say(p.encode_ack(10_000))
        await settle()
        fresh = socket.sent[before:]
        reading = [p.decode_json(f) for f in fresh if p.decode_head(f)[0] == p.READING]
        assert [body["turn"] for body in reading] == [30], "only the newest reading is worth having"
        spokes = [p.decode_spokes(f) for f in fresh if p.decode_head(f)[0] == p.SPOKES]
        assert len(spokes) == 1 and len(set(spokes[0].row.tolist())) == len(spokes[0].row)
        await end(socket, task)

    asyncio.run(go())


def test_a_stalled_client_harms_no_other() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        asleep, task_a = await begin(hub)
        awake, task_b = await begin(hub)
        asleep.may_send.clear()
        for part in range(20):
            hub.take(source.batch(part))
            await settle()
            awake.say(p.encode_ack(10_000))
            await settle()
        assert awake.kinds().count(p.SPOKES) == 20
        assert asleep.kinds().count(p.SPOKES) <= 1
        await end(asleep, task_a)
        await end(awake, task_b)

    asyncio.run(go())


def test_a_withdrawn_reading_goes_out_as_withdrawn() -> None:
    async def go() -> None:
        source = MadeSource()
        source.faults = (Fault("position", "silent", 0),)
        hub = Hub(source)
        socket, task = await begin(hub)
        hub.take(source.turn())
        await settle()
        body = socket.bodies(p.READING)[-1]
        assert body["echoes"] == [] and body["hidden"] is None and body["own"]["lat"] is None
        assert body["faults"][0]["what"] == "position"
        await end(socket, task)

    asyncio.run(go())


def test_starting_again_voids_what_was_shown() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        hub.take(source.batch(0))
        hub.take(source.turn())
        socket, task = await begin(hub)
        hub.take(SourceState(False, 1.0, 0, restarted=True))
        await settle()
        assert hub.picture.reading is None
        assert socket.bodies(p.STATUS)[-1]["reading_age_s"] is None
        await end(socket, task)

    asyncio.run(go())


def test_a_source_that_fails_is_said_not_hidden() -> None:
    class Broken(MadeSource):
        async def events(self) -> Any:
            yield Notice("radar warming", 0.5)
            raise ValueError("the cable came out")

    async def go() -> None:
        hub = Hub(Broken())
        await hub.pump()
        assert "the cable came out" in hub.status_body()["ended"]

    asyncio.run(go())


def test_requests_reach_the_source_and_bad_ones_are_answered() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        socket, task = await begin(hub)
        socket.say(p.encode_json(p.CONTROL, 1, {"do": "pause"}))
        socket.say(p.encode_json(p.CONTROL, 2, {"do": "scuttle"}))
        socket.say(b"nonsense")
        await settle()
        assert [asked.request for asked in source.asked] == [Pause(True)]
        answers = [body["answer"] for body in socket.bodies(p.STATUS) if "answer" in body]
        assert answers and "begins with" in answers[-1]
        socket.incoming.put_nowait({"type": "websocket.receive", "text": "{}"})
        await task
        assert socket.closed_with == 1003
        assert len(hub.screens) == 0

    asyncio.run(go())


def test_silence_lets_what_is_urgent_through_to_the_loudspeaker() -> None:
    class Heard:
        is_on = True

        def __init__(self) -> None:
            self.said: list[str] = []

        def say(self, sentence: str, urgency: int, key: str | None = None) -> None:
            self.said.append(sentence)

        def hush(self, above: int) -> None:
            assert above == 4

    async def go() -> None:
        heard = Heard()
        hub = Hub(MadeSource(), heard)  # type: ignore[arg-type]
        socket, task = await begin(hub)
        socket.say(p.encode_json(p.CONTROL, 1, {"do": "silence", "value": 5}))
        await settle()
        hub.announcer.announce({"number": 1, "urgency": 3, "say": "mild", "key": "a", "echo": None})
        hub.announcer.announce({"number": 2, "urgency": 4, "say": "collision", "key": "b", "echo": None})
        assert heard.said == ["collision"]
        await settle()
        # The screens get both: each decides for its own voice.
        assert [c["say"] for c in socket.bodies(p.CALL)] == ["collision", "mild"]
        await end(socket, task)

    asyncio.run(go())


ASKED = {"course_deg": 140.0, "speed_kn": None, "delay_s": 60.0}
CLEARS = {"say": "clears everything", "clears": True}


def test_an_answer_goes_to_the_screen_that_asked_and_to_no_other() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        first, first_task = await begin(hub)
        second, second_task = await begin(hub)
        # Both screens count their questions from the same number: it is the helm that must tell them apart.
        for screen, what in ((first, "list"), (second, "stop")):
            screen.say(p.encode_json(p.CONTROL, 1, {"do": "route", "value": {"what": what, "token": 7}}))
            await settle()
        (one, of_first), (two, of_second) = source.asked
        assert (of_first, of_second) == (RouteRequest("list", 7), RouteRequest("stop", 7)) and one != two
        hub.take(Reply(one, {"about": "list", "token": 7}))
        hub.take(Reply(two, {"about": "stop", "token": 7}))
        hub.take(Answer(two, "kept in mind: a pile"))
        await settle()
        assert [body["about"] for body in first.bodies(p.REPLY)] == ["list"]
        assert [body["about"] for body in second.bodies(p.REPLY)] == ["stop"]
        answers = [[b["answer"] for b in screen.bodies(p.STATUS) if "answer" in b] for screen in (first, second)]
        assert answers == [[], ["kept in mind: a pile"]]
        await end(first, first_task)
        # Too late for a screen that has gone: nobody else gets it.
        hub.take(Reply(one, {"about": "list", "token": 8}))
        await settle()
        assert len(second.bodies(p.REPLY)) == 1
        await end(second, second_task)

    asyncio.run(go())


def test_each_screen_has_its_own_trial_and_sees_anothers_only_while_it_has_none() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        first, first_task = await begin(hub)
        second, second_task = await begin(hub)
        first.say(p.encode_json(p.CONTROL, 1, {"do": "trial", "value": ASKED}))
        await settle()
        one, request = source.asked[-1]
        assert request == TryManoeuvre(140.0, None, 60.0)
        hub.take(TrialNow(one, CLEARS))
        await settle()
        assert first.bodies(p.TRIAL) == [CLEARS | {"is_own": True}]
        assert second.bodies(p.TRIAL) == [CLEARS | {"is_own": False}]
        # The other screen tries something too: from now on what it is shown is the answer to its own trial.
        second.say(p.encode_json(p.CONTROL, 1, {"do": "trial", "value": ASKED | {"course_deg": 20.0}}))
        await settle()
        two = source.asked[-1].asker
        runs_into = {"say": "runs into the shore", "clears": False}
        hub.take(TrialNow(two, runs_into))
        hub.take(TrialNow(one, CLEARS | {"say": "clears it still"}))
        await settle()
        assert first.bodies(p.TRIAL)[-1] == {"say": "clears it still", "clears": True, "is_own": True}
        assert second.bodies(p.TRIAL)[-1] == runs_into | {"is_own": True}
        # What cannot be tried is told to who tried it.
        hub.take(TrialNow(two, {"say": "No trial: own course or speed is not known."}))
        await settle()
        assert first.bodies(p.TRIAL)[-1]["say"] == "clears it still"
        assert second.bodies(p.TRIAL)[-1] == {
            "say": "No trial: own course or speed is not known.", "is_own": True,
        }  # fmt: skip
        await end(first, first_task)
        await end(second, second_task)

    asyncio.run(go())


def test_a_trial_ends_with_its_screen_and_a_new_one_can_follow_at_once() -> None:
    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        first, first_task = await begin(hub)
        second, second_task = await begin(hub)
        for value in (ASKED, None, ASKED):
            first.say(p.encode_json(p.CONTROL, 1, {"do": "trial", "value": value}))
        await settle()
        one = source.asked[-1].asker
        # The end of the first trial comes back from the watch after the second was begun.
        hub.take(TrialNow(one, None))
        hub.take(TrialNow(one, CLEARS))
        await settle()
        assert first.bodies(p.TRIAL)[-1]["is_own"] and not second.bodies(p.TRIAL)[-1]["is_own"]
        await end(first, first_task)
        await settle()
        assert source.asked[-1] == (one, EndTrial()) and second.bodies(p.TRIAL)[-1] == {}
        # The watch worked it out once more before it heard.
        hub.take(TrialNow(one, CLEARS))
        await settle()
        assert second.bodies(p.TRIAL)[-1] == {}
        await end(second, second_task)

    asyncio.run(go())


def test_a_trial_that_its_screen_no_longer_touches_ends(monkeypatch: Any) -> None:
    from moonless.helm import trials

    async def go() -> None:
        source = MadeSource()
        hub = Hub(source)
        first, first_task = await begin(hub)
        first.say(p.encode_json(p.CONTROL, 1, {"do": "trial", "value": ASKED}))
        await settle()
        one = source.asked[-1].asker
        hub.take(TrialNow(one, CLEARS))
        hub.end_old_trials()
        await settle()
        assert first.bodies(p.TRIAL)[-1]["is_own"], "a pause is not the end"
        monkeypatch.setattr(trials, "TRIAL_S", 0.0)
        hub.end_old_trials()
        await settle()
        assert first.bodies(p.TRIAL)[-1] == {} and source.asked[-1] == (one, EndTrial())
        await end(first, first_task)

    asyncio.run(go())


def test_one_sessions_error_ends_that_session_alone() -> None:
    """A frame that breaks the helm, and a screen that cannot be written to: the other screen is fed on."""
    async def go() -> None:
        hub = Hub(MadeSource())
        first, one = await begin(hub)
        second, two = await begin(hub)
        ask, hub.ask = hub.ask, lambda request, asker=0: 1 / 0  # type: ignore[assignment, method-assign, return-value]
        first.say(p.encode_json(p.CONTROL, 1, {"do": "say again"}))
        await settle()
        assert one.done() and first.closed_with == 1011 and not two.done()
        hub.ask = ask  # type: ignore[method-assign]
        n_before = len(second.sent)
        hub.heartbeat()
        await settle()
        assert len(second.sent) > n_before
        await end(second, two)

    asyncio.run(go())


def test_half_a_character_is_refused_and_ends_nothing() -> None:
    async def go() -> None:
        hub = Hub(MadeSource())
        socket, task = await begin(hub)
        frame = p.encode_json(p.CONTROL, 1, {"do": "keep in mind", "echo": 1, "value": "HALF"})
        socket.say(frame.replace(b"HALF", b"\\ud83d"))
        await settle()
        assert "surrogates not allowed" in socket.bodies(p.STATUS)[-1]["answer"] and not task.done()
        # A whole pair is one character, and text.
        assert p.decode_json(frame.replace(b"HALF", b"\\ud83d\\ude00"))["value"] == "\U0001f600"
        await end(socket, task)

    asyncio.run(go())


def test_a_name_that_cannot_be_written_does_not_end_a_feed() -> None:
    async def go() -> None:
        hub = Hub(MadeSource())
        socket, task = await begin(hub)
        hub.take(Notice("seen: \ud83d"))
        await settle()
        assert socket.bodies(p.STATUS)[-1]["notice"] == "seen: ?" and not task.done()
        await end(socket, task)

    asyncio.run(go())


def test_an_event_that_cannot_be_shown_does_not_end_the_source() -> None:
    async def go() -> None:
        class Odd(MadeSource):
            async def events(self) -> Any:
                yield "no event at all"
                yield Notice("after it")

        hub = Hub(Odd())
        await hub.pump()
        assert any("could not show" in link["text"] for link in hub.status_body()["links"])

    asyncio.run(go())


def test_a_last_reading_with_none_after_it_is_taken_back(monkeypatch: Any) -> None:
    async def go() -> None:
        now = [100.0]
        monkeypatch.setattr("moonless.helm.shown.steady_s", lambda: now[0])
        source = MadeSource()
        hub = Hub(source)
        socket, task = await begin(hub)
        hub.take(source.turn())
        await settle()
        assert socket.bodies(p.READING)[-1]["faults"] == []
        now[0] += 2.9
        hub.withdraw_if_old()
        await settle()
        assert len(socket.bodies(p.READING)) == 1
        now[0] += 0.2
        hub.withdraw_if_old()
        await settle()
        body = socket.bodies(p.READING)[-1]
        assert [(f["what"], f["state"]) for f in body["faults"]] == [("radar", "late")]
        assert body["echoes"] == [] and body["speed"]["advised_kn"] is None and body["own"]["lat"] is None
        assert "withdrawn" in socket.bodies(p.CALL)[-1]["say"]
        await end(socket, task)

    asyncio.run(go())
