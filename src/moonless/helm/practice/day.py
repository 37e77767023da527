"""Questions by day about what the watch reads now: only while a page asks for them, one at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from moonless.errors import InputError
from moonless.frames import wrap_180
from moonless.helm.practice.process import PracticeProcess
from moonless.helm.shown import ShownPicture
from moonless.practice.by_day import DayQuestion, ask_by_day
from moonless.units import m_to_nm
from moonless.watch.afterwards.by_eye import WORDS

# A reading older than this is not now.
_NOW_S = 6.0


class DayQuestions:
    """Rules: nothing is asked on a reading that is not new; what the eye saw goes into the same record."""

    def __init__(
        self, picture: ShownPicture, process: PracticeProcess, told: Callable[[int, str], None] = lambda echo, eye: None
    ) -> None:
        """``told`` is given the echo that was asked about and what the eye saw there."""
        self._told = told
        self._picture = picture
        self._process = process
        self._now: DayQuestion | None = None
        self._last_ns: int | None = None
        self._asked: frozenset[int] = frozenset()

    async def do(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Ask, or take what was read and what the eye saw.

        Raises InputError in one plain line.
        """
        if asked.get("do") == "ask":
            return self._ask()
        if asked.get("do") != "told":
            raise InputError("by day it is ask or told")
        if self._now is None:
            raise InputError("nothing was asked")
        found = await self._process.ask({"do": "eye", "read": asked.get("read"), "eye": asked.get("eye")})
        if found["points"] is not None:
            self._told(self._now.echo, str(asked.get("eye")))
        self._now = None
        return found

    def _ask(self) -> dict[str, Any]:
        age = self._picture.ages()["reading_age_s"]
        reading = self._picture.newest if age is not None and age <= _NOW_S else None
        # What was asked stands no longer than quiet does.
        found = ask_by_day(reading, self._last_ns, self._asked)
        if isinstance(found, DayQuestion):
            assert reading is not None
            self._now, self._last_ns, self._asked = found, reading.time_ns, self._asked | {found.echo}
        elif found != "the last was asked just now":
            self._now = None
        if self._now is None:
            return {"why": str(found)}
        return {"say": say(self._now), "words": list(WORDS)}


def say(question: DayQuestion) -> str:
    """Say where to look."""
    turn = wrap_180(question.relative_deg)
    side = "right ahead" if abs(turn) < 3.0 else f"{abs(turn):.0f}° to {'starboard' if turn > 0.0 else 'port'}"
    return f"An echo stands {m_to_nm(question.range_m):.2f} NM off, {side}. What do you read it as?"
