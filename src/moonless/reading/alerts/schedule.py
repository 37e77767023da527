"""How often each thing is said, without nagging: the one place that decides it.

Rules of this file:
- A candidate has a key ("echo 17", "speed", "missing ..."), its identity from turn to turn, and a weight that grows as
  it gets worse.
- It is said when it is new, when its urgency rises, or when its weight has grown by half; and not before its pause
  is over unless the urgency rose.
- What goes away is forgotten after a while; one that flickers is not said twice.
- What the skipper has acknowledged is not said again until its urgency rises.
- Of the candidates of one turn the most urgent are said, three at the most; the others wait their turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from moonless.reading.types import Call, CallKind
from moonless.units import NS_PER_S

FORGET_S = 45.0
# The most urgent is said again before its words leave the screens (25 s).
PAUSE_S = {1: 600.0, 2: 180.0, 3: 90.0, 4: 24.0}
WORSE_BY = 1.5
AT_ONCE = 3
# Whatever grows worse is said again no sooner than this: its last sentence has hardly been heard.  Own figure.
LEAST_PAUSE_S = 20.0


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that holds this turn and may be worth saying."""

    key: str
    kind: CallKind
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


class Schedule:
    """Chooses from the candidates of each turn what is said."""

    def __init__(self) -> None:
        self._known: dict[str, _Known] = {}

    def choose(self, time_ns: int, candidates: Sequence[Candidate]) -> tuple[Call, ...]:
        """Return the calls of this turn, most urgent first."""
        if any(known.last_ns > time_ns for known in self._known.values()):
            # Time went back: a recording was started again.
            self._known.clear()
        wanted = [one for one in candidates if self._is_worth(one, time_ns)]
        wanted.sort(key=lambda one: (-one.urgency, -one.weight))
        said = wanted[:AT_ONCE]
        for one in candidates:
            known = self._known.get(one.key)
            if known is not None:
                known.last_ns = time_ns
        for one in said:
            before = self._known.get(one.key)
            acknowledged = before is not None and before.acknowledged and one.urgency <= before.urgency
            self._known[one.key] = _Known(one.urgency, one.weight, time_ns, time_ns, acknowledged)
        for key in [k for k, v in self._known.items() if (time_ns - v.last_ns) / NS_PER_S > FORGET_S]:
            del self._known[key]
        return tuple(Call(one.key, one.kind, one.urgency, one.say, one.echo) for one in said)

    def acknowledge(self, key: str) -> None:
        """Say no more of what bears this key until it becomes more urgent."""
        if key in self._known:
            self._known[key].acknowledged = True

    def _is_worth(self, one: Candidate, time_ns: int) -> bool:
        known = self._known.get(one.key)
        if known is None or one.urgency > known.urgency:
            return True
        if known.acknowledged:
            return False
        since = (time_ns - known.said_ns) / NS_PER_S
        worse = one.weight >= known.weight * WORSE_BY
        return (worse and since >= max(PAUSE_S[one.urgency] / 3.0, LEAST_PAUSE_S)) or (
            one.urgency >= 3 and since >= PAUSE_S[one.urgency]
        )
