"""The server's loudspeaker: what is said, in which order, what cuts what off; with a stand-in for the voice, and, where
espeak-ng is installed, with the sound it renders (measured; no ear has judged it)."""

from __future__ import annotations

import asyncio
import io
import shutil
import subprocess
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from moonless.helm import voice
from moonless.helm.hub import Hub
from moonless.helm.voice import Loudspeaker, Spoken, arguments
from moonless.helm.web.controls import read_control

# Writes what it was asked to say, "speaks" as long as the last word says, writes that it came to its end.
STAND_IN = """#!/bin/sh
for last; do :; done
rate=0; loud=0
while [ "$1" != "--" ]; do
  case "$1" in -s) rate=$2;; -a) loud=$2;; esac
  shift
done
echo "begin|$rate|$loud|$last" >> "{log}"
sleep "${{last##* }}" &
wait $!
echo "end|$last" >> "{log}"
"""


class Heard:
    def __init__(self, folder: Path) -> None:
        self.log = folder / "said"
        self.log.touch()
        self.program = folder / "voice"
        self.program.write_text(STAND_IN.format(log=self.log), encoding="utf-8")
        self.program.chmod(0o755)

    def lines(self) -> list[str]:
        return self.log.read_text(encoding="utf-8").split("\n")[:-1]

    def begun(self) -> list[str]:
        return [line.split("|")[3] for line in self.lines() if line.startswith("begin")]

    def ended(self) -> list[str]:
        return [line.split("|")[1] for line in self.lines() if line.startswith("end")]

    async def until(self, count: int, ended: bool = False) -> None:
        for _ in range(6000):
            if len(self.ended() if ended else self.begun()) >= count:
                return
            await asyncio.sleep(0.01)
        raise AssertionError(f"heard only {self.lines()}")


@pytest.fixture
def heard(tmp_path: Path) -> Heard:
    return Heard(tmp_path)


def run(speaker: Loudspeaker, script: Any) -> None:
    async def play() -> None:
        task = asyncio.create_task(speaker.run())
        try:
            await script()
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    asyncio.run(play())


def test_it_is_off_until_asked(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))

    async def script() -> None:
        speaker.say("not wanted 0", 4)
        speaker.is_on = True
        speaker.say("wanted 0", 1)
        await heard.until(1)

    run(speaker, script)
    assert heard.begun() == ["wanted 0"]


