"""The server's own loudspeaker: espeak-ng where it is installed, one sentence at a time, urgent ones first."""

from __future__ import annotations

import asyncio
import contextlib
import shutil

from moonless.helm.slots import CallQueue

# Words a minute by urgency: calm in passing, quick when shouted, never too fast to follow over an engine.
_RATE = {1: 150, 2: 155, 3: 165, 4: 175}


class Loudspeaker:
    """Rules: off until asked; never more than one sentence at a time; a more urgent call cuts a milder one off."""

    def __init__(self, program: str) -> None:
        self.is_on = False
        self._program = program
        self._waiting = CallQueue(limit=4)
        self._fresh = asyncio.Event()
        self._speaking: asyncio.subprocess.Process | None = None
        self._urgency = 0

    @classmethod
    def find(cls) -> Loudspeaker | None:
        """Return the loudspeaker; None where no voice is installed."""
        program = shutil.which("espeak-ng")
        return None if program is None else cls(program)

    def say(self, sentence: str, urgency: int) -> None:
        """Queue a sentence.  Never blocks."""
        if not self.is_on:
            return
        self._waiting.put({"say": sentence, "urgency": urgency})
        if self._speaking is not None and urgency > self._urgency:
            with contextlib.suppress(ProcessLookupError):
                self._speaking.terminate()
        self._fresh.set()

    async def run(self) -> None:
        """Speak until cancelled."""
        while True:
            await self._fresh.wait()
            self._fresh.clear()
            while (call := self._waiting.take()) is not None:
                self._urgency = call["urgency"]
                rate = str(_RATE.get(call["urgency"], 160))
                self._speaking = await asyncio.create_subprocess_exec(
                    self._program, "-s", rate, "--", call["say"],
                    stdin=asyncio.subprocess.DEVNULL,
                    stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL,
                )  # fmt: skip
                try:
                    await self._speaking.wait()
                finally:
                    if self._speaking.returncode is None:
                        self._speaking.terminate()
                    self._speaking = None
