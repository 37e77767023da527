"""The server's own loudspeaker: espeak-ng where it is installed, one sentence at a time, urgent ones first."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import shutil
from dataclasses import dataclass

from moonless.clock import steady_s
from moonless.reading.alerts.orders import gives_order

_log = logging.getLogger(__name__)
# Words a minute and loudness (0..200) by urgency: calm in passing, quick and loud when shouted, never too fast to
# follow over an engine.  No source: chosen by the spoken length of the calls, no ear has judged them.
_RATE = {1: 150, 2: 155, 3: 165, 4: 175}
_LOUD = {1: 100, 2: 110, 3: 140, 4: 180}
MOST_WAITING = 4
# A sentence with a distance in it is no longer true after this long in the queue.
STALE_S = 12.0
# No sentence takes longer; a sound device that never returns must not silence the watch.
LONGEST_S = 30.0


@dataclass(frozen=True, slots=True)
class Spoken:
    """One sentence to say."""

    say: str
    urgency: int
    key: str | None
    since_s: float
    number: int


def arguments(call: Spoken) -> list[str]:
    """Return the voice's arguments for a sentence."""
    rate, loud = _RATE.get(call.urgency, 160), _LOUD.get(call.urgency, 120)
    return ["-v", "en", "-s", str(rate), "-a", str(loud), "--", call.say]


class Loudspeaker:
    """Rules: off until asked; never more than one sentence at a time; the more urgent first, then the newer; a more
    urgent call cuts a milder one off, which is said after it if it is still fresh.  An order takes the place of every
    older one, the one that is being spoken too: nobody hears "turn" after "stop"."""

    def __init__(self, program: str) -> None:
        self.problem: str | None = None
        self._is_on = False
        self._program = program
        self._waiting: list[Spoken] = []
        self._fresh = asyncio.Event()
        self._process: asyncio.subprocess.Process | None = None
        self._now: Spoken | None = None
        self._number = 0

    @classmethod
    def find(cls) -> Loudspeaker | None:
        """Return the loudspeaker; None where no voice is installed."""
        program = shutil.which("espeak-ng")
        return None if program is None else cls(program)

    @property
    def is_on(self) -> bool:
        """True while it may speak."""
        return self._is_on

    @is_on.setter
    def is_on(self, on: bool) -> None:
        self._is_on = on
        if not on:
            self.hush(above=5)

    def say(self, sentence: str, urgency: int, key: str | None = None) -> None:
        """Queue a sentence; a newer one that bears the same key takes the older one's place.  Never blocks."""
        if not self._is_on:
            return
        self._number += 1
        call = Spoken(sentence, urgency, key, steady_s(), self._number)
        is_order = gives_order(sentence)
        self._waiting = [
            w for w in self._waiting
            if (key is None or w.key != key or w.urgency > urgency) and not (is_order and gives_order(w.say))
        ]  # fmt: skip
        self._put(call)
        now = self._now
        is_overtaken = now is not None and is_order and gives_order(now.say)
        if now is not None and (urgency > now.urgency or is_overtaken):
            if (key is None or now.key != key) and not is_overtaken:
                self._put(now)
            self._cut()
        self._fresh.set()

    def hush(self, above: int) -> None:
        """Drop and cut off everything milder than an urgency."""
        self._waiting = [w for w in self._waiting if w.urgency >= above]
        if self._now is not None and self._now.urgency < above:
            self._cut()

    async def run(self) -> None:
        """Speak until cancelled."""
        while True:
            await self._fresh.wait()
            self._fresh.clear()
            while self._waiting:
                call = self._waiting.pop(0)
                if steady_s() - call.since_s <= STALE_S:
                    await self._speak(call)

    async def _speak(self, call: Spoken) -> None:
        try:
            self._process = await asyncio.create_subprocess_exec(
                self._program, *arguments(call),
                stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL,
            )  # fmt: skip
        except OSError as problem:
            # Said on the screens by the loudspeaker being off; the calls go on there.
            self.problem = f"the loudspeaker failed: {problem.strerror or problem}"
            _log.warning("%s", self.problem)
            self.is_on = False
            return
        self._now = call
        try:
            async with asyncio.timeout(LONGEST_S):
                await self._process.wait()
        except TimeoutError:
            _log.warning("the voice did not end its sentence")
        finally:
            self._now = None
            if self._process.returncode is None:
                self._process.kill()
                await self._process.wait()
            self._process = None

    def _put(self, call: Spoken) -> None:
        self._waiting.append(call)
        self._waiting.sort(key=lambda w: (-w.urgency, -w.number))
        del self._waiting[MOST_WAITING:]

    def _cut(self) -> None:
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                self._process.terminate()