def test_one_at_a_time_the_urgent_first_then_the_newer(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("first 0.3", 3)
        await heard.until(1)
        for sentence, urgency in (("old mild 0", 1), ("older 0", 2), ("newer 0", 2), ("urgent 0", 3)):
            speaker.say(sentence, urgency)
        await heard.until(5, ended=True)

    run(speaker, script)
    assert heard.begun() == ["first 0.3", "urgent 0", "newer 0", "older 0", "old mild 0"]
    kinds = [line.split("|")[0] for line in heard.lines()]
    assert kinds == ["begin", "end"] * 5, "two were spoken at once"


def test_a_more_urgent_call_cuts_a_milder_one_off_which_is_said_after_it(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("buoy ahead 0.6", 2, key="echo 5")
        await heard.until(1)
        speaker.say("collision 0", 4, key="echo 9")
        await heard.until(3)
        assert heard.ended() == ["collision 0"]

    run(speaker, script)
    assert heard.begun() == ["buoy ahead 0.6", "collision 0", "buoy ahead 0.6"]


def test_a_newer_order_takes_the_place_of_every_older_one(heard: Heard) -> None:
    """Heard one after the other "turn" and "stop" are two orders, and the last heard is steered by."""
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("buoy ahead 0.2", 4)
        await heard.until(1)
        speaker.say("Turn port 40, to one two 0", 3, key="echo 5")
        speaker.say("Slow to 6 knots 0.5", 2, key="speed")
        await heard.until(2)
        speaker.say("Stop 0", 2, key="danger rock")
        await heard.until(2, ended=True)

    run(speaker, script)
    assert heard.begun() == ["buoy ahead 0.2", "Slow to 6 knots 0.5", "Stop 0"]
    assert heard.ended() == ["buoy ahead 0.2", "Stop 0"]


def test_what_is_milder_or_as_urgent_waits(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("one 0.2", 3)
        await heard.until(1)
        speaker.say("two 0", 3)
        speaker.say("three 0", 2)
        await heard.until(3, ended=True)

    run(speaker, script)
    assert heard.ended() == ["one 0.2", "two 0", "three 0"]


def test_a_newer_word_about_an_echo_replaces_the_older(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("first 0.2", 3)
        await heard.until(1)
        speaker.say("four cables 0", 2, key="echo 7")
        speaker.say("three cables 0", 2, key="echo 7")
        await heard.until(2, ended=True)
        await asyncio.sleep(0.1)

    run(speaker, script)
    assert heard.begun() == ["first 0.2", "three cables 0"]


def test_what_has_waited_too_long_is_not_said(heard: Heard, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [100.0]
    monkeypatch.setattr(voice, "steady_s", lambda: now[0])
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("long one 0.4", 3)
        await heard.until(1)
        speaker.say("half a mile 0", 2)
        now[0] += voice.STALE_S + 0.5  # while the long one is still being said, however slow the machine
        await heard.until(1, ended=True)
        speaker.say("now 0", 1)
        await heard.until(2)

    run(speaker, script)
    assert heard.begun() == ["long one 0.4", "now 0"]


def test_switched_off_it_stops_in_the_middle(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("very long 5", 4)
        await heard.until(1)
        speaker.say("after 0", 4)
        speaker.is_on = False
        await asyncio.sleep(0.2)

    run(speaker, script)
    assert heard.begun() == ["very long 5"] and heard.ended() == []


def test_a_voice_that_cannot_start_is_told_and_does_not_end_the_watch(tmp_path: Path) -> None:
    speaker = Loudspeaker(str(tmp_path / "not there"))
    speaker.is_on = True

    async def script() -> None:
        speaker.say("anything", 4)
        for _ in range(6000):
            if speaker.problem is not None:
                return
            await asyncio.sleep(0.01)

    run(speaker, script)
    assert speaker.problem is not None and "loudspeaker failed" in speaker.problem
    assert not speaker.is_on


class Quiet:
    """A source that does nothing."""

    kind = "test"
    boat: dict[str, Any] = {"length_m": 9.0}  # noqa: RUF012

    def do(self, asker: Any, request: Any) -> None:
        """Take nothing."""


def test_silence_lets_collisions_and_repeats_through(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True
    hub = Hub(Quiet(), speaker)  # type: ignore[arg-type]

    def tell(say: str, urgency: int, echo: int) -> None:
        hub.announcer.announce({"number": echo, "key": f"echo {echo}", "urgency": urgency, "say": say, "echo": echo})

    async def script() -> None:
        tell("before 3", 3, 1)
        await heard.until(1)
        hub.ask(read_control({"do": "silence", "value": 5}))
        tell("not now 0", 3, 2)
        await asyncio.sleep(0.1)
        tell("collision 0", 4, 3)
        await heard.until(2)
        hub.ask(read_control({"do": "say again"}))
        await heard.until(3)
        hub.ask(read_control({"do": "silence", "value": 0}))
        tell("again aloud 0", 1, 4)
        await heard.until(4)

    run(speaker, script)
    assert heard.begun() == ["before 3", "collision 0", "collision 0", "again aloud 0"]
    assert "before 3" not in heard.ended(), "silence cuts off what is being said"


def test_urgency_is_heard_in_rate_and_loudness(heard: Heard) -> None:
    speaker = Loudspeaker(str(heard.program))
    speaker.is_on = True

    async def script() -> None:
        for urgency in (1, 2, 3, 4):
            speaker.say(f"call {urgency} 0", urgency)
            await heard.until(urgency, ended=True)
            # The voice has said it, and is only then gone: a call before that would cut it off, to be said again.
            while speaker._now is not None:
                await asyncio.sleep(0.01)

    run(speaker, script)
    told = [tuple(int(v) for v in line.split("|")[1:3]) for line in heard.lines() if line.startswith("begin")]
    assert told == sorted(told) and len(set(told)) == 4


def rendered(say: str, urgency: int) -> tuple[float, float]:
    """Return (seconds, root mean square of full scale) of a sentence as espeak-ng renders it with our arguments."""
    out = subprocess.run(
        ["espeak-ng", "--stdout", *arguments(Spoken(say, urgency, None, 0.0, 1))], capture_output=True, check=True
    ).stdout
    with wave.open(io.BytesIO(out)) as sound:
        # The head of a stream bears no length: count what came.
        data = np.frombuffer(sound.readframes(len(out)), np.int16).astype(np.float64) / 32768.0
        return data.size / sound.getframerate(), float(np.sqrt(np.mean(data**2)))


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")
def test_the_voice_renders_a_call_in_the_time_it_takes_to_say() -> None:
    say = "On the port bow, two and a half cables, a vessel, making 16 knots, comes within half a cable in 40 seconds."
    words = 22
    lengths = {}
    for urgency in (1, 4):
        length_s, loudness = rendered(say, urgency)
        lengths[urgency] = length_s
        assert loudness > 0.02, "next to silent"
        # Within a third of what so many words take at the rate asked for (espeak-ng's own word is a nominal one).
        rate = {1: 150, 4: 175}[urgency]
        assert 0.67 < length_s / (words / rate * 60.0) < 1.5
    assert lengths[4] < lengths[1]
    assert rendered(say, 4)[1] > rendered(say, 1)[1]
    # A name that begins like an option is a sentence all the same.
    assert rendered("-v is a sentence", 2)[0] > 0.5
