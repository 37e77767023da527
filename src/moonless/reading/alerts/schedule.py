"""The few sentences worth saying now, without nagging.

Rules of this file:
- A matter has a key ("echo 17", "speed", "missing 12") and a weight that grows as it gets worse.
- It is said when it is new, when its urgency rises, or when its weight has grown by half; and not before its pause
  is over unless the urgency rose.
- A matter that goes away is forgotten after a while; one that flickers is not said twice.
- What the skipper has acknowledged is not said again until its urgency rises.
- Of matters of one turn the most urgent are said, three at the most; the others wait their turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from moonless.reading.types import Call
from moonless.units import NS_PER_S

FORGET_S = 45.0
# The most urgent is said again before its words leave the screens (25 s).
PAUSE_S = {1: 600.0, 2: 180.0, 3: 90.0, 4: 24.0}
WORSE_BY = 1.5
AT_ONCE = 3


@dataclass(frozen=True, slots=True)
class Matter:
    """Something that holds this turn and may be worth saying."""

    key: str
    urgency: int
    say: str
    weight: float = 1.0
    echo: int | None = None


@dataclass(slots=True)
class _Known:
    urgency: int
    weight: float
    said_ns: int
    last_ns: int
    acknowledged: bool = False


class Caller:
    """Chooses from the matters of each turn what is said."""

    def __init__(self) -> None:
        self._known: dict[str, _Known] = {}
        self._said: dict[tuple[int | None, str], str] = {}

    def choose(self, time_ns: int, matters: Sequence[Matter]) -> tuple[Call, ...]:
        """Return the calls of this turn, most urgent first."""
        if any(known.last_ns > time_ns for known in self._known.values()):
            # Time went back: a recording was started again.
            self._known.clear()
            self._said.clear()
        wanted = [matter for matter in matters if self._is_worth(matter, time_ns)]
        wanted.sort(key=lambda matter: (-matter.urgency, -matter.weight))
        said = wanted[:AT_ONCE]
        for matter in matters:
            known = self._known.get(matter.key)
            if known is not None:
                known.last_ns = time_ns
        for matter in said:
            before = self._known.get(matter.key)
            acknowledged = before is not None and before.acknowledged and matter.urgency <= before.urgency
            self._known[matter.key] = _Known(matter.urgency, matter.weight, time_ns, time_ns, acknowledged)
            self._said[(matter.echo, matter.say)] = matter.key
        for key in [k for k, v in self._known.items() if (time_ns - v.last_ns) / NS_PER_S > FORGET_S]:
            del self._known[key]
        if len(self._said) > 500:
            self._said = dict(list(self._said.items())[-200:])
        return tuple(Call(m.urgency, m.say, m.echo) for m in said)

    def acknowledge(self, call: Call) -> None:
        """Say no more of what a call told until it becomes more urgent."""
        key = self._said.get((call.echo, call.say))
        if key is not None and key in self._known:
            self._known[key].acknowledged = True

    def _is_worth(self, matter: Matter, time_ns: int) -> bool:
        known = self._known.get(matter.key)
        if known is None or matter.urgency > known.urgency:
            return True
        if known.acknowledged:
            return False
        since = (time_ns - known.said_ns) / NS_PER_S
        worse = matter.weight >= known.weight * WORSE_BY
        return (worse and since >= PAUSE_S[matter.urgency] / 3.0) or (
            matter.urgency >= 3 and since >= PAUSE_S[matter.urgency]
        )
