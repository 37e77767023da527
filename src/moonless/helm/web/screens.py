"""The screens that are there, each with a number of its own: answers go by it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from moonless.helm.process.requests import Asker
from moonless.helm.web.session import Session


class Screens:
    """Sessions by number.  A number is never given twice: an answer that comes late finds nobody."""

    def __init__(self) -> None:
        self._sessions: dict[Asker, Session] = {}
        self._numbers = itertools.count(1)

    def join(self, session: Session) -> None:
        """Give a session its number."""
        session.number = next(self._numbers)
        self._sessions[session.number] = session

    def leave(self, session: Session) -> None:
        """Forget a session."""
        self._sessions.pop(session.number, None)

    def one(self, number: Asker) -> Session | None:
        """Return the screen that asked; None where it has gone."""
        return self._sessions.get(number)

    def wake(self) -> None:
        """Something is new for all."""
        for session in self:
            session.wake()

    def __iter__(self) -> Iterator[Session]:
        return iter(list(self._sessions.values()))

    def __len__(self) -> int:
        return len(self._sessions)
