"""Calls on their way to the screens and the loudspeaker: silence, said again, the fog signal's reminder."""

from __future__ import annotations

import math

from moonless.clock import steady_s
from moonless.errors import InputError
from moonless.helm.bodies.sheet import CallBody, VoiceBody
from moonless.helm.fog_signal import FogReminder
from moonless.helm.voice import Loudspeaker
from moonless.helm.web.reading_frame import NumberedCalls
from moonless.helm.web.screens import Screens
from moonless.reading.types import Reading

# Silence lets this urgency through.
MOST_URGENT = 4


class Announcer:
    """Rules: every screen gets every call and decides for its own voice; silence lets through what is most urgent, and
    what was just asked to be said again."""

    def __init__(self, screens: Screens, loudspeaker: Loudspeaker | None, length_m: float) -> None:
        self.loudspeaker = loudspeaker
        self._screens = screens
        self._fog = FogReminder(length_m)
        self._calls = NumberedCalls()
        self._last: CallBody | None = None
        self._silent_until_s = -math.inf

    @property
    def is_silent(self) -> bool:
        """True while the skipper wants no voice but for what is urgent."""
        return steady_s() < self._silent_until_s

    def add_turn(self, reading: Reading) -> None:
        """Hand on what a reading calls."""
        for call in self._calls.of(reading):
            self.announce(call)

    def announce_own(self, key: str, urgency: int, say: str) -> None:
        """Hand on a call of the helm's own."""
        self.announce(self._calls.own_call(key, urgency, say))

    def announce(self, call: CallBody) -> None:
        """Hand one call to every screen, and say it."""
        self._last = call
        for session in self._screens:
            session.out.calls.put(call)
        self._screens.wake()
        if self.loudspeaker is not None and (call["urgency"] >= MOST_URGENT or call.get("again") or not self.is_silent):
            self.loudspeaker.say(call["say"], call["urgency"], call["key"])

    def silence(self, minutes: float) -> None:
        """Be silent for so long; 0 ends it."""
        self._silent_until_s = steady_s() + minutes * 60.0
        if minutes > 0 and self.loudspeaker is not None:
            self.loudspeaker.hush(above=MOST_URGENT)

    def say_again(self) -> None:
        """Say the last call again."""
        if self._last is not None:
            self.announce({**self._last, "again": True})

    def use_loudspeaker(self, is_on: bool) -> str | None:
        """Turn the loudspeaker on or off; return what went wrong when it last spoke.

        Raises InputError where this computer has no voice.
        """
        if self.loudspeaker is None:
            raise InputError("this computer has no voice: espeak-ng is not installed")
        problem, self.loudspeaker.problem = self.loudspeaker.problem, None
        self.loudspeaker.is_on = is_on
        return problem

    def remind_of_fog_signal(self, is_on: bool, sog_kn: float | None) -> None:
        """Begin, with a signal due at once, or end."""
        self._fog.switch(is_on, steady_s())
        self.tick(sog_kn)

    def tick(self, sog_kn: float | None) -> None:
        """Say when the fog signal is due."""
        words = self._fog.due(steady_s(), sog_kn)
        if words is not None:
            self.announce_own("helm fog signal", 2, words)
            for session in self._screens:
                session.say(words)

    def body(self) -> VoiceBody:
        """Return the heartbeat's part."""
        now = steady_s()
        wait_s = self._fog.wait_s(now)
        return {
            "silent_s": round(max(self._silent_until_s - now, 0.0)),
            "loudspeaker": None if self.loudspeaker is None else self.loudspeaker.is_on,
            "fog_s": None if wait_s is None else round(wait_s),
        }
