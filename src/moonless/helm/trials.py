"""Manoeuvres that screens try: each screen has its own, and sees another's only while it has none."""

from __future__ import annotations

from moonless.clock import steady_s
from moonless.helm.bodies.sheet import TrialBody, TrialFound
from moonless.helm.process.requests import Asker

# A trial that its screen has not touched for so long is over; a screen puts its own down sooner.
TRIAL_S = 90.0


class Trials:
    """What each screen's trial would bring, by the number of the screen."""

    def __init__(self) -> None:
        self._asked_s: dict[Asker, float] = {}
        self._bodies: dict[Asker, TrialFound] = {}  # in the order they came in

    def touch(self, asker: Asker) -> None:
        """A screen tries something."""
        self._asked_s[asker] = steady_s()

    def add(self, asker: Asker, body: TrialFound | None) -> None:
        """Take in what a trial brings; None: nothing, it was put down or could not be taken up."""
        self._bodies.pop(asker, None)
        if body is not None:
            self._bodies[asker] = body

    def end(self, asker: Asker) -> None:
        """A screen tries nothing more; what still comes of its trial is not shown."""
        self._asked_s.pop(asker, None)
        self._bodies.pop(asker, None)

    def of(self, screen: Asker) -> TrialBody | None:
        """Return what a screen is shown: its own trial, else the newest of another's that could be tried, else None.

        ``is_own`` tells the two apart: what comes of another's trial is no answer to this screen's.
        """
        own = self._bodies.get(screen)
        if own is not None:
            return {**own, "is_own": True}
        for body in reversed(self._bodies.values()):
            if "clears" in body:
                return {**body, "is_own": False}
        return None

    def old(self) -> list[Asker]:
        """Return whose trials are over, because their screens have not touched them for `TRIAL_S`."""
        now = steady_s()
        return [asker for asker, asked_s in self._asked_s.items() if now - asked_s > TRIAL_S]

    def clear(self) -> None:
        """Forget all: the story began again."""
        self._asked_s.clear()
        self._bodies.clear()

    def __contains__(self, asker: Asker) -> bool:
        """Whether a screen tries something."""
        return asker in self._asked_s

