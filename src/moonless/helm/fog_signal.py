"""The reminder to sound the fog signal: Rule 35's interval counted, and its words told in time.

The boat's own horn is the skipper's to sound; the helm only says when.
"""

from __future__ import annotations

from moonless.rules.sounds import FogSignal, fog_signal

# Said this much before the rule's longest interval has passed, so that it is sounded inside it.
EARLY_S = 10.0
# Slower than this a power-driven vessel under way is taken as not making way.  Common practice, no source.
MAKING_WAY_KN = 0.5


class FogReminder:
    """Counts from one signal to the next while it is on."""

    def __init__(self, length_m: float) -> None:
        self._length_m = length_m
        self._due_s: float | None = None

    @property
    def is_on(self) -> bool:
        """Whether the skipper asked for it."""
        return self._due_s is not None

    def switch(self, on: bool, now_s: float) -> None:
        """Begin, with a signal due at once, or end."""
        self._due_s = now_s if on else None

    def signal(self, sog_kn: float | None) -> FogSignal:
        """Return the signal for a speed; one that is not known counts as making way."""
        return fog_signal("power", self._length_m, sog_kn is None or sog_kn >= MAKING_WAY_KN)

    def due(self, now_s: float, sog_kn: float | None) -> str | None:
        """Return the words when it is time, once each interval; None otherwise."""
        if self._due_s is None or now_s < self._due_s:
            return None
        signal = self.signal(sog_kn)
        self._due_s = now_s + signal.every_s - EARLY_S
        return f"Fog signal now: {signal.say}. Rule {signal.rule}."

    def wait_s(self, now_s: float) -> float | None:
        """Return the seconds to the next; None while it is off."""
        return None if self._due_s is None else max(self._due_s - now_s, 0.0)
